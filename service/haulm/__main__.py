"""``python -m haulm``: the same program as the command ``haulm``."""

import sys

from haulm.cli import main

if __name__ == "__main__":
    sys.exit(main())
