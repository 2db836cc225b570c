"""The letter: all wording and rounding, and its forms as text, HTML, JSON and picture."""
