"""Numbers in the reader's words and units: all rounding of a letter happens here.

Every function takes a value in the house unit and answers text; one that is not known (None, NaN) reads "not known".
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TypeGuard

from haulm.units import (
    M_PER_FOOT,
    M_PER_MILE,
    MM_PER_INCH,
    Display,
    fahrenheit_degrees,
    fahrenheit_from_celsius,
    feet_from_metres,
    gallons_from_litres,
    inches_from_mm,
    kilometres_per_hour,
    miles_per_hour,
    pounds_from_kg,
)

NOT_KNOWN = "not known"
DAY = timedelta(days=1)
MINUS = "−"
# Not strftime: that would speak the language of whichever machine the letter is written on.
WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
LONG_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip
FOUR_IN_FIVE = 1.2816  # half the width of the central 80 % of a normal, in standard deviations
SMALL_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


@dataclass(frozen=True, slots=True)
class Odds:
    """One row of the one table of chances: what is said is always the row nearest to the chance."""

    chance: float
    word: str
    told: str


# Words and steps are judgement. The ends stop short of 0 % and 100 %: no forecast is ever that sure.
ODDS = (
    Odds(0.01, "very unlikely", "1 in 100 (1 %)"),
    Odds(0.05, "very unlikely", "1 in 20 (5 %)"),
    Odds(0.10, "unlikely", "1 in 10 (10 %)"),
    Odds(0.20, "unlikely", "2 in 10 (20 %)"),
    Odds(0.30, "possible", "3 in 10 (30 %)"),
    Odds(0.40, "possible", "4 in 10 (40 %)"),
    Odds(0.50, "as likely as not", "5 in 10 (50 %)"),
    Odds(0.60, "more likely than not", "6 in 10 (60 %)"),
    Odds(0.70, "likely", "7 in 10 (70 %)"),
    Odds(0.80, "likely", "8 in 10 (80 %)"),
    Odds(0.90, "very likely", "9 in 10 (90 %)"),
    Odds(0.95, "very likely", "19 in 20 (95 %)"),
    Odds(0.99, "almost certain", "99 in 100 (99 %)"),
)


def is_known(value: float | None) -> TypeGuard[float]:
    """Whether a number is there at all."""
    return value is not None and not math.isnan(float(value))


def plain(value: float, places: int = 0) -> str:
    """A number rounded half away from zero, without idle zeros, with a true minus sign: 2.50 is "2.5", 3.0 is "3"."""
    scale = 10**places
    rounded = math.copysign(math.floor(abs(value) * scale + 0.5 + 1e-9) / scale, value)
    text = f"{abs(rounded):.{places}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{MINUS}{text}" if rounded < 0 and text != "0" else text


def _to_step(value: float, step: float) -> float:
    """A number brought to the nearest step, half away from zero."""
    return math.copysign(math.floor(abs(value) / step + 0.5 + 1e-9) * step, value)


def temperature(celsius: float | None, display: Display, beside: float | None = None) -> str:
    """A temperature: one decimal in °C, whole in °F.

    With `beside` (°C), a value that rounding would make equal to that limit reads "just under 50 °F" instead.
    """
    if not is_known(celsius):
        return NOT_KNOWN
    told = _degrees(celsius, display)
    if is_known(beside) and told == _degrees(beside, display) and abs(celsius - beside) > 1e-6:
        return f"just {'under' if celsius < beside else 'over'} {told}"
    return told


def temperatures(low_c: float | None, high_c: float | None, display: Display) -> str:
    """A range of temperatures: "2 to 9.5 °C", one value where both ends read alike."""
    if not (is_known(low_c) and is_known(high_c)):
        return NOT_KNOWN
    low, high = temperature(low_c, display), temperature(high_c, display)
    return high if low == high else f"{low.rsplit(' ', 1)[0]} to {high}"


def temperature_range(celsius: float | None, display: Display, spread_c: float | None) -> str:
    """Where a temperature lies in four cases of five: "between 8 and 12 °C"; its figure alone where that is as sure.

    `spread_c` is its standard deviation; where that is not known the figure stands alone too.
    """
    if not (is_known(celsius) and is_known(spread_c)):
        return temperature(celsius, display)
    half_c = FOUR_IN_FIVE * spread_c
    low, high = temperature(celsius - half_c, display), temperature(celsius + half_c, display)
    return high if low == high else f"between {low.rsplit(' ', 1)[0]} and {high}"


def expected_temperature(celsius: float | None, display: Display, spread_c: float | None) -> str:
    """A temperature that is worked out: "between 8.5 and 11.3 °C, most likely 9.9 °C"."""
    span, told = temperature_range(celsius, display, spread_c), temperature(celsius, display)
    return told if span == told else f"{span}, most likely {told}"


def warmth(celsius_degrees: float | None, display: Display) -> str:
    """A difference of temperature: small ones with a decimal, larger ones whole."""
    if not is_known(celsius_degrees):
        return NOT_KNOWN
    if display is Display.US:
        degrees = fahrenheit_degrees(celsius_degrees)
        return f"{plain(degrees, 1 if abs(degrees) < 2.0 else 0)} °F"
    degrees = celsius_degrees
    return f"{plain(degrees, 1 if abs(degrees) < 5.0 else 0)} °C"


def change(celsius_degrees: float | None, display: Display) -> str:
    """Which way a temperature has gone: "2 °C warmer", "1.5 °C colder", "neither warmer nor colder"."""
    if not is_known(celsius_degrees):
        return NOT_KNOWN
    if abs(celsius_degrees) < 0.25:
        return "neither warmer nor colder"
    size = warmth(abs(celsius_degrees), display)
    return f"{size} {'warmer' if celsius_degrees > 0 else 'colder'}"


def water(mm: float | None, display: Display) -> str:
    """A depth of rain or water: "15 mm", "0.6 in"; below an inch by twentieths, about a millimetre."""
    if not is_known(mm):
        return NOT_KNOWN
    if display is Display.US:
        inches = inches_from_mm(mm)
        if abs(inches) >= 0.975:
            return f"{plain(inches, 1)} in"
        return f"{plain(_to_step(inches, 0.05) if abs(inches) >= 0.095 else inches, 2)} in"
    return f"{plain(mm, 0 if abs(mm) >= 2.0 else 1)} mm"


def water_noted(mm: float, display: Display) -> str:
    """Water as it was poured or read from a gauge, near enough to check a note by: "0.13 in", "3.2 mm"."""
    return f"{plain(inches_from_mm(mm), 2)} in" if display is Display.US else f"{plain(mm, 1)} mm"


def waters(low_mm: float | None, high_mm: float | None, display: Display) -> str:
    """A range of depths: "8 to 14 mm", one value where both ends read alike."""
    if not (is_known(low_mm) and is_known(high_mm)):
        return NOT_KNOWN
    low, high = water(low_mm, display), water(high_mm, display)
    return high if low == high else f"{low.rsplit(' ', 1)[0]} to {high}"


def volume(litres: float | None, display: Display) -> str:
    """A volume of water in whole litres or gallons."""
    if not is_known(litres):
        return NOT_KNOWN
    us = display is Display.US
    amount, unit = (gallons_from_litres(litres), "gallon") if us else (litres, "litre")
    if 0.0 < amount < 0.5:
        return f"less than half a {unit}"
    told = plain(amount)
    return f"{told} {unit}" if told == "1" else f"{told} {unit}s"


def straw(metres: float | None, display: Display) -> str:
    """A depth of straw or soil, the height of shoots: whole cm, half inches."""
    if not is_known(metres):
        return NOT_KNOWN
    if display is Display.US:
        inches = metres * 1000.0 / MM_PER_INCH
        return f"{plain(math.floor(inches * 2.0 + 0.5 + 1e-9) / 2.0, 1)} in"
    return f"{plain(metres * 100.0)} cm"


def length(metres: float | None, display: Display) -> str:
    """A length: a metre or more in metres or feet, less in cm or inches."""
    if not is_known(metres) or abs(metres) < 1.0:
        return straw(metres, display)
    if display is Display.US:
        return f"{plain(feet_from_metres(metres), 0 if abs(metres) >= 3.0 else 1)} ft"
    return f"{plain(metres, 0 if abs(metres) >= 10.0 else 1)} m"


def distance(kilometres: float | None, display: Display) -> str:
    """How far away: "6 km", "4 miles"."""
    if not is_known(kilometres):
        return NOT_KNOWN
    us = display is Display.US
    amount = kilometres * 1000.0 / M_PER_MILE if us else kilometres
    told = plain(amount, 0 if amount >= 10.0 else 1)
    if not us:
        return f"{told} km"
    return f"{told} mile" if told == "1" else f"{told} miles"


def speed(metres_per_second: float | None, display: Display) -> str:
    """A speed of the wind, whole."""
    if not is_known(metres_per_second):
        return NOT_KNOWN
    if display is Display.US:
        return f"{plain(miles_per_hour(metres_per_second))} mph"
    return f"{plain(kilometres_per_hour(metres_per_second))} km/h"


def weight(kilograms: float | None, display: Display) -> str:
    """A weight with one decimal."""
    if not is_known(kilograms):
        return NOT_KNOWN
    if display is Display.US:
        return f"{plain(pounds_from_kg(kilograms), 1)} lb"
    return f"{plain(kilograms, 1)} kg"


def weight_of_area(kilograms_a_m2: float | None, display: Display) -> str:
    """A yield: "4.2 kg a square metre", "0.9 lb a square foot"."""
    if not is_known(kilograms_a_m2):
        return NOT_KNOWN
    if display is Display.US:
        return f"{plain(pounds_from_kg(kilograms_a_m2) * M_PER_FOOT**2, 1)} lb a square foot"
    return f"{plain(kilograms_a_m2, 1)} kg a square metre"


def day(value: date | None, today: date) -> str:
    """A day as people say it: "Tue 14 April", with the year if it is not this year's."""
    if value is None:
        return NOT_KNOWN
    told = f"{WEEKDAYS[value.weekday()]} {value.day} {MONTHS[value.month - 1]}"
    return told if value.year == today.year else f"{told} {value.year}"


def soon(value: date, today: date) -> str:
    """A coming day in the fewest words, for a subject that ends with a date of its own: "tomorrow", "on Thursday"."""
    ahead = (value - today).days
    if ahead in {0, 1}:
        return ("today", "tomorrow")[ahead]
    return f"on {LONG_WEEKDAYS[value.weekday()]}" if 1 < ahead < len(LONG_WEEKDAYS) else f"on {day(value, today)}"


def night_to(morning: date, today: date) -> str:
    """The night that ends on a morning: "tonight", "tomorrow night", "on Tuesday night"."""
    ahead = (morning - today).days
    if ahead == 1:
        return "tonight"
    if 1 < ahead < len(LONG_WEEKDAYS):
        return f"{soon(morning - DAY, today)} night"
    return f"in the night to {day(morning, today)}"


def full_day(value: date) -> str:
    """A day with its year: "Tue 14 April 2026"."""
    return f"{WEEKDAYS[value.weekday()]} {value.day} {MONTHS[value.month - 1]} {value.year}"


def day_span(first: date | None, last: date | None, today: date) -> str:
    """A stretch of days: "between 1 and 9 May", "not before" or "by" a day where one end is open."""
    if first is None or last is None:
        if first is not None:
            return f"not before {day(first, today)}"
        return f"by {day(last, today)}" if last is not None else NOT_KNOWN
    if first == last:
        return f"on {day(first, today)}"
    begun = str(first.day) if (first.year, first.month) == (last.year, last.month) else _date(first, last)
    return f"between {begun} and {_date(last, today)}"


def expected_day(likely: date | None, today: date, early: date | None, late: date | None) -> str:
    """A day that is worked out: "between 3 and 12 May, most likely the 7th"; "about" a day that has no range."""
    if likely is None:
        return day_span(early, late, today)
    if early is None and late is None:
        return f"about {day(likely, today)}"
    span = day_span(early, late, today)
    if early == late:
        return span
    ends = {(end.year, end.month) for end in (early, likely, late) if end is not None}
    short = len(ends) == 1 and late is not None
    return f"{span}, most likely {f'the {_ordinal(likely.day)}' if short else _date(likely, late or today)}"


def _date(value: date, beside: date) -> str:
    """A day of the month, with the year if it is not that of the day beside it."""
    told = f"{value.day} {MONTHS[value.month - 1]}"
    return told if value.year == beside.year else f"{told} {value.year}"


def _ordinal(number: int) -> str:
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th") if number not in {11, 12, 13} else "th"
    return f"{number}{ending}"


def days(count: float | None) -> str:
    """A number of days: "1 day", "3 days"."""
    if not is_known(count):
        return NOT_KNOWN
    told = plain(count)
    return f"{told} day" if told == "1" else f"{told} days"


def minutes(count: float | None) -> str:
    """A stretch of minutes, whole and at least one: "1 minute", "4 minutes"."""
    if not is_known(count):
        return NOT_KNOWN
    told = plain(max(count, 1.0))
    return f"{told} minute" if told == "1" else f"{told} minutes"


def years(count: float | None) -> str:
    """A number of years: "1 year", "9 years"."""
    if not is_known(count):
        return NOT_KNOWN
    told = plain(count)
    return f"{told} year" if told == "1" else f"{told} years"


def odds(chance: float) -> Odds:
    """The row of the table nearest to a chance; halfway goes to the higher."""
    return min(ODDS, key=lambda row: (round(abs(row.chance - chance), 9), -row.chance))


def chance(value: float | None) -> str:
    """A chance in words and numbers together: "likely, 7 in 10 (70 %)"."""
    if not is_known(value):
        return NOT_KNOWN
    row = odds(value)
    return f"{row.word}, {row.told}"


def share(value: float | None) -> str:
    """A part of a whole, as a percentage: of the leaf, of the water, of years. A chance is no share."""
    return f"{plain(value * 100.0)} %" if is_known(value) else NOT_KNOWN


def listing(names: Sequence[str]) -> str:
    """Names as they are listed aloud: "a, b and c"."""
    if not names:
        return "none"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def count(number: int, one: str, many: str) -> str:
    """How many of a thing, small numbers as words: "two things"."""
    told = SMALL_NUMBERS[number] if 0 <= number < len(SMALL_NUMBERS) else str(number)
    return f"{told} {one if number == 1 else many}"


def _degrees(celsius: float, display: Display) -> str:
    if display is Display.US:
        return f"{plain(fahrenheit_from_celsius(celsius))} °F"
    return f"{plain(celsius, 1)} °C"
