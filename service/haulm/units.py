"""Every conversion between the house's units and those that people write and read.

Inside: °C, mm, litres, metres, m², m/s, kg, kPa. Factors are exact by definition:
1 in = 25.4 mm, 1 ft = 0.3048 m, 1 US gal = 231 in³ = 3.785411784 l, 1 lb = 0.45359237 kg.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from haulm.errors import UnitError

MM_PER_INCH = 25.4
M_PER_FOOT = 0.3048
LITRES_PER_US_GALLON = 3.785411784
KG_PER_POUND = 0.45359237
M_PER_MILE = 1609.344


class Display(StrEnum):
    """The units a letter is written in."""

    US = "us"
    METRIC = "metric"


class Kind(StrEnum):
    """What a quantity is, with the house unit its value is held in."""

    TEMPERATURE = "temperature"  # °C
    WARMTH = "difference of temperature"  # °C, a difference
    WATER = "depth of water"  # mm
    VOLUME = "volume"  # litres
    LENGTH = "length"  # metres
    SPEED = "speed"  # m/s
    WEIGHT = "weight"  # kg
    FLOW = "flow"  # litres a minute


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value in the house unit of its kind."""

    value: float
    kind: Kind


def celsius_from_fahrenheit(fahrenheit: float) -> float:
    """Temperature in °C of one in °F."""
    return (fahrenheit - 32.0) / 1.8


def fahrenheit_from_celsius(celsius: float) -> float:
    """Temperature in °F of one in °C."""
    return celsius * 1.8 + 32.0


def fahrenheit_degrees(celsius_degrees: float) -> float:
    """A difference of temperature, in °F, of one in °C."""
    return celsius_degrees * 1.8


def inches_from_mm(mm: float) -> float:
    """Inches of a depth in mm."""
    return mm / MM_PER_INCH


def gallons_from_litres(litres: float) -> float:
    """US gallons of a volume in litres."""
    return litres / LITRES_PER_US_GALLON


def feet_from_metres(metres: float) -> float:
    """Feet of a length in metres."""
    return metres / M_PER_FOOT


def miles_per_hour(metres_per_second: float) -> float:
    """Miles per hour of a speed in m/s."""
    return metres_per_second * 3600.0 / M_PER_MILE


def kilometres_per_hour(metres_per_second: float) -> float:
    """Kilometres per hour of a speed in m/s."""
    return metres_per_second * 3.6


def metres_per_second_from_kmh(kmh: float) -> float:
    """Speed in m/s of one in km/h."""
    return kmh / 3.6


def pounds_from_kg(kg: float) -> float:
    """Pounds of a weight in kg."""
    return kg / KG_PER_POUND


def litres_from_mm(depth_mm: float, area_m2: float) -> float:
    """Litres that a depth of water makes on an area (1 mm on 1 m² is 1 l)."""
    return depth_mm * area_m2


def mm_from_litres(litres: float, area_m2: float) -> float:
    """Depth of water that a volume makes on an area."""
    return litres / area_m2


def _times(factor: float) -> Callable[[float], float]:
    return lambda value: value * factor


# One written unit can stand for several kinds ("cm" is a length or a depth of water): the reader says which fits.
_READERS: dict[str, dict[Kind, Callable[[float], float]]] = {
    "c": {Kind.TEMPERATURE: _times(1.0), Kind.WARMTH: _times(1.0)},
    "f": {Kind.TEMPERATURE: celsius_from_fahrenheit, Kind.WARMTH: _times(1.0 / 1.8)},
    "mm": {Kind.WATER: _times(1.0), Kind.LENGTH: _times(0.001)},
    "cm": {Kind.WATER: _times(10.0), Kind.LENGTH: _times(0.01)},
    "m": {Kind.LENGTH: _times(1.0)},
    "in": {Kind.WATER: _times(MM_PER_INCH), Kind.LENGTH: _times(MM_PER_INCH / 1000.0)},
    "ft": {Kind.LENGTH: _times(M_PER_FOOT)},
    "l": {Kind.VOLUME: _times(1.0)},
    "ml": {Kind.VOLUME: _times(0.001)},
    "gal": {Kind.VOLUME: _times(LITRES_PER_US_GALLON)},
    "m/s": {Kind.SPEED: _times(1.0)},
    "km/h": {Kind.SPEED: _times(1.0 / 3.6)},
    "mph": {Kind.SPEED: _times(M_PER_MILE / 3600.0)},
    "kg": {Kind.WEIGHT: _times(1.0)},
    "g": {Kind.WEIGHT: _times(0.001)},
    "lb": {Kind.WEIGHT: _times(KG_PER_POUND)},
    "oz": {Kind.WEIGHT: _times(KG_PER_POUND / 16.0)},
    "l/min": {Kind.FLOW: _times(1.0)},
    "gal/min": {Kind.FLOW: _times(LITRES_PER_US_GALLON)},
}

_OTHER_SPELLINGS = {
    "°c": "c", "degc": "c", "deg c": "c", "celsius": "c", "° c": "c",
    "°f": "f", "degf": "f", "deg f": "f", "fahrenheit": "f", "° f": "f",
    "millimetre": "mm", "millimetres": "mm", "millimeters": "mm",
    "centimetre": "cm", "centimetres": "cm", "centimeters": "cm",
    "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "inch": "in", "inches": "in", '"': "in", "″": "in", "foot": "ft", "feet": "ft", "'": "ft", "′": "ft",
    "litre": "l", "litres": "l", "liter": "l", "liters": "l", "ltr": "l",
    "gallon": "gal", "gallons": "gal", "gals": "gal",
    "kmh": "km/h", "kph": "km/h", "mi/h": "mph", "ms": "m/s",
    "pound": "lb", "pounds": "lb", "lbs": "lb", "ounce": "oz", "ounces": "oz",
    "kilo": "kg", "kilos": "kg", "kilogram": "kg", "kilograms": "kg", "gram": "g", "grams": "g",
    "litres/min": "l/min", "l/minute": "l/min", "gpm": "gal/min",
}  # fmt: skip

# No amount of a garden has more figures, and what has is no float, or no whole number that can be divided.
_AMOUNT = re.compile(
    r"""\s*(?:(?P<count>\d{1,3})\s*[x×]\s*)?
        (?P<sign>[-+−])?\s*(?P<number>\d{1,15}(?:[.,]\d{1,30})?|[.,]\d{1,30}|\d{1,15}/\d{1,15})\s*
        (?P<unit>[^\d\s][^\d]*?)?\s*""",
    re.VERBOSE | re.IGNORECASE,
)


def read_quantity(text: str, *kinds: Kind) -> Quantity:
    """The quantity that a person wrote, in the house unit of the first kind that fits.

    Reads ``0.5in``, ``12 mm``, ``3 gal``, ``48F``, ``2 x 10 l``, ``1/2 in``, ``-1,5 °C``.

    Raises
    ------
    UnitError
        No number, no unit, an unknown unit, or a unit that measures something else.
    """
    match = _AMOUNT.fullmatch(text)
    if match is None:
        raise UnitError(f'"{text}" is not an amount', remedy=_offer(kinds))
    if not match["unit"]:
        raise UnitError(f'"{text}" has no unit', remedy=_offer(kinds))
    value = _number(match["number"]) * (-1.0 if match["sign"] in {"-", "−"} else 1.0)
    readers = _READERS.get(_plain_unit(match["unit"]))
    if readers is None:
        raise UnitError(f'"{match["unit"].strip()}" is not a unit known here', remedy=_offer(kinds))
    for kind in kinds:
        if kind in readers:
            return Quantity(readers[kind](value) * int(match["count"] or 1), kind)
    measured = next(iter(readers))
    wanted = " or ".join(f"a {kind}" for kind in kinds)
    raise UnitError(f'"{text.strip()}" is a {measured}, where {wanted} is wanted', remedy=_offer(kinds))


def _plain_unit(written: str) -> str:
    unit = written.strip().casefold().rstrip(".")
    return _OTHER_SPELLINGS.get(unit, unit)


def _number(written: str) -> float:
    if "/" in written:
        over, under = written.split("/")
        if int(under) == 0:
            raise UnitError(f'"{written}" is not a number')
        return int(over) / int(under)
    return float(written.replace(",", "."))


def _offer(kinds: tuple[Kind, ...]) -> str:
    known = [unit for unit, readers in _READERS.items() if any(kind in readers for kind in kinds)]
    return f"Write a number and a unit, one of: {', '.join(known)}."
