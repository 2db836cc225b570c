"""The crop's own progress: shoots due, height, physiological days, skins."""

from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np

from haulm.beds.noted import Noted
from haulm.condition import CropNow, DayRange
from haulm.garden import Maturity, Planting
from haulm.science.development import P_DAYS_NEEDED, emergence_shares, first_day_reached, p_days
from haulm.settings.thresholds import SkinsThresholds
from haulm.weather import DAY, Daily

# From memory and judgement: shoots in good growth lengthen about 2 cm a day, on 6 to 7 physiological days a day;
# they stop at the 0.6 m of a grown crop (FAO-56 Table 12).
SHOOT_M_PER_P_DAY = 0.003
GROWN_HEIGHT_M = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Around:
    """What was around the crop day by day: air and soil without holes, and the straw that lay."""

    air_min_c: Daily
    air_max_c: Daily
    soil_c: Daily
    straw_m: Daily


def shoots_range(days: Noted, soil_c: Daily, today: date) -> DayRange | None:
    """When the shoots come: as noted, else from the warmth of the soil since planting (or from planting today).

    Parameters
    ----------
    soil_c
        Soil where the seed lies, from before planting to the season's end; later days are what is expected.
    """
    if days.shoots is not None:
        return DayRange(days.shoots, days.shoots, days.shoots, 1.0, 0)
    planted = days.planted or today
    soil = soil_c.between(planted + DAY, soil_c.last)
    if not soil.size:
        return None
    shares = emergence_shares(soil[None, :])
    early, late = (_day(planted, int(first_day_reached(share)[0])) for share in (shares.early, shares.late))
    likely = early + (late - early) / 2 if early and late else None
    return DayRange(early, likely, late, 1.0, 0)


def _day(planted: date, position: int) -> date | None:
    return None if position < 0 else planted + timedelta(days=position + 1)


def crop_now(
    planting: Planting, days: Noted, shoots: DayRange | None, around: Around, skins: SkinsThresholds, today: date
) -> CropNow:
    """How far the crop is on the morning of `today`."""
    out = shoots.likely if shoots else None
    since = shoots.late if shoots else None
    in_leaf = days.planted is not None and out is not None and out < today
    warmth, height_m = 0.0, float("nan")
    if in_leaf and out is not None:
        low, high = (air.between(out, today - DAY) for air in (around.air_min_c, around.air_max_c))
        warmth = float(np.nansum(p_days(low, high)))
        height_m = _above_straw_m(warmth, around.straw_m, out, today)
    return CropNow(
        shoots=shoots,
        days_from_shoots=(today - since).days if in_leaf and since is not None and since <= today else None,
        shoot_height_m=height_m,
        p_days=warmth,
        p_days_needed=P_DAYS_NEEDED[Maturity(planting.maturity).value],
        dying_cause=days.dying_cause,
        dying_since=days.dying,
        tops_gone=days.tops_gone,
        skins_ready=_skins_range(days, around.soil_c, skins, today),
    )


def _above_straw_m(warmth: float, straw_m: Daily, out: date, today: date) -> float:
    """Grown since the shoots stood out of the straw of that day; straw laid since then hides as much of them."""
    laid_since_m = straw_m.at(today - DAY) - straw_m.at(out)
    grown_m = min(warmth * SHOOT_M_PER_P_DAY, GROWN_HEIGHT_M)
    return max(grown_m - (0.0 if np.isnan(laid_since_m) else laid_since_m), 0.0)


def _skins_range(days: Noted, soil_c: Daily, skins: SkinsThresholds, today: date) -> DayRange | None:
    """Two weeks from tops wholly dead or cut; one in warm soil, three in cold soil or where the tops were green."""
    gone = days.tops_gone
    if gone is None:
        return None
    soil = soil_c.between(gone, max(today - DAY, gone))
    mean_c = float(np.nanmean(soil)) if np.isfinite(soil).any() else float("nan")
    cut_green = days.tops_cut == gone and days.dying is None
    if cut_green or mean_c <= skins.cold_soil_c:
        wait = skins.cold_days
    elif mean_c >= skins.warm_soil_c:
        wait = skins.warm_days
    else:
        wait = skins.days
    return DayRange(gone + skins.warm_days * DAY, gone + wait * DAY, gone + skins.cold_days * DAY, 1.0, 0)
