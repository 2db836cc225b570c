"""The simulated year is a program of its own: its modules find each other by their plain names."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
