"""Where the log leads when haulm runs by itself."""

import logging
import logging.handlers
from collections.abc import Mapping
from pathlib import Path

SYSTEM_LOG = Path("/dev/log")


def open_log(environ: Mapping[str, str]) -> None:
    """Have the log lead somewhere: under systemd its journal takes standard error; elsewhere the system's own log.

    Where there is neither, lines go to standard error.
    """
    if "JOURNAL_STREAM" not in environ and SYSTEM_LOG.exists():
        handler: logging.Handler = logging.handlers.SysLogHandler(str(SYSTEM_LOG))
        handler.setFormatter(logging.Formatter("haulm: %(message)s"))
    else:
        handler = logging.StreamHandler()
    logging.basicConfig(level=logging.INFO, handlers=[handler], format="%(message)s")
