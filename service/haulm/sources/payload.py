"""Reading JSON that somebody else wrote: each step says what is missing instead of failing obscurely."""

import json
import math
from datetime import UTC, datetime, timedelta
from reprlib import repr as short
from typing import Any

from haulm.errors import SourceError

Json = Any  # what `json.loads` gives: every use goes through the readers below

# Clocks differ by seconds, services by minutes; an issue further ahead than this means that a clock is wrong.
AHEAD = timedelta(hours=1)
HOUR_S = 3600
LARGEST = 1e6  # nothing that these services tell comes near it


def read_json(body: bytes, where: str) -> Json:
    """The JSON of a body.

    Raises
    ------
    SourceError
        It is none, or is cut off.
    """
    try:
        return json.loads(body)
    except ValueError as error:
        raise SourceError("the answer is no whole JSON: cut off or damaged", where=where) from error
    except RecursionError:
        raise SourceError("the answer holds tables within tables without end: given up", where=where) from None


def part(value: Json, path: str, where: str) -> Json:
    """What stands at a dotted path of keys.

    Raises
    ------
    SourceError
        There is no such key.
    """
    for key in path.split("."):
        if not isinstance(value, dict) or key not in value:
            raise unexpected(f"there is no {path}", where)
        value = value[key]
    return value


def table(value: Json, key: str, where: str) -> dict[str, Json]:
    """The table at a key; an empty one where there is none.

    Raises
    ------
    SourceError
        Something else stands there.
    """
    found = value.get(key) if isinstance(value, dict) else value
    if found is None:
        return {}
    if not isinstance(found, dict):
        raise unexpected(f"{key} is no table", where)
    return found


def rows(value: Json, path: str, where: str) -> list[Json]:
    """The list at a dotted path; it must not be empty.

    Raises
    ------
    SourceError
        There is none, or nothing in it.
    """
    listed = part(value, path, where)
    if not isinstance(listed, list) or not listed:
        raise unexpected(f"{path} is empty", where)
    return listed


def number(value: Json, where: str) -> float:
    """A number, NaN for null.

    Raises
    ------
    SourceError
        It is something else.
    """
    if value is None:
        return math.nan
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= LARGEST:
        raise unexpected(f"{short(value)} is not a number", where)
    return float(value)


def instant(value: Json, where: str) -> datetime:
    """An instant in UTC.

    Raises
    ------
    SourceError
        It is not an ISO 8601 time with its zone.
    """
    try:
        moment = datetime.fromisoformat(value)
    except (TypeError, ValueError) as error:
        raise unexpected(f"{short(value)} is not a time", where) from error
    if moment.tzinfo is None:
        raise unexpected(f"{short(value)} does not say its zone", where)
    return moment.astimezone(UTC)


def issue_instant(value: Json, now: datetime, where: str) -> datetime:
    """When a forecast was issued.

    Raises
    ------
    SourceError
        That is in the future.
    """
    issued = instant(value, where)
    if issued > now + AHEAD:
        raise SourceError(
            f"issued at {issued:%Y-%m-%d %H:%M} UTC, which is still to come",
            where=where,
            remedy="Check the date and the time of this machine.",
        )
    return issued


def hours_between(first: datetime, later: datetime) -> int:
    """Whole hours from one instant to another, rounded down."""
    return int((later - first).total_seconds() // HOUR_S)


def unexpected(what: str, where: str) -> SourceError:
    """The error for an answer that has not the form it should have."""
    return SourceError(
        f"the answer has not the form it should have: {what}",
        where=where,
        remedy="The service may have changed. Look for a newer haulm.",
    )


def degrees(value: float) -> str:
    """A coordinate with at most four decimals, as the services ask, and without trailing zeros."""
    written = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if written == "-0" else written
