"""Instants and local days as the store and the journal write them: text that sorts as time does."""

from datetime import UTC, date, datetime


def instant_text(instant: datetime) -> str:
    """An instant as UTC text of one width: ``2027-04-12T05:30:00.000000Z``.

    Raises
    ------
    ValueError
        It has no time zone: then nobody can tell which instant is meant.
    """
    if instant.tzinfo is None:
        raise ValueError("an instant needs its time zone")
    return f"{instant.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='microseconds')}Z"


def instant_of(text: str) -> datetime:
    """The instant that a text of `instant_text` means.

    Raises
    ------
    ValueError
        It is no instant, or one without a time zone.
    """
    instant = datetime.fromisoformat(text)
    if instant.tzinfo is None:
        raise ValueError(f'"{text}" has no time zone')
    try:
        return instant.astimezone(UTC)
    except OverflowError as fault:
        raise ValueError(f'"{text}" is beyond the calendar') from fault


def day_of(text: str | None) -> date | None:
    """The local day of an ISO date; None where there is none."""
    return None if text is None else date.fromisoformat(text)


def day_text(day: date | None) -> str | None:
    """The ISO date of a local day; None where there is none."""
    return None if day is None else day.isoformat()
