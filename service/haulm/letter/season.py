"""The year of a place in words: its planting windows, what they rest on, its frosts, and a table of planting days."""

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from textwrap import wrap

import numpy as np

from haulm.garden import Bed, Place
from haulm.letter import amounts
from haulm.science.climatology import MixedDates, bounded_chance, day_at_chance_after, day_at_chance_before
from haulm.science.crop_fates import Fate
from haulm.science.windows import CLASSES, RING_DAYS, Shares, Window, YearFates
from haulm.settings.thresholds import Thresholds
from haulm.units import Display, fahrenheit_from_celsius

WIDTH, LABEL, HARD_SPACE = 80, 11, "\u00a0"
A_COMMON_YEAR = date(2023, 1, 1)
AFTER_SPRING = range(6, 12)  # northern months in which a window opens that shops have no seed for (judgement)
SEED_HELD_C = (3.0, 5.0)  # common practice, no source
CAUTION = (
    "Past years are no promise. Plant by the morning's letter and a thermometer in the bed, and have covers ready "
    "where frost would cost you the crop; your local advisory service knows the ground."
)
NEARLY_NEVER = 0.075  # told as 1 in 20 or less
PLANTED_ON = (1, 16)  # of each month: the rows of the table
WHY = {
    Fate.SOIL_COLD: "soil too cold",
    Fate.SOIL_HOT: "soil too hot",
    Fate.SHOOTS_FROZEN: "frost took the shoots",
    Fate.NIGHTS_WARM: "nights too warm for tubers to form",
    Fate.FROST_TOO_SOON: "frost before it was grown",
    Fate.HEAT_TOO_SOON: "heat before it was grown",
    Fate.TOO_SLOW: "too little warmth",
}


@dataclass(frozen=True, slots=True)
class FrostRow:
    """One limit of frost in the garden, and when it is last passed in spring and first in autumn.

    `asked` is the chance that it still comes after the day asked about (spring) or has come by it (autumn).
    """

    limit_c: float
    last: MixedDates
    first: MixedDates
    asked: float | None = None
    in_spring: bool = True


@dataclass(frozen=True, slots=True)
class WindowFrost:
    """A window's killing frosts by the fitted dates: after the early shoots, and before a crop is grown; None: neither
    falls into the half of the year that such a frost belongs to."""

    after_shoots: float | None
    before_grown: float | None


@dataclass(frozen=True, slots=True, eq=False)
class SeasonTold:
    """All that is told of a bed's year. `windows` may be empty: then `closest` is the best day there is.

    `frost_after_shoots` is the fitted chance of a killing frost after the early shoots, for each planting day.
    """

    place: Place
    bed: Bed
    depth_m: float
    readings: int
    station: str
    thresholds: Thresholds
    found: YearFates
    shares: Shares
    windows: tuple[Window, ...]
    frosts_of: tuple[WindowFrost, ...]
    closest: Window | None
    frosts: tuple[FrostRow, ...]
    frost_after_shoots: tuple[float | None, ...]
    asked: date | None = None

    @property
    def years(self) -> int:
        """The most years that tell of any planting day."""
        return int(self.shares.years.max()) if self.shares.years.size else 0


def ring_date(position: int) -> date:
    """A planting day, in a year of 365 days."""
    return A_COMMON_YEAR + timedelta(days=position % RING_DAYS)


def ring_day(position: int) -> str:
    """A planting day as it is said of any year: "4 April"."""
    day = ring_date(position)
    return f"{day.day} {amounts.MONTHS[day.month - 1]}"


def as_lines(told: SeasonTold) -> Iterator[str]:
    """The whole, for a terminal of 80 columns."""
    yield from _heading(told)
    if told.years:
        for number, (window, frost) in enumerate(zip(told.windows, told.frosts_of, strict=True), start=1):
            yield ""
            yield from _window_lines(told, window, frost, number)
        if not told.windows:
            yield ""
            yield from _no_window(told)
        yield ""
        yield from _table(told)
    yield ""
    yield from _frost_lines(told)
    if told.years:
        yield ""
        yield from _wrapped(CAUTION)


def as_parts(told: SeasonTold) -> tuple[str, tuple[tuple[str, tuple[tuple[str, str], ...]], ...]]:
    """The same for a page: how it was reckoned, and each window with its rows (a name and its words)."""
    intro = list(_heading(told))
    if told.years and not told.windows:
        intro += _no_window(told)
    found = tuple(
        (_window_title(window, number), tuple(_window_rows(told, window, frost)))
        for number, (window, frost) in enumerate(zip(told.windows, told.frosts_of, strict=True), start=1)
    )
    return " ".join(intro), found


def year_alt_text(told: SeasonTold) -> str:
    """What the picture of the year shows, in words."""
    titles = [_window_title(window, number) for number, window in enumerate(told.windows, start=1)]
    return f"The year of {told.bed.name}: the share of years in which a crop planted that day came to something. " + (
        "; ".join(titles) or "No window"
    )


def _heading(told: SeasonTold) -> Iterator[str]:
    display = told.place.display
    where = "under the straw" if told.depth_m == 0.0 else f"{amounts.straw(told.depth_m, display)} deep"
    if not told.years:
        yield from _wrapped(f"When to plant {told.bed.name}, {told.place.name}: not known.")
        yield "No year of the record is whole enough to follow a crop from planting to lifting."
        return
    first, last = told.found.years.min(), told.found.years.max()
    weather = f"{amounts.years(told.years)} of weather, {first}-{last}"
    yield from _wrapped(f"When to plant {told.bed.name}, {told.place.name}: by {weather}.")
    straw = amounts.straw(told.thresholds.planting.straw_at_planting_m, display)
    yield from _wrapped(
        f"Seed {where}, {straw} of straw from planting; the garden {_colder(told)}. From {told.station}."
    )
    if told.readings:
        count = amounts.count(told.readings, "reading", "readings")
        yield from _wrapped(f"Soil as {count} of your thermometer taught it.")
    fewest = told.thresholds.windows.fewest_years
    if told.years < fewest:
        yield from _wrapped(f"Only {amounts.years(told.years)}: hold every chance loosely. {fewest} or more tell.")


def _colder(told: SeasonTold) -> str:
    offset_c = told.place.clear_night_offset_c
    if offset_c == 0.0:
        return "is as cold as the station at night"
    return f"{amounts.warmth(offset_c, told.place.display)} colder than the station on clear nights"


def _window_lines(told: SeasonTold, window: Window, frost: WindowFrost, number: int) -> Iterator[str]:
    yield _window_title(window, number)
    for label, value in _window_rows(told, window, frost):
        for at, line in enumerate(_wrapped(value, WIDTH - LABEL)):
            yield f"  {label if at == 0 else '':{LABEL - 2}}{line}"


def _window_title(window: Window, number: int) -> str:
    kind = "Window" if window.good else "Chancy window"
    if window.whole_year:
        return f"{kind} {number}: any day of the year, best about {ring_day(window.best)}"
    return f"{kind} {number}: {ring_day(window.first)} to {ring_day(window.last)}, best about {ring_day(window.best)}"


def _wrapped(text: str, width: int = WIDTH) -> list[str]:
    """Lines of a width, no number parted from its unit."""
    joined = re.sub(r"(?<=\d) (?=%|°)", HARD_SPACE, text)
    return [line.replace(HARD_SPACE, " ") for line in wrap(joined, width)]


def _window_rows(told: SeasonTold, window: Window, frost: WindowFrost) -> Iterator[tuple[str, str]]:
    best = window.best
    chance = float(bounded_chance(window.share, window.years))
    yield "chance", f"a crop worth lifting: {amounts.chance(chance)}"
    if window.good and window.about != (window.first, window.last):
        yield "chancy", _about(window)
    yield "class", _class(window)
    yield "seed", _seed(told, window)
    early, late = (best + days for days in window.shoots_days)
    yield "shoots", f"{ring_day(early)} to {ring_day(late)}, planted on the best day"
    if window.young_day:
        yield "lifting", _lifting(window)
    if frost.after_shoots is not None:
        yield "frost", f"killing frost after the shoots: {amounts.chance(frost.after_shoots)}"
    feared = any(why is Fate.FROST_TOO_SOON for _, why in window.failed)
    if frost.before_grown is not None and (feared or frost.before_grown >= NEARLY_NEVER):
        yield "frost", f"killing frost before a crop worth lifting: {amounts.chance(frost.before_grown)}"
    yield "failed", _failed(window)
    if window.left_out:
        yield "left out", f"{_years(window.left_out)}: the record does not show that crop whole"


def _seed(told: SeasonTold, window: Window) -> str:
    """When to buy and to wake it; for a window after the spring, what to do where shops have none then."""
    seed, opens = told.thresholds.seed, window.best if window.whole_year else window.first
    said = f"buy from {ring_day(opens - seed.buy_ahead_days)}; chit from {ring_day(opens - seed.chit_ahead_days)}"
    month = ring_date(opens).month
    local = month if told.place.latitude_deg >= 0.0 else (month + 5) % 12 + 1
    if window.whole_year or local not in AFTER_SPRING:
        return said
    cold = amounts.temperatures(*SEED_HELD_C, told.place.display)
    return f"{said}; where none is sold then, buy in spring and hold it dark at {cold}"


def _about(window: Window) -> str:
    first, last = window.about
    if (last + 1 - first) % RING_DAYS == 0:
        return "all other days of the year"
    return f"from {ring_day(first)} to {ring_day(last)}"


def _class(window: Window) -> str:
    ripe = dict(zip(CLASSES, (amounts.share(share) for share in window.ripe_shares), strict=True))
    if not window.ripens:
        return f"early, to be lifted young: it ripens in {ripe['early']} of years"
    others = ", ".join(f"{name} {share}" for name, share in ripe.items() if name != window.maturity)
    return f"{window.maturity}: ripens in {ripe[window.maturity]} of years ({others})"


def _lifting(window: Window) -> str:
    low, high = (window.best + days for days in window.lift_days)
    young = f"new potatoes from about {ring_day(window.best + window.young_day)}"
    ended = f"{ring_day(low)} to {ring_day(high)}" if low != high else ring_day(low)
    if window.ripens:
        return f"{young}; ripe, skins set: {ended}"
    return f"{young}; the rest, ended by frost or heat: {ended}"


def _failed(window: Window) -> str:
    if not window.failed:
        return f"none of {amounts.years(window.years)}"
    grouped: dict[Fate, list[int]] = {}
    for year, why in window.failed:
        grouped.setdefault(why, []).append(year)
    return "; ".join(f"{_years(years)}: {WHY[why]}" for why, years in sorted(grouped.items()))


def _years(years: tuple[int, ...] | list[int]) -> str:
    return amounts.listing([str(year) for year in years])


def _no_window(told: SeasonTold) -> Iterator[str]:
    chancy = told.thresholds.windows.chancy_share
    yield from _wrapped(f"No planting day here brings a crop in {amounts.share(chancy)} of the years.")
    if told.closest is not None:
        best = told.closest
        yield from _wrapped(f"Best would be about {ring_day(best.best)}. What went wrong then: {_failed(best)}.")


def _table(told: SeasonTold) -> Iterator[str]:
    yield "Share of years in which each thing went well, by the day of planting"
    yield f"{'planted':13}{'soil':>8}{'shoots safe':>14}{'nights cool':>14}{'warmth in time':>17}{'all':>6}"
    each = told.shares
    for position in _rows():
        columns = (each.soil, each.shoots, each.nights, each.warmth, each.young[0])
        cells = [amounts.share(float(column[position])) for column in columns]
        in_one = next((w for w in told.windows if w.holds(position)), None)
        mark = "" if in_one is None else ("  window" if in_one.good else "  chancy")
        soil, shoots, nights, warmth, whole = cells
        yield f"{ring_day(position):13}{soil:>8}{shoots:>14}{nights:>14}{warmth:>17}{whole:>6}{mark}".rstrip()


def _rows() -> list[int]:
    days = [date(A_COMMON_YEAR.year, month, day) for month in range(1, 13) for day in PLANTED_ON]
    return [(day - A_COMMON_YEAR).days for day in days]


# --- frost ---


def _frost_lines(told: SeasonTold) -> Iterator[str]:
    frosts, display = told.frosts, told.place.display
    years = frosts[0].last.years if frosts else 0
    if not years:
        yield "Frosts: not known; no spring of the record is whole."
        return
    yield f"Frost nights in the garden, by {amounts.years(years)}; fitted dates"
    yield f"{'':10}{'the last of spring is later':>33}{'the first of autumn is sooner':>35}"
    yield f"{'':10}" + "".join(f"{odd:>11}" for odd in ("1 in 2", "1 in 5", "1 in 10", "  1 in 10", "1 in 5", "1 in 2"))
    for row in frosts:
        after = [_fitted(row.last, day_at_chance_after(row.last, chance)) for chance in (0.5, 0.2, 0.1)]
        before = [_fitted(row.first, day_at_chance_before(row.first, chance)) for chance in (0.1, 0.2, 0.5)]
        yield f"{_limit(row.limit_c, display):10}" + "".join(f"{cell:>11}" for cell in (*after, *before))
    if told.asked is not None:
        yield from _asked(told, told.asked)


def _limit(limit_c: float, display: Display) -> str:
    if display is Display.US:
        return f"{amounts.plain(fahrenheit_from_celsius(limit_c))} °F"
    return f"{amounts.plain(limit_c, 1)} °C"


def _fitted(dates: MixedDates, day: object) -> str:
    if dates.share == 0.0:
        return "never yet"
    found = float(np.asarray(day))
    if math.isnan(found):
        return "rarer"
    when = A_COMMON_YEAR + timedelta(days=round(found) - 1)
    return f"{when.day} {amounts.MONTHS[when.month - 1][:3]}"


def _asked(told: SeasonTold, asked: date) -> Iterator[str]:
    when = f"{asked.day} {amounts.MONTHS[asked.month - 1]}"
    yield ""
    for row in told.frosts:
        what = "one still comes after" if row.in_spring else "one has come by"
        yield f"{_limit(row.limit_c, told.place.display)}: {what} {when}: {amounts.chance(row.asked)}"
