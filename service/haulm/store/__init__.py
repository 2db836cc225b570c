"""The one SQLite file: weather, episodes said, letters, states, runs."""
