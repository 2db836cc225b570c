"""The ways a letter leaves the house."""
