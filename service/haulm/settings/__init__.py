"""The settings file: its model, its loading with every fault told, and the commented sample."""
