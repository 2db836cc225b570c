"""The place's sky as this morning knows it: the outlook, the coming nights at leaf height, the age of the record."""

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from haulm.beds.blight import blight_weather_of
from haulm.beds.graded import GradedMinima, graded_minima
from haulm.beds.memo import Memo
from haulm.beds.nights import GardenNights, coming_nights, garden_nights, past_nights
from haulm.condition import Night, SkyNow
from haulm.garden import Journal, Place
from haulm.science.forecast_skill import Outlook
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, Forecast, Mark, Timeline

LOOKED_BACK_DAYS = 7
NOTHING_NOTED = Journal()
RECENT_DAYS = 10


def sky_now(
    timeline: Timeline,
    place: Place,
    thresholds: Thresholds,
    as_of: datetime,
    journal: Journal = NOTHING_NOTED,
    forecasts: Sequence[Forecast] = (),
    memo: Memo | None = None,
) -> SkyNow:
    """The sky of a morning.

    Parameters
    ----------
    journal
        What stands in it then (`Journal.known`).
    forecasts
        All issues that are held, for what they have been worth; later ones are left out here.
    memo
        Lent by whoever runs many mornings in a row.
    """
    newest = timeline.newest_observed
    garden = garden_nights(timeline, journal, place, thresholds, memo)
    graded = graded_minima(forecasts, timeline, place, as_of, garden.usual_range_c)
    return SkyNow(
        outlook=timeline.outlook,
        nights=_nights(timeline, place, garden, graded),
        newest_observed=newest,
        newest_age=None if newest is None else as_of - _end_of(newest, place),
        usual_delay=timeline.usual_delay,
        recent_min_c=_recent_minimum_c(timeline),
        origin=timeline.origin,
        has_forecast=timeline.forecast_issued is not None,
        gaps=timeline.gaps,
        nights_read=garden.read,
        recent=timeline.days.cut(timeline.today - RECENT_DAYS * DAY, timeline.today - DAY),
        blight=blight_weather_of(timeline, place, thresholds.blight),
        graded=graded.told,
        nights_past=past_nights(timeline, garden, journal, place),
    )


def _end_of(day: date, place: Place) -> datetime:
    return datetime.combine(day + DAY, time(), ZoneInfo(place.zone))


def _nights(timeline: Timeline, place: Place, garden: GardenNights, graded: GradedMinima) -> tuple[Night, ...]:
    """Each coming night. A local day's minimum is taken for the night that ends on it; last night is past."""
    outlook, issued = timeline.outlook, timeline.forecast_issued
    if issued is None or len(outlook) < 2:
        return ()
    every = graded.expect(outlook, place.day_of(issued))
    return coming_nights(outlook, Outlook(every.mean_c[1:], every.spread_c[1:], every.errors_c[1:]), garden)


def _recent_minimum_c(timeline: Timeline) -> float:
    first = timeline.today - timedelta(days=LOOKED_BACK_DAYS)
    recent = timeline.days.cut(first, timeline.today - DAY).air_min_c
    marks = timeline.air_mark[max(timeline.today_index - LOOKED_BACK_DAYS, 0) : timeline.today_index]
    seen = recent[len(recent) - len(marks) :][marks == Mark.OBSERVED]
    return float(seen.min()) if seen.size else float("nan")
