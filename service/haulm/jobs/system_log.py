"""Where the log leads when haulm runs by itself."""

import logging
import logging.handlers
import os
import sys
from collections.abc import Mapping
from pathlib import Path

from haulm.errors import tellable

SYSTEM_LOG = Path("/dev/log")
# The levels of the system log (RFC 5424, table 2); systemd reads them before a line, as sd-daemon(3) says.
_LEVELS = ((logging.ERROR, 3), (logging.WARNING, 4), (logging.INFO, 6))


class Plain(logging.Formatter):
    """Each message as it is, without control characters, and no line of it but the first at the margin.

    Whatever a stranger's words hold, none can move the reader's cursor, or pass for a message of its own.
    """

    def format(self, record: logging.LogRecord) -> str:
        """The message, its further lines indented."""
        first, *more = tellable(super().format(record)).split("\n")
        return "\n".join([first, *(line if line[:1] in {" ", ""} else f"  {line}" for line in more)])


class ForJournal(Plain):
    """Each line of a message with its level before it, so that ``journalctl -p err`` finds what went wrong."""

    def format(self, record: logging.LogRecord) -> str:
        """The message as systemd's journal takes it from standard error."""
        level = next((number for least, number in _LEVELS if record.levelno >= least), 7)
        return "\n".join(f"<{level}>{line}" for line in super().format(record).splitlines())


def open_log(environ: Mapping[str, str], system_log: Path = SYSTEM_LOG) -> None:
    """Have the log lead somewhere: under systemd its journal takes standard error; elsewhere the system's own log.

    Where there is neither, lines go to standard error.
    """
    if leads_to_journal(environ):
        handler: logging.Handler = logging.StreamHandler()
        handler.setFormatter(ForJournal("%(message)s"))
    elif system_log.exists():
        handler = logging.handlers.SysLogHandler(str(system_log))
        handler.setFormatter(Plain("haulm: %(message)s"))
    else:
        handler = logging.StreamHandler()
        handler.setFormatter(Plain("%(message)s"))
    logging.basicConfig(level=logging.INFO, handlers=[handler])


def leads_to_journal(environ: Mapping[str, str]) -> bool:
    """Whether standard error is the journal's: systemd names its device and inode, which whatever we start inherits."""
    try:
        here = os.fstat(sys.stderr.fileno())
    except (OSError, ValueError):
        return False
    return environ.get("JOURNAL_STREAM") == f"{here.st_dev}:{here.st_ino}"
