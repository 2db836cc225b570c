"""Chances of cold nights through the product's own learner, on measured stations with stand-ins for a forecast.

    python tests/accuracy/nights.py STATIONS.csv.gz [--every N] [--few]

STATIONS has the columns station, latitude_deg, longitude_deg, date, air_min_c, air_max_c. Nobody kept the forecasts of
those years, so three stand-ins serve, none with errors of the learner's own form:

neighbour   what the nearest station with enough days measured that night, 4 to 370 km off: its own hills and lakes, and
            nothing of when it is wrong
lagged      what the station itself measured the night before: a forecast that knows no weather to come
noisy       the true night with noise of Student's t with 3 degrees of freedom, half of it carried over from the night
            before, that is 2.2 °C too warm on clear nights, widest under broken cloud (clearness from the true day's
            range of temperature, which the learner does not see)

The learner is given the pairs of one odd year, as the product keeps about one, and gives the chances of the even year
after it, at lead 1. The place's mean year is that of all odd years. Stations tell tenths: at most 0 °C is below 0.05.
A night is one of the growing season where the mean year's minimum is from 2 to 12 °C. The garden is taken for the
station here: what leaves differ from it is no part of this.

With --few the learner is given only the last few nights in a row, in the growing season, and asked for the night after
next: errors of one spell are alike, and this shows whether it takes too many of them for so many proofs.
"""

import argparse
import csv
import gzip
import sys
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from haulm.beds.nights import LEAST_RANGE_C, day_range_c
from haulm.science import forecast_skill
from haulm.science.climatology import fit_mean_year, mean_year_at
from haulm.science.forecast_skill import Cases, chance_at_or_below, learn, put_right
from haulm.science.frost import LEAST_CHANCE, MOST_CHANCE, normal_cdf, normal_chance
from haulm.science.leaf_night import night_sky

FIRST, LAST = date(2009, 1, 1), date(2024, 12, 31)
DAYS = (LAST - FIRST).days + 1
LIMITS_C = (0.0, -1.0, -2.2)  # the defaults for a heads-up, for a cover tonight, and for a severe night
TENTHS_C = 0.05
FEWEST_PAIRS, FEWEST_NIGHTS = 200, 100
ENOUGH_TO_JUDGE = 400
SEASON_LOW_C, SEASON_HIGH_C = 2.0, 12.0
CALLS = (0.15, 0.30, 0.50)  # of a night at -1 °C; 0.30 is the default
SEED = 1
FEW = (0, 5, 13, 30, 90)  # nights in a row; each start is 23 days after the one before
FEW_WEIGHTS = (0.1, 0.2, forecast_skill.PAIR_WEIGHT, 0.6)  # what a pair weighs: the product's, and others beside it


@dataclass(frozen=True)
class Station:
    """One station's nights and days, without a break; NaN where blank."""

    name: str
    latitude_deg: float
    longitude_deg: float
    low_c: np.ndarray
    high_c: np.ndarray


@dataclass(frozen=True)
class Nights:
    """Scored nights: the chance given, that of climatology, what was measured, and whether it is a growing season's."""

    chance: np.ndarray
    usual: np.ndarray
    came: np.ndarray
    growing: np.ndarray


def stations(path: Path) -> list[Station]:
    """All stations of a file."""
    rows = defaultdict(list)
    with gzip.open(path, "rt", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            rows[row["station"]].append(row)
    return [_station(name, days) for name, days in rows.items()]


def _station(name: str, days: list[dict[str, str]]) -> Station:
    low, high = np.full(DAYS, np.nan), np.full(DAYS, np.nan)
    for row in days:
        at = (date.fromisoformat(row["date"]) - FIRST).days
        if 0 <= at < DAYS:
            low[at], high[at] = (float(row[key]) if row[key] else np.nan for key in ("air_min_c", "air_max_c"))
    return Station(name, float(days[0]["latitude_deg"]), float(days[0]["longitude_deg"]), low, high)


def calendar() -> tuple[np.ndarray, np.ndarray]:
    """Day of the year, from 1, and year of each day."""
    days = np.datetime64(FIRST) + np.arange(DAYS)
    years = days.astype("datetime64[Y]")
    return (days - years).astype(float) + 1.0, years.astype(int) + 1970


def nearest(one: Station, others: list[Station]) -> Station | None:
    """The nearest other station that measured most of the same nights."""
    by_distance = sorted((other for other in others if other is not one), key=lambda other: _apart(one, other))
    shared = (other for other in by_distance if np.isfinite(one.low_c + other.low_c).mean() > 0.8)
    return next(shared, None)


def _apart(one: Station, other: Station) -> float:
    north = np.radians(one.latitude_deg - other.latitude_deg)
    east = np.radians(one.longitude_deg - other.longitude_deg) * np.cos(np.radians(one.latitude_deg))
    return float(np.hypot(north, east))


def noisy(one: Station, usual_range_c: np.ndarray, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Fat-tailed noise that depends on the cloud of the night."""
    ratio = day_range_c(one.low_c, one.high_c) / usual_range_c
    clear = np.clip((np.nan_to_num(ratio, nan=1.0) - 0.6) / 0.7, 0.0, 1.0)
    carried = np.zeros(DAYS)
    for at in range(1, DAYS):
        carried[at] = 0.5 * carried[at - 1] + np.sqrt(0.75) * rng.normal()
    fat = rng.standard_t(3, DAYS) / np.sqrt(3.0)
    spread = np.where((clear > 0.3) & (clear < 0.75), 2.2, 1.0)
    low = one.low_c + np.where(clear > 0.75, 2.2, 0.2) + spread * (0.8 * fat + 0.6 * carried)
    return low, np.maximum(one.high_c + rng.normal(0.0, 1.2, DAYS), low + 0.5)


def stand_ins(
    one: Station, others: list[Station], usual_range_c: np.ndarray, rng: np.random.Generator
) -> Iterator[tuple[str, np.ndarray, np.ndarray]]:
    """Name, minimum and maximum of each forecast of a station."""
    neighbour = nearest(one, others)
    if neighbour is not None:
        yield "neighbour", neighbour.low_c, neighbour.high_c
    before = np.array([np.nan])
    yield "lagged", np.concatenate([before, one.low_c[:-1]]), np.concatenate([before, one.high_c[:-1]])
    yield "noisy", *noisy(one, usual_range_c, rng)


def scored(one: Station, others: list[Station], rng: np.random.Generator) -> Iterator[tuple[str, float, Nights]]:
    """The even years of one station, for each stand-in and limit."""
    day, year = calendar()
    odd = year % 2 == 1
    mean_low = mean_year_at(fit_mean_year(day[odd], one.low_c[odd]), day)
    mean_range = mean_year_at(fit_mean_year(day[odd], day_range_c(one.low_c, one.high_c)[odd]), day)
    about = np.sqrt(mean_year_at(fit_mean_year(day[odd], (one.low_c - mean_low)[odd] ** 2), day))
    growing = (mean_low >= SEASON_LOW_C) & (mean_low <= SEASON_HIGH_C)
    for name, low, high in stand_ins(one, others, mean_range, rng):
        ratio = day_range_c(low, high) / np.where(mean_range >= LEAST_RANGE_C, mean_range, np.nan)
        told = Cases(low, low - mean_low, night_sky(np.nan, np.nan, np.nan, ratio).share, day)
        for even in range(2010, LAST.year + 1, 2):
            known = np.isfinite(low) & np.isfinite(one.low_c)
            taught, asked = known & (year == even - 1), known & (year == even)
            if taught.sum() < FEWEST_PAIRS or asked.sum() < FEWEST_NIGHTS:
                continue
            age = np.arange(taught.sum(), 0.0, -1.0)
            skill = learn(_of(told, taught), (one.low_c - low)[taught], age, 1.0)
            expected = put_right(skill, _of(told, asked))
            for limit_c in LIMITS_C:
                edge = limit_c + TENTHS_C
                chance = chance_at_or_below(edge, expected.mean_c, expected.spread_c, expected.errors_c)
                usual = normal_chance(edge, mean_low[asked], about[asked])
                kept = [np.clip(c, LEAST_CHANCE, MOST_CHANCE) for c in (chance, usual)]
                yield name, limit_c, Nights(*kept, one.low_c[asked] <= limit_c + 1e-9, growing[asked])


def after_few(asked: list[Station], others: list[Station]) -> Iterator[str]:
    """For each stand-in, number of nights in a row and weight of a pair: how the night after next is then told."""
    rng, (day, year), found = np.random.default_rng(SEED), calendar(), defaultdict(list)
    odd, shipped = year % 2 == 1, forecast_skill.PAIR_WEIGHT
    for one in asked:
        mean_low = mean_year_at(fit_mean_year(day[odd], one.low_c[odd]), day)
        mean_range = mean_year_at(fit_mean_year(day[odd], day_range_c(one.low_c, one.high_c)[odd]), day)
        starts = np.arange(400, DAYS - 2, 23)
        starts = starts[(mean_low[starts] >= SEASON_LOW_C) & (mean_low[starts] <= SEASON_HIGH_C)]
        for name, low, high in stand_ins(one, others, mean_range, rng):
            ratio = day_range_c(low, high) / np.where(mean_range >= LEAST_RANGE_C, mean_range, np.nan)
            told = Cases(low, low - mean_low, night_sky(np.nan, np.nan, np.nan, ratio).share, day)
            for count in FEW:
                before, night = starts[:, None] - np.arange(count, 0, -1), starts[:, None] + 1
                age = np.broadcast_to(np.arange(count, 0.0, -1.0), before.shape)
                for weight in FEW_WEIGHTS if count else (shipped,):
                    forecast_skill.PAIR_WEIGHT = weight
                    skill = learn(_of(told, before), (one.low_c - low)[before], age, np.ones(len(starts)))
                    expected = put_right(skill, _of(told, night))
                    off = one.low_c[night] - expected.mean_c
                    known = np.isfinite(off)
                    found[name, count, weight].append((off[known], expected.spread_c[known]))
    forecast_skill.PAIR_WEIGHT = shipped
    for (name, count, weight), parts in sorted(found.items()):
        off, spread = (np.concatenate(column) for column in zip(*parts, strict=True))
        yield f"{name:9} {count:3} nights, weight {weight:.2f} ({len(off)}): {_how_told(off, spread)}"


def _how_told(off_c: np.ndarray, spread_c: np.ndarray) -> str:
    z = off_c / spread_c
    density = np.exp(-(z**2) / 2.0) / np.sqrt(2.0 * np.pi)
    crps = (spread_c * (z * (2.0 * normal_cdf(z) - 1.0) + 2.0 * density - 1.0 / np.sqrt(np.pi))).mean()
    far = 1.2816  # a tenth of a normal lies beyond on either side
    colder, warmer = 100.0 * (z < -far).mean(), 100.0 * (z > far).mean()
    return (
        f"CRPS {crps:.3f} °C, mean square of error over spread {(z**2).mean():.2f}, "
        f"colder than the lowest tenth {colder:.0f} %, warmer than the highest {warmer:.0f} %"
    )


def _of(told: Cases, where: np.ndarray) -> Cases:
    return Cases(told.value_c[where], told.unusual_c[where], told.clear[where], told.day_of_year[where])


def gathered(asked: list[Station], others: list[Station]) -> dict[tuple[str, float], Nights]:
    """All nights of some stations, by stand-in and limit."""
    rng = np.random.default_rng(SEED)
    found = defaultdict(list)
    for one in asked:
        for name, limit_c, nights in scored(one, others, rng):
            found[name, limit_c].append(nights)
    return {key: joined(parts) for key, parts in found.items()}


def joined(parts: list[Nights]) -> Nights:
    """Many runs of nights as one."""
    names = ("chance", "usual", "came", "growing")
    return Nights(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def of_the_season(nights: Nights) -> Nights:
    """Those of the growing season."""
    kept = nights.growing
    return Nights(nights.chance[kept], nights.usual[kept], nights.came[kept], nights.growing[kept])


def tenths(nights: Nights) -> list[tuple[int, float, float]]:
    """For each tenth of chance: nights, mean chance, and share in which it came."""
    place = np.minimum((nights.chance * 10.0).astype(int), 9)
    held = [place == tenth for tenth in range(10)]
    return [
        (int(m.sum()), float(nights.chance[m].mean()), float(nights.came[m].mean())) if m.any() else (0, 0.0, 0.0)
        for m in held
    ]


def misses(rows: list[tuple[int, float, float]]) -> list[int]:
    """Tenths with 400 nights or more that are off by over 5 points, and others outside their 95 % binomial band."""
    found = []
    for tenth, (count, chance, share) in enumerate(rows):
        band = 0.05 if count >= ENOUGH_TO_JUDGE else 1.96 * np.sqrt(chance * (1.0 - chance) / max(count, 1))
        if count and abs(share - chance) > band:
            found.append(tenth)
    return found


def brier(chance: np.ndarray, came: np.ndarray) -> float:
    """Mean squared difference of chance and what came."""
    return float(((chance - came) ** 2).mean())


def skill_over_climatology(nights: Nights) -> float:
    """1 less the Brier score over that of the mean year."""
    return 1.0 - brier(nights.chance, nights.came) / brier(nights.usual, nights.came)


def report(name: str, limit_c: float, when: str, nights: Nights) -> str:
    rows = tenths(nights)
    told = " ".join(f"{100 * chance:.0f}:{100 * share:.0f}({count})" for count, chance, share in rows)
    score = f"Brier {brier(nights.chance, nights.came):.4f} skill {skill_over_climatology(nights):.3f}"
    return f"{name:9} {limit_c:5.1f} {when:7} {score} misses {misses(rows)}  {told}"


def calls(nights: Nights, at_least: float) -> str:
    """How many damaging nights were called by the evening before, and how many calls were followed by none."""
    called = nights.chance >= at_least
    hit, false = (called & nights.came).sum(), (called & ~nights.came).sum()
    return (
        f"called at {100 * at_least:.0f} %: {100 * hit / nights.came.sum():.0f} % of {nights.came.sum()} damaging "
        f"nights, {100 * false / called.sum():.0f} % of {called.sum()} calls false, "
        f"{100 * false / (~nights.came).sum():.1f} % of harmless nights called"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("stations", type=Path)
    parser.add_argument("--every", type=int, default=1, help="only each Nth station is scored")
    parser.add_argument("--few", action="store_true", help="what a few nights in a row teach")
    arguments = parser.parse_args()
    everyone = stations(arguments.stations)
    if arguments.few:
        for line in after_few(everyone[:: arguments.every], everyone):
            sys.stdout.write(f"{line}\n")
        return
    for (name, limit_c), nights in gathered(everyone[:: arguments.every], everyone).items():
        season = of_the_season(nights)
        told = [report(name, limit_c, "year", nights), report(name, limit_c, "growing", season)]
        if limit_c == -1.0:
            told += [f"    {calls(season, at_least)}" for at_least in CALLS]
        sys.stdout.write("\n".join([*told, ""]))


if __name__ == "__main__":
    main()
