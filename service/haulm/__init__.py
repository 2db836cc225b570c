"""haulm: a morning letter, written by the weather, for people who grow potatoes under straw."""

__version__ = "0.1.0"
