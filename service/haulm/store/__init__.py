"""The one SQLite file: weather, episodes said, letters, runs."""
