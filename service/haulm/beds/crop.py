"""The crop's own progress: shoots due, height, tubers set, physiological days, ripeness, skins."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from haulm.beds.noted import Noted
from haulm.condition import CropNow, DayRange, DaySpan, EarlierCrops
from haulm.garden import Cause, Maturity, Planting
from haulm.science import development as dev
from haulm.science.water_balance import POTATO_STAGES
from haulm.settings.thresholds import ShootsThresholds, SkinsThresholds, Thresholds
from haulm.weather import DAY, Daily, FloatArray

USUAL = EarlierCrops()
LEAST_SHARE = 0.05  # the likely day stays behind the early bound
SHOOT_M_A_DAY = 0.025  # judgement: in the best warmth, about 2 cm a day in good growth (from memory)
GROWN_HEIGHT_M = 0.6  # FAO-56 Table 12
LATE_FROM = sum(POTATO_STAGES["continental"][1:3]) / sum(POTATO_STAGES["continental"][1:])  # share of the way to ripe
# Judgement: a class's need is met between nine and eleven tenths of it in four crops of five.
RIPE_EARLY, RIPE_LATE = 0.9, 1.1
LONGEST_FORMING_DAYS = 42  # judgement: a crop that finds no cool nights at all sets what it sets within so long
ROUNDING = 1e-9  # fourteen fourteenths do not add up to one in binary
GREEN_STILL = timedelta(days=7)  # judgement: tops cut so soon after they began to go down are green


@dataclass(frozen=True, slots=True, eq=False)
class Around:
    """What was around the crop day by day: the air and soil without holes, and the straw that lay."""

    air: "Air"
    soil_c: Daily
    straw_m: Daily


@dataclass(frozen=True, slots=True, eq=False)
class Summed:
    """What a daily quantity, never below zero, has come to at the end of each day; days not known add nothing."""

    first: date
    total: FloatArray

    def since(self, day: date) -> FloatArray:
        """What has come together from a day on, at the end of that day and of each after it."""
        return self.total[self._at(day) :] - self._before(day)

    def between(self, first: date, last: date) -> float:
        """What comes together from one day to another, both included."""
        return max(self._before(last + DAY) - self._before(first), 0.0)

    def reached(self, day: date, amount: float) -> date | None:
        """The day on which so much has come together since another; None within the days held."""
        position = int(np.searchsorted(self.total, self._before(day) + amount))
        return None if position >= len(self.total) else self.first + position * DAY

    def _at(self, day: date) -> int:
        return max((day - self.first).days, 0)

    def _before(self, day: date) -> float:
        at = min(self._at(day), len(self.total))
        return float(self.total[at - 1]) if at else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Air:
    """The place's air day by day, without holes, and what comes of its warmth: physiological days, lengthening."""

    low_c: Daily
    p_days: Summed
    elongation: Summed


def air_of(low_c: Daily, high_c: Daily) -> Air:
    """The air of a run of days, both from the same day to the same day."""
    longer = dev.elongation_share((low_c.values + high_c.values) / 2.0)
    p_days = dev.p_days(low_c.values, high_c.values)
    return Air(low_c, *(Summed(low_c.first, np.nancumsum(daily)) for daily in (p_days, longer)))


def shoots_range(days: Noted, soil_c: Daily, today: date, earlier: EarlierCrops = USUAL) -> DayRange | None:
    """When the shoots come: as noted, else from the warmth of the soil since planting (or from planting today).

    Parameters
    ----------
    soil_c
        Soil where the seed lies, from before planting to the season's end; later days are what is expected.
    earlier
        Earlier crops move the likely day between the bounds, never the early one: danger reckons with that.
    """
    if days.shoots is not None:
        return DayRange(days.shoots, days.shoots, days.shoots, 1.0, 0)
    planted = days.planted or today
    if soil_c.last <= planted:
        return None
    shares = dev.emergence_shares(soil_c.between(planted + DAY, soil_c.last))
    likely_way, late_way = between_the_bounds(days.chitting, planted)
    likely_way = min(max(likely_way + earlier.shoots_later_share, LEAST_SHARE), late_way)
    start = _reached(shares.early)
    if start == len(shares.early):
        return DayRange(None, None, None, 1.0, 0)
    left = dev.EmergenceShares(shares.early[start:], shares.late[start:])  # no way between the bounds is earlier
    early = planted + (start + 1) * DAY
    likely, late = (_day(early, dev.share_between(left, way)) for way in (likely_way, late_way))
    return DayRange(early, likely, late, 1.0, 0)


def between_the_bounds(chitting: date | None, planted: date) -> tuple[float, float]:
    """Where between the bounds the shoots are likely, and late: nearer the early one for seed that was chitted."""
    if chitting is not None and (planted - chitting).days >= dev.CHITTED_AFTER_DAYS:
        return dev.CHITTED_LIKELY, dev.CHITTED_LATE
    return dev.UNCHITTED_LIKELY, dev.UNCHITTED_LATE


def _day(first: date, share: FloatArray) -> date | None:
    position = _reached(share)
    return None if position == len(share) else first + position * DAY


def _reached(growing: FloatArray) -> int:
    """`development.first_day_reached` of one seed whose share never falls and is known; the number of days for none."""
    return int(np.searchsorted(growing, dev.REACHED))


def crop_now(
    planting: Planting, days: Noted, shoots: DayRange | None, around: Around, thresholds: Thresholds, today: date,
    earlier: EarlierCrops = USUAL,
) -> CropNow:  # fmt: skip
    """How far the crop is on the morning of `today`."""
    out = shoots.likely if shoots else None
    since = shoots.late if shoots else None
    in_leaf = days.planted is not None and out is not None and out < today
    need = dev.P_DAYS_NEEDED[Maturity(planting.maturity).value] * earlier.ripe_warmth_share
    warmth, height_m = 0.0, float("nan")
    if in_leaf and out is not None:
        warmth = around.air.p_days.between(out, today - DAY)
        height_m = _above_straw_m(around, out, today)
    return CropNow(
        shoots=shoots,
        days_from_shoots=(today - since).days if in_leaf and since is not None and since <= today else None,
        shoot_height_m=height_m,
        p_days=warmth,
        p_days_needed=need,
        dying_cause=days.dying_cause,
        dying_since=days.dying,
        tops_gone=days.tops_gone,
        skins_ready=_skins_range(days, around.soil_c, thresholds.skins),
        forming=_forming(days, shoots, around.air.low_c, thresholds.shoots),
        ripe=_ripe_range(days, shoots, around, need),
        earlier=earlier,
    )


def growth_of(days: Noted, shoots: DayRange | None, around: Around, need: float) -> Daily | None:
    """Share of the way from the shoots (0) to ripeness (1) at the end of each day from the shoots on.

    None before planting. By physiological days, not by the calendar. Tops noted as going down are past the middle of
    the season whatever the warmth has been, unless frost or thirst took them, from which they come again.
    """
    out = shoots.likely if shoots else None
    if days.planted is None or out is None:
        return None
    warmth = around.air.p_days
    begins = max(out, warmth.first)
    had = warmth.since(begins) / need
    if days.dying is not None and days.dying_cause not in {Cause.FROST, Cause.THIRST} and days.dying > begins:
        since = min((days.dying - begins).days, len(had))
        had[since:] += max(LATE_FROM - had[since - 1], 0.0)
    return Daily(begins, had)


def crop_kept(planting: Planting, days: Noted) -> CropNow:
    """A crop out of the ground: only what was noted of it stays."""
    nan = float("nan")
    needed = dev.P_DAYS_NEEDED[Maturity(planting.maturity).value]
    return CropNow(None, None, nan, nan, needed, days.dying_cause, days.dying, days.tops_gone, None)


def _above_straw_m(around: Around, out: date, today: date) -> float:
    """Grown since the shoots stood out of the straw of that day; straw laid since then hides as much of them."""
    straw_m = around.straw_m
    laid_since_m = straw_m.at(today - DAY) - straw_m.at(out)
    grown_m = min(SHOOT_M_A_DAY * around.air.elongation.between(out, today - DAY), GROWN_HEIGHT_M)
    return max(grown_m - (0.0 if np.isnan(laid_since_m) else laid_since_m), 0.0)


def _forming(days: Noted, shoots: DayRange | None, air_min_c: Daily, limits: ShootsThresholds) -> DaySpan | None:
    """The weeks in which tubers are set; they end with tops that go down or are gone."""
    if days.planted is None or shoots is None or shoots.early is None:
        return None
    after = limits.forming_after_days * DAY
    late = (shoots.late or shoots.likely or shoots.early) + after
    nights = air_min_c.between(late, late + (LONGEST_FORMING_DAYS - 1) * DAY)
    cool_by = dev.nights_until(nights, limits.forming_night_c, limits.forming_nights)
    last = late + (cool_by if cool_by >= 0 else LONGEST_FORMING_DAYS - 1) * DAY
    ends = [day - DAY for day in (_of_age(days), days.tops_gone, days.lifted) if day is not None]
    first = shoots.early + after
    last = min([last, *ends])
    return DaySpan(first, last) if first <= last else None


def _ripe_range(days: Noted, shoots: DayRange | None, around: Around, need: float) -> DayRange | None:
    """When the tops go down of age: as noted, else by the physiological days from each end of the shoots' range."""
    if days.planted is None or shoots is None:
        return None
    noted = _of_age(days) or days.tops_gone
    if noted is not None:
        return DayRange(noted, noted, noted, 1.0, 0)
    ends = ((shoots.early, RIPE_EARLY), (shoots.likely, 1.0), (shoots.late, RIPE_LATE))
    reached = around.air.p_days.reached
    early, likely, late = (reached(out, share * need * dev.REACHED) if out else None for out, share in ends)
    return DayRange(early, likely, late, 1.0, 0)


def _of_age(days: Noted) -> date | None:
    """When tops were noted as going down, unless of frost, thirst or blight."""
    return days.dying if days.dying_cause in {Cause.AGE, Cause.UNKNOWN} else None


def _skin_days(soil_c: FloatArray, skins: SkinsThresholds) -> int:
    """Days until skins have set, each day counting by its own warmth: between the stated days in a straight line."""
    known = np.isfinite(soil_c)
    if not known.any():
        return skins.days
    warmth_c = np.where(known, soil_c, soil_c[known].mean())
    steps_c = (skins.cold_soil_c, (skins.cold_soil_c + skins.warm_soil_c) / 2.0, skins.warm_soil_c)
    needed = np.interp(warmth_c, steps_c, (skins.cold_days, skins.days, skins.warm_days))
    return int(np.argmax(np.cumsum(1.0 / needed) >= 1.0 - ROUNDING)) + 1


def _skins_range(days: Noted, soil_c: Daily, skins: SkinsThresholds) -> DayRange | None:
    """Two weeks from tops wholly dead or cut; one in warm soil, three in cold soil or where the tops were green."""
    gone = days.tops_gone
    if gone is None:
        return None
    green_still = days.dying is None or gone < days.dying + GREEN_STILL
    cut_green = gone == days.cut_again or (days.tops_cut == gone and green_still)
    wait = skins.cold_days if cut_green else _skin_days(soil_c.between(gone + DAY, gone + skins.cold_days * DAY), skins)
    return DayRange(gone + skins.warm_days * DAY, gone + wait * DAY, gone + skins.cold_days * DAY, 1.0, 0)
