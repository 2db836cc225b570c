"""The place's sky as this morning knows it: the outlook, the coming nights at leaf height, the age of the record."""

from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from haulm.condition import Night, SkyNow
from haulm.garden import Place
from haulm.science.frost import clear_and_calm, leaf_minimum_c, spread_by_lead_c
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, Mark, Timeline

LOOKED_BACK_DAYS = 7


def sky_now(timeline: Timeline, place: Place, thresholds: Thresholds, as_of: datetime) -> SkyNow:
    """The sky of a morning."""
    newest = timeline.newest_observed
    return SkyNow(
        outlook=timeline.outlook,
        nights=_nights(timeline, place, thresholds),
        newest_observed=newest,
        newest_age=None if newest is None else as_of - _end_of(newest, place),
        usual_delay=timeline.usual_delay,
        recent_min_c=_recent_minimum_c(timeline),
        origin=timeline.origin,
        has_forecast=timeline.forecast_issued is not None,
        gaps=timeline.gaps,
    )


def _end_of(day: date, place: Place) -> datetime:
    return datetime.combine(day + DAY, time(), ZoneInfo(place.zone))


def _nights(timeline: Timeline, place: Place, thresholds: Thresholds) -> tuple[Night, ...]:
    """Each coming night. A local day's minimum is taken for the night that ends on it; last night is past."""
    days = timeline.outlook.cut(timeline.today + DAY, timeline.outlook.last)
    if not len(days):
        return ()
    leads = np.arange(1.0, len(days) + 1.0)
    calm = clear_and_calm(days.cloud, days.wind_ms)
    leaf = leaf_minimum_c(days.air_min_c, calm, place.clear_night_offset_c, thresholds.frost.straw_term_c)
    spread = spread_by_lead_c(leads)
    return tuple(
        Night(
            morning=days.first + i * DAY,
            air_c=float(days.air_min_c[i]),
            leaf_c=float(leaf[i]),
            spread_c=float(spread[i]),
            still_and_clear=None if np.isnan(calm[i]) else bool(calm[i] > 0.5),
        )
        for i in range(len(days))
    )


def _recent_minimum_c(timeline: Timeline) -> float:
    first = timeline.today - timedelta(days=LOOKED_BACK_DAYS)
    recent = timeline.days.cut(first, timeline.today - DAY).air_min_c
    marks = timeline.air_mark[max(timeline.today_index - LOOKED_BACK_DAYS, 0) : timeline.today_index]
    seen = recent[len(recent) - len(marks) :][marks == Mark.OBSERVED]
    return float(seen.min()) if seen.size else float("nan")
