"""A letter told to the log: one line, and its text where that is wanted."""

import logging
from datetime import date

from haulm.steps import Step, marked

logger = logging.getLogger("haulm")


def tell_log(garden: str, kind: str, day: date, subject: str, text: str = "") -> None:
    """Log one line for a letter, then each line of its text as a line of its own, so that none loses its mark."""
    with marked(Step.LOG_TOLD):
        logger.info("%s letter of %s for %s: %s", kind, garden, day.isoformat(), " ".join(subject.split()))
        for line in text.splitlines():
            logger.info("| %s", line.rstrip())
