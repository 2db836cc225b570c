"""Doors of the program."""


def main() -> int:
    """Run."""
    return 0
