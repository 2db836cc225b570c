"""Rules: each one a pure function of a condition and the thresholds; a table lists them."""
