"""The forecast of the day the soil is ready, through the product's own code, scored on measured stations.

    python tests/accuracy/ready.py STATIONS.csv.gz
        [--autumn] [--stations N] [--readings N] [--earlier] [--stand-in DAYS]

STATIONS has the columns station, latitude_deg, date, air_min_c, air_max_c, rain_mm, soil_10cm_c. The day sought is the
first of three running with a measured mean at 10 cm of at least 10 °C, in 1 January to 30 June of a year whose first 20
days average at most 8 °C and of which at most 5 % of those days are missing. Issues: every Monday from 45 days before
the mean of the place's other years until that day; every one is scored. With --autumn it is the first of three running
with at most 24 °C, in 1 August to 30 November of a year whose first 20 days of August average at least 26 °C.

The soil up to the issue comes from the air and rain of the station; the days to come from the place's own other years,
the year at issue left out (--earlier: only those before it). No weather forecast is held for these stations. --stand-in
gives one that never was: the weather that came, disturbed by as much as a forecast of that lead errs.
With --readings the estimate is taught N measured daily means of each of those other years, March to October.

Beside it stands the place's mean date, given not yet: the mean of the other years' days that are later than the issue;
by measured days, which a grower without a thermometer does not have, and by those that the product works out.
"""

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from itertools import groupby
from pathlib import Path

import numpy as np
from soil import CONDUCTIVITY_W_MK, DEPTH_M, HEAT_CAPACITY_MJ_M3K, SPIN_UP_DAYS, days_of_year, stations, without_holes

from haulm.beds.forcing import SPREAD_OF_UNKNOWN_C, same_day
from haulm.beds.ready import errors_ahead_c, ready_ranges, waits_of
from haulm.beds.soil_run import AIR_SPREAD_SHARE, doubt_remembered_c
from haulm.garden import Habit, Maturity, Planting, Season
from haulm.letter.amounts import ODDS, Odds
from haulm.science import soil_learning as learning
from haulm.science import soil_surface as surface
from haulm.science import soil_temperature as column
from haulm.science.evapotranspiration import hargreaves_et_mm
from haulm.science.frost import normal_cdf, spread_by_lead_c
from haulm.science.soil_freezing import Freezing
from haulm.science.sun import top_radiation_mj
from haulm.settings.thresholds import Thresholds

START_DAYS, MOST_MISSING = 20, 0.05
BEFORE_MEAN_DAYS, FEWEST_YEARS, KNOWN_SHARE = 45, 3, 0.9
AHEAD_DAYS = 150
STAND_IN_MEMORY = 0.6  # of one day's error of the stand-in in the next day's: judgement
LEADS = ((0, 0), (1, 6), (7, 21), (22, 45), (46, AHEAD_DAYS))
AIR = ("air_min_c", "air_max_c")
THRESHOLDS = Thresholds()
NEEDED = THRESHOLDS.planting.ready_days


@dataclass(frozen=True)
class Sought:
    """What is looked for: from a day of the year on, so many days, where the first of them lie beyond `start_c`."""

    season: Season
    month: int
    days: int
    start_c: float
    limit_c: float
    sign: float  # 1 where the soil has to rise

    def begins(self, year: int) -> date:
        return date(year, self.month, 1)

    def met(self, soil_c: np.ndarray) -> np.ndarray:
        return self.sign * soil_c >= self.sign * self.limit_c


SPRING = Sought(Season.SPRING, 1, 181, 8.0, THRESHOLDS.planting.soil_ready_spring_c, 1.0)
AUTUMN = Sought(Season.AUTUMN, 8, 122, 26.0, THRESHOLDS.planting.soil_ready_autumn_c, -1.0)


@dataclass(frozen=True)
class Network:
    """Stations side by side: values (stations, days) from `first` on, `weather` without holes; and their soil."""

    names: list[str]
    latitude: list[float]
    first: date
    begins: list[int]
    measured_c: np.ndarray
    air_known: np.ndarray
    weather: dict[str, np.ndarray]
    sun_mj: np.ndarray
    cover: np.ndarray
    soil_c: np.ndarray
    series: np.ndarray

    def at(self, day: date) -> int:
        return (day - self.first).days

    def own_years(self, station: int) -> list[int]:
        """Whole years of which the air is known well enough, as the product takes them."""
        whole = range(self.first.year, (self.first + timedelta(days=self.soil_c.shape[1])).year)
        spans = ((year, self.at(date(year, 1, 1)), self.at(date(year + 1, 1, 1))) for year in whole)
        known = self.air_known[station]
        return [y for y, a, b in spans if a >= self.begins[station] and known[a:b].mean() >= KNOWN_SHARE]


@dataclass(frozen=True)
class Issue:
    """One Monday of one season; `others` are the own years used."""

    station: int
    year: int
    monday: date
    others: tuple[int, ...]


@dataclass(frozen=True)
class Scored:
    """Days from the issue to the truth, to the forecast's likely, early and late day, and to the mean dates."""

    truth: float
    modelled: float
    early: float
    likely: float
    late: float
    mean_measured: float
    mean_modelled: float


@cache
def network(path: Path, count: int | None) -> Network:
    """Read the stations and run the soil through the whole record, as `soil.py` does."""
    found = list(stations(path))
    found = found[:: max(len(found) // count, 1)][:count] if count else found
    first = min(begin for _, _, begin, _ in found)
    days = max(len(values["rain_mm"]) + (begin - first).days for _, _, begin, values in found)
    raw = {key: np.full((len(found), days), np.nan) for key in (*AIR, "rain_mm", "soil_10cm_c")}
    begins = [(begin - first).days for _, _, begin, _ in found]
    for row, (_, _, _, values) in enumerate(found):
        for key, all_rows in raw.items():
            all_rows[row, begins[row] : begins[row] + len(values[key])] = values[key]
    latitude, day = [one for _, one, _, _ in found], days_of_year(first, days)
    weather = {key: np.stack([without_holes(row, day) for row in raw[key]]) for key in AIR}
    rain = raw["rain_mm"]
    weather["rain_mm"] = np.where(np.isfinite(rain), rain, np.nanmean(rain, axis=1, keepdims=True))
    sun = np.stack([top_radiation_mj(one, day) for one in latitude])
    et = hargreaves_et_mm(weather["air_min_c"], weather["air_max_c"], sun)
    cover = surface.plant_cover(weather["rain_mm"].mean(axis=1) / et.mean(axis=1))[:, None]
    _, felt = surface.advance(surface.start_state(len(found)), *weather.values(), sun, cover)
    turn = np.stack([learning.season_turn(one, day) for one in latitude])
    soil_c, series = learning.sensitivity_series(felt, 0.0, turn, day, grounds(len(found)))
    known = np.isfinite(raw["air_min_c"]) & np.isfinite(raw["air_max_c"])
    kept = np.ascontiguousarray(series[..., 0]), np.ascontiguousarray(soil_c[..., 0])
    names = [name for name, *_ in found]
    return Network(
        names, latitude, first, begins, raw["soil_10cm_c"], known, weather, sun, cover, kept[1], kept[0]
    )  # fmt: skip


def grounds(rows: int) -> column.SoilColumn:
    return column.SoilColumn(
        np.full(rows, CONDUCTIVITY_W_MK), np.full(rows, HEAT_CAPACITY_MJ_M3K), np.full((rows, 1), DEPTH_M),
        freezing=Freezing(),
    )  # fmt: skip


def mondays(net: Network) -> Iterator[tuple[date, np.ndarray, np.ndarray]]:
    """Each Monday, with the states of surface and soil of all stations on its morning."""
    rows, day = len(net.names), days_of_year(net.first, net.soil_c.shape[1])
    whole, top = grounds(rows), surface.start_state(rows)
    _, felt = surface.advance(top, *net.weather.values(), net.sun_mj, net.cover)
    wave = learning.annual_wave(felt.temperature_c, day)
    soil = column.with_ice(column.steady_state(wave, float(day[0]), felt.resistance_m2k_w.mean(axis=1), whole))
    start = 0
    for stop in range(-net.first.weekday() % 7, len(day), 7):
        part = slice(start, stop)
        if stop > start:
            top, _ = surface.advance(top, *(v[:, part] for v in net.weather.values()), net.sun_mj[:, part], net.cover)
            soil, _ = column.advance(soil, felt.temperature_c[:, part], felt.resistance_m2k_w[:, part], whole)
        yield net.first + timedelta(days=stop), top, soil
        start = stop


def crossing(soil_c: np.ndarray, sought: Sought) -> int | None:
    """Days from the first one to the first of three at the limit."""
    good = sought.met(soil_c)
    run = np.logical_and.reduce([good[back : len(good) - NEEDED + back + 1] for back in range(NEEDED)])
    return int(run.argmax()) if run.any() else None


def crossings(net: Network, station: int, sought: Sought = SPRING) -> tuple[dict[int, int], dict[int, int]]:
    """By year, the measured day (where the season is fit and known) and the one worked out, from its first day."""
    measured, modelled = {}, {}
    for year in net.own_years(station):
        start = net.at(sought.begins(year))
        season = net.measured_c[station, start : start + sought.days]
        day = crossing(net.soil_c[station, start : start + sought.days], sought)
        if day is not None:
            modelled[year] = day
        known = len(season) == sought.days and np.isnan(season).mean() <= MOST_MISSING
        settled = start >= net.begins[station] + SPIN_UP_DAYS
        if not (settled and known) or sought.sign * np.nanmean(season[:START_DAYS]) > sought.sign * sought.start_c:
            continue
        day = crossing(np.nan_to_num(season, nan=-99.0 * sought.sign), sought)
        if day is not None:
            measured[year] = day
    return measured, modelled


def issues_of(
    net: Network, station: int, measured: dict[int, int], sought: Sought = SPRING, *, earlier: bool
) -> Iterator[Issue]:
    for year, day in measured.items():
        others = tuple(y for y in net.own_years(station) if (y < year if earlier else y != year))
        dates = [measured[y] for y in others if y in measured]
        if len(dates) < FEWEST_YEARS:
            continue
        first = int(np.ceil(np.mean(dates) - BEFORE_MEAN_DAYS))
        for after in range(first, day + 1):
            monday = sought.begins(year) + timedelta(days=after)
            if monday.weekday() == 0:
                yield Issue(station, year, monday, others)


def ways_c(net: Network, issues: list[Issue], top: np.ndarray, soil: np.ndarray, stand_in: int) -> list[np.ndarray]:
    """The soil after one Monday of every issue, by each of its own years, (1 + years, days); row 0 is their mean."""
    rows = [(one.station, net.at(same_day(one.monday, year))) for one in issues for year in one.others]
    at = np.array([row for row, _ in rows])
    days = np.minimum(np.array([start for _, start in rows])[:, None] + np.arange(AHEAD_DAYS), net.soil_c.shape[1] - 1)
    coming = np.minimum(net.at(issues[0].monday) + np.arange(AHEAD_DAYS), net.soil_c.shape[1] - 1)
    weather = {key: values[at[:, None], days] for key, values in net.weather.items()}
    if stand_in:
        errors = {one.station: stand_in_errors_c(stand_in, one) for one in issues}
        off = np.stack([errors[row] for row in at])
        for key, values in weather.items():
            values[:, :stand_in] = net.weather[key][at[:, None], coming[:stand_in]] + (off if key in AIR else 0.0)
    _, felt = surface.advance(top[at], *weather.values(), net.sun_mj[at[:, None], coming], net.cover[at])
    _, found = column.advance(soil[at], felt.temperature_c, felt.resistance_m2k_w, grounds(len(at)))
    ends = np.cumsum([len(one.others) for one in issues])[:-1]
    each = np.split(found.soil_c[..., 0], ends)
    return [np.concatenate([ways.mean(axis=0, keepdims=True), ways]) for ways in each]


def stand_in_errors_c(days: int, issue: Issue) -> np.ndarray:
    """Errors of a forecast that never was, by lead; the same for every run."""
    chance = np.random.default_rng([issue.station, issue.monday.toordinal()])
    error, found = float(chance.standard_normal()), []
    for _ in range(days):
        found.append(error)
        error = STAND_IN_MEMORY * error + np.sqrt(1.0 - STAND_IN_MEMORY**2) * float(chance.standard_normal())
    return np.array(found) * spread_by_lead_c(np.arange(1.0, days + 1.0))


def learned_from(net: Network, station: int, years: tuple[int, ...], readings: int) -> learning.Learned:
    """What some measured daily means of each own year teach."""
    at: list[np.ndarray] = []
    for year in years if readings else ():
        begin, end = net.at(date(year, 3, 1)), net.at(date(year, 11, 1))
        held = begin + np.flatnonzero(np.isfinite(net.measured_c[station, begin:end]))
        if len(held):
            at.append(held[np.round(np.linspace(0, len(held) - 1, readings)).astype(int)])
    days = np.concatenate(at) if at else np.array([], dtype=int)
    miss_c = net.measured_c[station, days] - net.soil_c[station, days]
    return learning.learn(miss_c, net.series[:, station, days], days.astype(float))


def forecast(
    net: Network, issue: Issue, ways: np.ndarray, learned: learning.Learned, stand_in: int, sought: Sought = SPRING
) -> np.ndarray:
    """Days from the issue to the early, likely and late day, by `haulm.beds.ready`."""
    today, station = net.at(issue.monday), issue.station
    usual = np.mean(
        [net.series[:, station, (at := net.at(same_day(issue.monday, y))) : at + AHEAD_DAYS] for y in issue.others
         if net.at(same_day(issue.monday, y)) + AHEAD_DAYS <= net.soil_c.shape[1]], axis=0,
    )  # fmt: skip
    series = np.concatenate([net.series[:, station, today - NEEDED : today], usual], axis=1)
    move_c = learned.mean @ series
    past_c, ways = net.soil_c[station, today - NEEDED : today] + move_c[:NEEDED], ways + move_c[NEEDED:]
    leads = np.arange(1.0, AHEAD_DAYS + 1.0)
    air_spread_c = np.where(leads <= stand_in, spread_by_lead_c(leads), SPREAD_OF_UNKNOWN_C)
    doubt_c = np.concatenate([np.zeros(NEEDED), AIR_SPREAD_SHARE * doubt_remembered_c(air_spread_c)])
    estimate_c = np.concatenate([past_c, ways[0]])
    errors = errors_ahead_c(series[None], learned.covariance[None], estimate_c[None], doubt_c, ways[None])
    whole_year = (date(issue.year, 1, 1), date(issue.year, 12, 31))
    planting = Planting(
        "", "", "", Maturity.EARLY, Habit.DETERMINATE, sought.season, 0.3, DEPTH_M, *whole_year
    )  # fmt: skip
    waits = waits_of([planting], [THRESHOLDS], [ways.shape[1]], issue.monday)
    (ready,) = ready_ranges(past_c[None], ways[None], waits, issue.monday, errors)
    days = [AHEAD_DAYS if day is None else (day - issue.monday).days for day in (ready.early, ready.likely, ready.late)]
    return np.array(days) - float(NEEDED)  # the product names the morning after the run, the truth is its first day


def scored(
    path: Path, count: int | None, readings: int, stand_in: int, sought: Sought = SPRING, *, earlier: bool
) -> list[Scored]:
    """Every issue of every station."""
    net = network(path, count)
    days = [crossings(net, station, sought) for station in range(len(net.names))]
    issues = sorted(
        (
            one
            for row, (measured, _) in enumerate(days)
            for one in issues_of(net, row, measured, sought, earlier=earlier)
        ),
        key=lambda one: one.monday,
    )
    by_monday = {monday: list(some) for monday, some in groupby(issues, key=lambda one: one.monday)}
    taught = {key: learned_from(net, *key, readings) for key in {(one.station, one.others) for one in issues}}
    found = []
    for monday, top, soil in mondays(net):
        some = by_monday.get(monday, [])
        for one, ways in zip(some, ways_c(net, some, top, soil, stand_in) if some else [], strict=True):
            told = forecast(net, one, ways, taught[one.station, one.others], stand_in, sought)
            found.append(_scored(one, told, sought, *days[one.station]))
    return found


def _scored(
    issue: Issue, told: np.ndarray, sought: Sought, measured: dict[int, int], modelled: dict[int, int]
) -> Scored:
    now = (issue.monday - sought.begins(issue.year)).days
    means = [mean_not_yet([days[y] for y in issue.others if y in days], now) - now for days in (measured, modelled)]
    worked_out = modelled.get(issue.year, np.nan) - now
    return Scored(measured[issue.year] - now, worked_out, *(float(day) for day in told), *means)


def mean_not_yet(dates: list[int], now: int) -> float:
    """Mean of the dates that are not past; today where all are."""
    later = [day for day in dates if day >= now]
    return float(np.mean(later)) if later else float(now)


def report(found: list[Scored]) -> Iterator[str]:
    """Median errors in days by the forecast's own lead, and how many true days lie between its ends."""
    rows = np.array([[getattr(one, name) for name in Scored.__dataclass_fields__] for one in found])
    yield f"{len(rows)} issues; median error in days, and how many days lie between early and late"
    yield "own lead   issues  forecast  mean date  less by  mean date,   between  width  forecast of the"
    yield "                            (measured)          worked out  the ends         day worked out"
    for low, high in LEADS:
        truth, modelled, early, likely, late, mean, mean_modelled = rows[_within(rows[:, 3], low, high)].T
        if not len(truth):
            continue
        error, usual = np.median(abs(likely - truth)), np.median(abs(mean - truth))
        yield (
            f"{f'{low} to {high}' if high else 'now':9}{len(truth):8}{error:10.1f}{usual:11.1f}{1 - error / usual:9.0%}"
            f"{np.median(abs(mean_modelled - truth)):12.1f}{np.mean((early <= truth) & (truth <= late)):10.0%}"
            f"{np.mean(late - early):7.1f}{np.nanmedian(abs(likely - modelled)):12.1f}"
        )


def chances_kept(path: Path, count: int | None) -> list[tuple[Odds, int, float]]:
    """How often a day's measured mean was at 10 °C or more, by the chance that the estimate gave it unread."""
    net, limit_c = network(path, count), SPRING.limit_c
    settled = np.arange(net.soil_c.shape[1]) >= np.array(net.begins)[:, None] + SPIN_UP_DAYS
    known = np.isfinite(net.measured_c) & net.air_known & settled
    spread = [
        learning.spread_c(net.series[:, row], learning.PLACES, soil_c) for row, soil_c in enumerate(net.soil_c)
    ]  # fmt: skip
    chance = normal_cdf((net.soil_c - limit_c) / np.stack(spread))[known]
    came = net.measured_c[known] >= limit_c
    row = np.abs(chance[:, None] - np.array([one.chance for one in ODDS])).argmin(axis=1)
    return [(one, int((row == k).sum()), float(came[row == k].mean())) for k, one in enumerate(ODDS)]


def _within(lead: np.ndarray, low: int, high: int) -> np.ndarray:
    return (lead <= high) & (lead >= low if low else True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("path", type=Path, metavar="STATIONS")
    parser.add_argument("--autumn", action="store_true")
    parser.add_argument("--stations", type=int, help="only so many, spread over the file")
    parser.add_argument("--readings", type=int, default=0)
    parser.add_argument("--earlier", action="store_true")
    parser.add_argument("--stand-in", type=int, default=0, metavar="DAYS")
    parser.add_argument("--chances", action="store_true", help="instead: how often 10 °C came by the chance given it")
    given = parser.parse_args()
    if given.chances:
        for odds, days, came in chances_kept(given.path, given.stations):
            print(f"{odds.told:18}{days:8} days: {came:.1%}")  # noqa: T201
        return
    sought = AUTUMN if given.autumn else SPRING
    found = scored(given.path, given.stations, given.readings, given.stand_in, sought, earlier=given.earlier)
    if given.stand_in:
        print(f"With a stand-in for a forecast of {given.stand_in} days: the weather that came, disturbed.")  # noqa: T201
    print("\n".join(report(found)))  # noqa: T201


if __name__ == "__main__":
    main()
