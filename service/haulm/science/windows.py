"""The planting windows of a place's year, from what became of crops planted on each day of each of its years.

Planting days are the first 365 of a year, counted from 0, and run in a ring: a window may cross New Year. Arrays are
(years, planting days), and nothing here depends on the order of the years.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from haulm.science.crop_fates import Fate, FloatArray, IntArray, Mask

RING_DAYS = 365
SMOOTHED_DAYS = 7  # judgement: nobody plants by a calendar to the day
LEAST_GAP_DAYS = 14  # judgement: less than a fortnight of chancy days between two windows does not part them
SHORTEST_DAYS = 3  # judgement: of shares that are already those of a week
CLASSES = ("early", "mid", "late")


@dataclass(frozen=True, slots=True, eq=False)
class YearFates:
    """What became of crops: (years, planting days), those of warmth (classes, years, planting days).

    Attributes
    ----------
    years
        The calendar year of each row.
    young, ripe
        Fates (`Fate`): of a crop that has enough warmth to be worth lifting, and of one that has all its class needs.
    soil, shoots, nights, warmth
        Each need by itself, whether or not another failed; `warmth` enough for the first class to be lifted young.
    early_days, late_days
        Days from planting to the shoots of chitted seed, early and late.
    young_days, lift_days
        Days from planting until a crop may be lifted young, its skins thin; and until it is ripe or ended, and its
        skins set; both (classes, years, planting days).
    """

    years: IntArray
    young: NDArray[np.int8]
    ripe: NDArray[np.int8]
    soil: Mask
    shoots: Mask
    nights: Mask
    warmth: Mask
    early_days: IntArray
    late_days: IntArray
    young_days: IntArray
    lift_days: IntArray

    @property
    def known(self) -> Mask:
        """Whether the year tells of a crop planted on that day."""
        return np.asarray(self.young[0] != Fate.NOT_KNOWN)


@dataclass(frozen=True, slots=True, eq=False)
class Shares:
    """Shares of the known years, 0 to 1, over the planting days; NaN where no year tells.

    All are taken over a week about the day. `young` and `ripe` are those of all needs together, (classes, planting
    days), `warmth` that of enough warmth for the first class before frost or heat, the others of one need by itself.
    `years` is how many years tell of the day itself.
    """

    young: FloatArray
    ripe: FloatArray
    soil: FloatArray
    shoots: FloatArray
    nights: FloatArray
    warmth: FloatArray
    years: IntArray


@dataclass(frozen=True, slots=True)
class Limits:
    """What share of years makes a window, and a chancy one; and what counts as a window at all."""

    good_share: float
    chancy_share: float


@dataclass(frozen=True, slots=True)
class Window:
    """One stretch of planting days: positions in the ring; `last` is before `first` where it crosses New Year.

    Attributes
    ----------
    good
        Whether it holds days of a good share, not only chancy ones.
    whole_year
        Whether every day of the year belongs to it.
    about
        First and last of the stretch about it in which the share is at least chancy; itself where it is chancy.
    share
        Of years in which a crop planted in the week about the best day came to something.
    maturity
        The latest class that ripens in a good share of years; the first class where none does.
    ripens
        Whether that class ripens, or is lifted young.
    ripe_shares
        Share of years in which each class ripens, from the best day.
    years
        How many years tell of the best day.
    failed
        The years that failed from the best day, and why.
    left_out
        The years that do not tell of it.
    shoots_days, young_day, lift_days
        Days from the best day to the shoots (early and late, the middle year), to lifting young (the middle of
        the grown years), and to lifting ripe, or what frost or heat ended (four grown years in five).
    """

    first: int
    best: int
    last: int
    good: bool
    whole_year: bool
    about: tuple[int, int]
    share: float
    maturity: str
    ripens: bool
    ripe_shares: tuple[float, ...]
    years: int
    failed: tuple[tuple[int, Fate], ...]
    left_out: tuple[int, ...]
    shoots_days: tuple[int, int]
    young_day: int
    lift_days: tuple[int, int]

    @property
    def fitting(self) -> str:
        """The latest class that ripens in a good share of years; empty where none does."""
        return self.maturity if self.ripens else ""

    @property
    def length(self) -> int:
        """How many days it is long."""
        return RING_DAYS if self.whole_year else (self.last - self.first) % RING_DAYS + 1

    def holds(self, day: int) -> bool:
        """Whether a planting day belongs to it."""
        return self.whole_year or (day - self.first) % RING_DAYS < self.length


def shares(found: YearFates) -> Shares:
    """The shares of years, planting day by planting day."""
    known = found.known
    years = known.sum(axis=0)
    needs = (found.soil, found.shoots, found.nights, found.warmth)
    soil, shoots, nights, warmth = (_smoothed((need & known).sum(axis=0), years) for need in needs)
    return Shares(
        young=_smoothed((found.young == Fate.GROWN).sum(axis=1), years),
        ripe=_smoothed((found.ripe == Fate.GROWN).sum(axis=1), years),
        soil=soil,
        shoots=shoots,
        nights=nights,
        warmth=warmth,
        years=years,
    )


def windows(found: YearFates, limits: Limits) -> tuple[Window, ...]:
    """The windows of the year, in the order in which they open; good ones, and chancy ones that hold no good day.

    Notes
    -----
    A day is good where a crop of the first class is worth lifting in at least `good_share` of the years. Gaps of chancy
    days shorter than a fortnight, and windows of a day or two, do not count.
    """
    each = shares(found)
    share = np.nan_to_num(each.young[0])
    likely = share >= limits.chancy_share
    good, wide = _runs(share >= limits.good_share, likely), _runs(likely, np.ones_like(likely))
    chancy = [run for run in wide if not any(first in _days_of(*run) for first, _ in good)]
    about = {run: next(one for one in wide if run[0] in _days_of(*one)) for run in good + chancy}
    return tuple(_window(found, each, run, about[run], limits, good=run in good) for run in sorted(good + chancy))


def closest(found: YearFates, limits: Limits) -> Window | None:
    """The best day of a year without windows, as a window of one day; None where no year tells of any day."""
    each = shares(found)
    if not each.years.any():
        return None
    needs = np.nan_to_num(np.stack([each.soil, each.shoots, each.nights, each.warmth]))
    worth = np.nan_to_num(each.young[0]) + 1e-3 * needs.mean(axis=0)
    best = int(worth.argmax())
    return _window(found, each, (best, best), (best, best), limits, good=False)


def meeting(listed: Sequence[Window], first: int, last: int) -> Window | None:
    """The window that shares most days with a stretch of the ring, else most of its chancy days; None without any."""
    asked = _days_of(first, last)

    def shared(window: Window) -> tuple[int, int]:
        own, about = (_days_of(*run) for run in ((window.first, window.last), window.about))
        return int(np.isin(asked, own).sum()), int(np.isin(asked, about).sum())

    found = max(listed, key=shared, default=None)
    return found if found is not None and any(shared(found)) else None


def _smoothed(count: IntArray, years: IntArray) -> FloatArray:
    """Share of the known years over a week about each day, round the ring; NaN where no year tells."""
    around = range(-(SMOOTHED_DAYS // 2), SMOOTHED_DAYS // 2 + 1)
    counts = np.sum([np.roll(count, shift, axis=-1) for shift in around], axis=0)
    known = np.sum([np.roll(years, shift) for shift in around], axis=0)
    return np.where(known > 0, counts / np.maximum(known, 1), np.nan)


def _runs(good: Mask, likely: Mask) -> list[tuple[int, int]]:
    """First and last of each stretch round the ring.

    Short gaps of days that are likely enough are closed, then stretches of a day or two dropped. A whole year is
    (0, 364).
    """
    kept = _in_stretches(~_in_stretches(~good, LEAST_GAP_DAYS) & likely, SHORTEST_DAYS)
    if kept.all():
        return [(0, RING_DAYS - 1)]
    starts = np.flatnonzero(kept & ~np.roll(kept, 1))
    ends = np.flatnonzero(kept & ~np.roll(kept, -1))
    if starts.size and ends[0] < starts[0]:
        ends = np.roll(ends, -1)
    return [(int(first), int(last)) for first, last in zip(starts, ends, strict=True)]


def _in_stretches(mask: Mask, length: int) -> Mask:
    """The days that belong to so many or more true days running, round the ring."""
    begins = np.logical_and.reduce([np.roll(mask, -ahead) for ahead in range(length)])
    return np.asarray(np.logical_or.reduce([np.roll(begins, ahead) for ahead in range(length)]))


def _days_of(first: int, last: int) -> IntArray:
    """The positions of a stretch, in order."""
    return np.asarray((first + np.arange((last - first) % RING_DAYS + 1)) % RING_DAYS)


def _window(
    found: YearFates, each: Shares, run: tuple[int, int], about: tuple[int, int], limits: Limits,
    *, good: bool,
) -> Window:  # fmt: skip
    first, last = run
    days = _days_of(first, last)
    best = _best(each, days)
    fate, known = found.young[0, :, best], found.known[:, best]
    ripe_shares = each.ripe[:, best]
    ripening = np.flatnonzero(ripe_shares >= limits.good_share)
    kind = int(ripening[-1]) if ripening.size else 0
    grown = fate == Fate.GROWN
    return Window(
        first=first,
        best=best,
        last=last,
        good=good,
        whole_year=len(days) == RING_DAYS,
        about=about,
        share=float(each.young[0, best]),
        maturity=CLASSES[kind],
        ripens=bool(ripening.size),
        ripe_shares=tuple(float(share) for share in ripe_shares),
        years=int(known.sum()),
        failed=tuple((int(year), Fate(why)) for year, why in sorted(zip(found.years, fate, strict=True)) if why > 0),
        left_out=tuple(sorted(int(year) for year in found.years[~known])),
        shoots_days=(_middle(found.early_days[known, best]), _middle(found.late_days[known, best])),
        young_day=_middle(found.young_days[0, grown, best]),
        lift_days=_range(found.lift_days[kind, grown, best]),
    )


def _best(each: Shares, days: IntArray) -> int:
    """The day with the best chance of a crop and, beside it, of ripe ones; the middle one of equals (judgement)."""
    worth = np.nan_to_num(each.young[0, days]) + np.nan_to_num(each.ripe[:, days]).mean(axis=0)
    equals = np.flatnonzero(worth >= worth.max() - 1e-9)
    return int(days[equals[len(equals) // 2]])


def _middle(days: IntArray) -> int:
    """The middle year's; 0 where there is none."""
    return round(float(np.median(days))) if days.size else 0


def _range(days: IntArray) -> tuple[int, int]:
    """Four years in five; (0, 0) where there is none."""
    if not days.size:
        return 0, 0
    low, high = np.quantile(days, [0.1, 0.9])
    return round(float(low)), round(float(high))
