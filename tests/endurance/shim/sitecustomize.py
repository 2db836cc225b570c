"""Found by every Python of a simulated year that starts afresh: the clock, the network and the kills as told."""

import os
import sys

if "YEAR_OF_SHIM" in os.environ:
    sys.path.append(os.environ["YEAR_OF_SHIM"])
    import told

    told.obey(os.environ)
    sys.path.remove(os.environ["YEAR_OF_SHIM"])
