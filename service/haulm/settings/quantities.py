"""The kinds of value a settings file holds: how each is read, checked, and written back to a person.

A quantity is text with a unit, held in the house unit; every reader raises its fault in words meant for the grower.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from typing import Annotated, Any, TypeGuard, get_args

from pydantic import AfterValidator, BeforeValidator, PlainSerializer, StringConstraints, WithJsonSchema
from pydantic.fields import FieldInfo
from pydantic_core import PydanticCustomError

from haulm import units
from haulm.errors import UnitError, tellable
from haulm.units import Kind

FAULT = "haulm"


def fault(what: str, *, show: bool = True, nearest: str = "", beside: str = "") -> PydanticCustomError:
    """A fault in the house's words.

    `show` prints the value given beside it; `nearest` is a value to offer; `beside` is the key of the same table
    whose line is meant when the faulty key itself is not in the file.
    """
    return PydanticCustomError(FAULT, "{what}", {"what": what, "show": show, "nearest": nearest, "beside": beside})


@dataclass(frozen=True, slots=True)
class Unit:
    """How a kind of value is written: the units in words, and a value in both systems."""

    words: str
    write: Callable[[Any], str]


def tidy(value: float) -> str:
    """A number for people: three figures that count, without trailing zeros."""
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def _temperature(celsius: float) -> str:
    return f"{tidy(celsius)} C ({tidy(round(units.fahrenheit_from_celsius(celsius), 1))} F)"


def _warmth(celsius: float) -> str:
    return f"{tidy(celsius)} C ({tidy(round(units.fahrenheit_degrees(celsius), 1))} F)"


def _water(mm: float) -> str:
    return f"{tidy(mm)} mm ({tidy(round(units.inches_from_mm(mm), 2))} in)"


def _length(metres: float) -> str:
    if abs(metres) < 1.0:
        return f"{tidy(metres * 100.0)} cm ({tidy(round(units.inches_from_mm(metres * 1000.0), 1))} in)"
    return f"{tidy(metres)} m ({tidy(units.feet_from_metres(metres))} ft)"


def _speed(metres_per_second: float) -> str:
    kmh, mph = units.kilometres_per_hour(metres_per_second), units.miles_per_hour(metres_per_second)
    return f"{tidy(kmh)} km/h ({tidy(mph)} mph)"


def _flow(l_min: float) -> str:
    return f"{tidy(l_min)} l/min ({tidy(units.gallons_from_litres(l_min))} gal/min)"


def _volume(litres: float) -> str:
    return f"{tidy(litres)} l ({tidy(units.gallons_from_litres(litres))} gal)"


_BARE_NUMBER = re.compile(r"[-+−]?\d+(?:[.,]\d+)?")
_ANY_NUMBER = r"^\s*[-+−]?(\d+([.,]\d+)?|[.,]\d+|\d+/\d+)\s*\D+$"


def _like(number: str, usual: tuple[str, str]) -> str:
    metric, us = usual
    return f'"{number} {metric}" or "{number} {us}"'


def _read(kind: Kind, usual: tuple[str, str]) -> Callable[[object], float]:
    def read(given: object) -> float:
        written = str(given).strip()
        if isinstance(given, bool) or not isinstance(given, int | float | str):
            raise fault(f"must be a number with a unit, like {_like('10', usual)}")
        if not isinstance(given, str) or _BARE_NUMBER.fullmatch(written):
            raise fault(f"needs a unit: write {_like(written, usual)}", show=False)
        try:
            return units.read_quantity(given, kind).value
        except UnitError as error:
            raise fault(f"{error.what}; write it like {_like('10', usual)}", show=False) from error

    return read


def _quantity(kind: Kind, write: Callable[[float], str], *usual: str) -> tuple[BeforeValidator, WithJsonSchema, Unit]:
    """A kind of quantity; `usual` are the two units a person most likely means, metric and US."""
    metric, us = usual
    schema = WithJsonSchema({"type": "string", "pattern": _ANY_NUMBER})
    return BeforeValidator(_read(kind, (metric, us))), schema, Unit(f"{metric} or {us}", write)


TemperatureC = Annotated[float, *_quantity(Kind.TEMPERATURE, _temperature, "C", "F")]
WarmthC = Annotated[float, *_quantity(Kind.WARMTH, _warmth, "C", "F")]
WaterMm = Annotated[float, *_quantity(Kind.WATER, _water, "mm", "in")]
LengthM = Annotated[float, *_quantity(Kind.LENGTH, _length, "cm", "in")]
DistanceM = Annotated[float, *_quantity(Kind.LENGTH, _length, "m", "ft")]
SpeedMs = Annotated[float, *_quantity(Kind.SPEED, _speed, "km/h", "mph")]
FlowLmin = Annotated[float, *_quantity(Kind.FLOW, _flow, "l/min", "gal/min")]
VolumeL = Annotated[float, *_quantity(Kind.VOLUME, _volume, "l", "gal")]


def _is_number(given: object) -> TypeGuard[int | float]:
    # Bounds that also turn away nan, inf, and whole numbers too long to become a float.
    return isinstance(given, int | float) and not isinstance(given, bool) and -1e12 < given < 1e12


def _read_share(given: object) -> float:
    written = str(given).strip()
    if isinstance(given, str) and written.endswith("%") and _BARE_NUMBER.fullmatch(written[:-1].strip()):
        return float(written[:-1].strip().replace(",", ".").replace("−", "-")) / 100.0
    if not _is_number(given):
        raise fault('must be a number from 0 to 1, or text like "20 %"')
    if given > 2:
        raise fault(f'is too much for a share of one: write {given / 100:g} or "{given:g} %"', show=False)
    return float(given)


def _read_number(given: object) -> float:
    if not _is_number(given):
        raise fault("must be a number without quotes, like 44.5")
    return float(given)


def _read_count(given: object) -> int:
    if not _is_number(given) or given != int(given):
        raise fault("must be a whole number without quotes, like 7")
    return int(given)


def _read_day(given: object) -> date:
    if isinstance(given, datetime):
        raise fault("must be a date without a time of day, like 2027-04-20")
    if isinstance(given, date):
        return given
    try:
        return date.fromisoformat(str(given).strip())
    except ValueError as error:
        raise fault("must be a date, like 2027-04-20 (year, month, day)") from error


def _read_time(given: object) -> time:
    if isinstance(given, time):
        return given
    match = re.fullmatch(r"(\d{1,2}):(\d{2})", given.strip()) if isinstance(given, str) else None
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        raise fault('must be a time of day from "00:00" to "23:59", like "06:30"')
    return time(int(match[1]), int(match[2]))


def _read_switch(given: object) -> bool:
    if not isinstance(given, bool):
        raise fault("must be true or false, without quotes")
    return given


def _read_path(given: object) -> Path:
    if not isinstance(given, str) or not given.strip():
        raise fault("must be a path, as text in quotes")
    try:
        return Path(given.strip()).expanduser()
    except RuntimeError as error:
        raise fault("no home folder is known here; write the whole path") from error


# What the parts of a mail address are made of, after RFC 5321 (from memory), without quoted names and number addresses.
_BEFORE_AT = re.compile(r"(?=.{1,64}$)[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+(\.[A-Za-z0-9!#$%&'*+/=?^_`{|}~-]+)*")
_AFTER_AT = re.compile(r"(?=.{1,255}$)[A-Za-z0-9](-*[A-Za-z0-9])*(\.[A-Za-z0-9](-*[A-Za-z0-9])*)*")


def _one_address(address: str) -> str:
    """A mail address that every server can take; a domain in other letters becomes its plain form."""
    before, _, after = address.partition("@")
    if not before.isascii():
        raise fault("has letters before the @ that many mail servers do not take; write a plain address")
    try:
        plain = after.encode("idna").decode("ascii")
    except UnicodeError:
        plain = ""
    if not (_BEFORE_AT.fullmatch(before) and _AFTER_AT.fullmatch(plain)):
        raise fault("is not one mail address, like grower@example.org")
    return f"{before}@{plain}"


def _share(value: float) -> str:
    return f"{value * 100:g} %"


def _clock(value: time) -> str:
    return value.strftime("%H:%M")


_SHARE_SCHEMA = {"anyOf": [{"type": "number"}, {"type": "string", "pattern": r"^\s*[-+−]?\d+([.,]\d+)?\s*%\s*$"}]}
_TIME_SCHEMA = {"type": "string", "pattern": r"^\s*([01]?\d|2[0-3]):[0-5]\d\s*$"}

Share = Annotated[
    float, BeforeValidator(_read_share), WithJsonSchema(_SHARE_SCHEMA), Unit('a share of 1, like 0.2 or "20 %"', _share)
]
Number = Annotated[float, BeforeValidator(_read_number), Unit("degrees", tidy)]


def _one_plain_line(text: str) -> str:
    """Text that stands in letters, pages and logs: what breaks a line or moves a cursor there is a fault."""
    if not text.isprintable() and text != tellable(text).replace("\n", ""):
        raise fault("must be one line, without control characters", show=False)
    return text


DayCount = Annotated[int, BeforeValidator(_read_count), Unit("days", str)]
HourCount = Annotated[int, BeforeValidator(_read_count), Unit("hours", str)]
Seconds = Annotated[float, BeforeValidator(_read_number), Unit("seconds", tidy)]
Count = Annotated[int, BeforeValidator(_read_count), Unit("a whole number", str)]
LocalDay = Annotated[date, BeforeValidator(_read_day), Unit("a date", str)]
TimeOfDay = Annotated[
    time,
    BeforeValidator(_read_time),
    PlainSerializer(_clock, when_used="json"),
    WithJsonSchema(_TIME_SCHEMA),
    Unit("a time of day", _clock),
]
FilePath = Annotated[Path, BeforeValidator(_read_path), WithJsonSchema({"type": "string", "minLength": 1})]
_Words = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]
Text = Annotated[_Words, AfterValidator(_one_plain_line)]
MailAddress = Annotated[_Words, AfterValidator(_one_address)]
Switch = Annotated[bool, BeforeValidator(_read_switch), Unit("true or false", str)]


def unit_of(field: FieldInfo) -> Unit | None:
    """How the values of a field are written, looked for inside optional types too; None for plain text."""
    inside = [entry for argument in get_args(field.annotation) for entry in getattr(argument, "__metadata__", ())]
    return next((entry for entry in [*field.metadata, *inside] if isinstance(entry, Unit)), None)
