"""The day that an answer is about, in the words people use for days."""

import re
from dataclasses import dataclass
from datetime import date, timedelta

from haulm.letter.amounts import MONTHS, WEEKDAYS
from haulm.units import Display
from haulm.weather import DAY

_NUMBERS = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"]
_MONTH = "|".join(rf"{name[:3]}(?:{name[3:]})?" for name in MONTHS)
_WEEKDAY = (
    "mon(?:day)?|tue(?:s(?:day)?)?|wed(?:nesday)?|thu(?:rs(?:day)?)?|fri(?:day)?|sat(?:urday)?|sun(?:day)?"
)  # fmt: skip
_CLOCK = r"\s*(?:\b(?:at|around|about)\s+\d{1,2}(?:[:.]\d\d)?\s*(?:am|pm|o'clock|h)?\b)"
_TODAY = r"\b(?:today|this morning|this afternoon|this evening|tonight|just now|now)\b"
_YESTERDAY = r"\b(?:yesterday(?: morning| afternoon| evening)?|last night)\b"
_AGO = rf"\b(?P<ago>\d{{1,2}}|{'|'.join(_NUMBERS)}|a) days? ago\b"
_ISO = r"\b(?:on )?(?P<iso>\d{4}-\d\d-\d\d)\b"
_NAMED = (
    rf"\b(?:on )?(?:(?P<d1>\d{{1,2}})(?:st|nd|rd|th)?(?: of)? (?P<m1>{_MONTH})|"
    rf"(?P<m2>{_MONTH}) (?P<d2>\d{{1,2}})(?:st|nd|rd|th)?)\b"
)
_SLASHED = r"\bon (?P<a>\d{1,2})[/.](?P<b>\d{1,2})\.?(?!\d)"
_OF_WEEK = rf"\b(?:on |last )(?P<weekday>{_WEEKDAY})\b"
_FLAGS = re.IGNORECASE


@dataclass(frozen=True, slots=True)
class Days:
    """The days that words may mean, the likeliest first, the words without them, and whether one day is meant."""

    days: tuple[date, ...]
    rest: str
    sure: bool = True
    named: bool = True  # whether the words name a day at all


def read_days(text: str, today: date, display: Display) -> Days:
    """The day that a sentence names; `today` where it names none, none at all where it cannot be.

    Two figures with a stroke between them are a day and a month in one order or the other, which is never sure where
    both orders make a date. A weekday is the last one; the name of today's own may mean a week ago as well.
    """
    text = re.sub(_CLOCK, " ", text, flags=_FLAGS)
    for pattern, reader in _READERS:
        match = re.search(pattern, text, _FLAGS)
        if match:
            rest = f"{text[: match.start()]} {text[match.end() :]}"
            meant = {day: None for day in reader(match, today, display) if day is not None}
            return Days(tuple(day for day in meant if day <= today), rest, sure=len(meant) <= 1)
    return Days((today,), text, named=False)


def _ago(match: re.Match[str], today: date, _display: Display) -> list[date | None]:
    told = match["ago"].casefold()
    count = int(told) if told.isdigit() else 1 if told == "a" else _NUMBERS.index(told) + 1
    return [today - timedelta(days=count)]


def _iso(match: re.Match[str], _today: date, _display: Display) -> list[date | None]:
    try:
        return [date.fromisoformat(match["iso"])]
    except ValueError:
        return []


def _named(match: re.Match[str], today: date, _display: Display) -> list[date | None]:
    month = next(
        n for n, name in enumerate(MONTHS, 1) if name[:3].casefold() == (match["m1"] or match["m2"])[:3].casefold()
    )
    return [_latest(month, int(match["d1"] or match["d2"]), today)]


def _slashed(match: re.Match[str], today: date, display: Display) -> list[date | None]:
    a, b = int(match["a"]), int(match["b"])
    both = [_of_year(b, a, today.year), _of_year(a, b, today.year)]
    if display is Display.US:
        both.reverse()
    return both


def _of_week(match: re.Match[str], today: date, _display: Display) -> list[date | None]:
    wanted = [name.casefold() for name in WEEKDAYS].index(match["weekday"][:3].casefold())
    back = (today.weekday() - wanted) % 7
    if back == 0:
        return [today, today - 7 * DAY]
    return [today - back * DAY]


def _latest(month: int, day: int, today: date) -> date | None:
    """The last day of that name that is not to come."""
    each = (_of_year(month, day, year) for year in (today.year, today.year - 1))
    return next((found for found in each if found is not None and found <= today), None)


def _of_year(month: int, day: int, year: int) -> date | None:
    try:
        return date(year, month, day)
    except ValueError:
        return None


_READERS = (
    (_ISO, _iso),
    (_NAMED, _named),
    (_AGO, _ago),
    (_SLASHED, _slashed),
    (_OF_WEEK, _of_week),
    (_YESTERDAY, lambda _match, today, _display: [today - DAY]),
    (_TODAY, lambda _match, today, _display: [today]),
)
