"""The coming night as the evening knows it: the forecast's hours, and the evening's own air by the place's past nights.

The handbook's method takes the air two hours after sunset. It is fitted here on the place's own nights at whatever time
from sunset the newest hour was observed tonight; earlier in the evening its error is larger, and it weighs less.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

import numpy as np

from haulm.beds.dusk import sunrise_after, sunset_of
from haulm.beds.graded import GradedMinima, graded_minima
from haulm.beds.nights import coming_nights, garden_nights, plainly
from haulm.condition import Night
from haulm.garden import Journal, Place
from haulm.science.evening_minimum import EveningFit, blended, evening_minimum_c, fit_evening, hour_reached
from haulm.science.forecast_skill import Outlook
from haulm.science.frost import spread_by_lead_c
from haulm.science.leaf_night import clear_and_calm
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, HOUR, Days, FloatArray, Forecast, Hours, Timeline

FREEZING_C = 0.0
LEAST_NIGHTS = 30  # judgement: a month of clear, calm nights of the place's own, before its fit is trusted
NIGHTS_LOOKED_BACK = 400
FRESH = timedelta(hours=3)  # judgement: an older hour tells more of the afternoon than of the evening
KNOWN_SHARE = 0.9  # of a night's hours, as for a day's
RADIATION_NIGHT = 0.5  # judgement: from this weight on a night counts as clear and calm
NIGHT_ENDS = time(10)  # the minimum of a night comes before this, also where the sun is late


class Unused(StrEnum):
    """Why the evening's own air was not asked, where it was not."""

    NO_HOURS = "no hours"
    OLD_HOURS = "old hours"
    FEW_NIGHTS = "few nights"
    NOT_CLEAR = "not clear"
    SKY_UNKNOWN = "sky unknown"
    NO_SUNSET = "no sunset"


@dataclass(frozen=True, slots=True)
class Tonight:
    """The coming night, and how its minimum at the station was put together (°C; NaN: not told).

    Attributes
    ----------
    night
        At leaf height, as the alerts take it.
    forecast_c
        The lowest of the forecast's hours of this night, or its day's minimum.
    evening_c, evening_spread_c, nights
        From the air of this evening, with its error, fitted on so many clear, calm nights of the place.
    newest_c, newest_at
        The newest observed hour that is fresh; None where there is none.
    unused
        Why the evening's air was not asked; None where it was.
    leaf_zero_at
        When leaves are likely to fall to 0 °C, on a clear, calm night; None where that is not told.
    """

    night: Night
    forecast_c: float
    evening_c: float
    evening_spread_c: float
    nights: int
    newest_c: float
    newest_at: datetime | None
    unused: Unused | None
    leaf_zero_at: datetime | None


def tonight_of(
    timeline: Timeline,
    place: Place,
    thresholds: Thresholds,
    as_of: datetime,
    journal: Journal,
    forecasts: Sequence[Forecast] = (),
) -> Tonight:
    """What is known of the coming night at an evening's instant.

    Parameters
    ----------
    journal
        What stands in it then (`Journal.known`).
    forecasts
        All issues that are held, for what they have been worth; later ones are left out here.
    """
    zone, today = ZoneInfo(place.zone), timeline.today
    ends = datetime.combine(today + DAY, NIGHT_ENDS, zone).astimezone(UTC)
    ahead = _span(timeline.hours_ahead, as_of, ends)
    forecast_c = _lowest(ahead, timeline)
    newest_c, newest_at = _newest(timeline.hours_seen, as_of)
    days = _falling_to(_with_the_nights_sky(timeline, ahead), forecast_c)
    weight = float(clear_and_calm(days.cloud, days.wind_ms)[1])
    fit, unused = _fit(timeline, place, newest_at, weight)
    evening_c = _by_the_evening(fit, timeline, newest_at) if unused is None else float("nan")
    garden = garden_nights(timeline, journal, place, thresholds)
    graded = graded_minima(forecasts, timeline, place, as_of, garden.usual_range_c)
    air = _together(_expected(days, timeline, place, graded), evening_c, fit, newest_c)
    (night,) = coming_nights(_falling_to(days, float(air.mean_c[0, 0])), air, garden)
    zero_at = _zero_at(timeline, place, night) if weight >= RADIATION_NIGHT else None
    return Tonight(night, forecast_c, evening_c, fit.spread_c, fit.nights, newest_c, newest_at, unused, zero_at)


def _falling_to(days: Days, air_c: float) -> Days:
    return replace(days, air_min_c=np.append(days.air_min_c[:1], air_c))


def _expected(days: Days, timeline: Timeline, place: Place, graded: GradedMinima) -> Outlook:
    """What the forecast of this night is worth, by what its forerunners were."""
    if timeline.forecast_issued is None:
        return plainly(days.air_min_c[1:], spread_by_lead_c([1.0]))
    every = graded.expect(days, place.day_of(timeline.forecast_issued))
    return Outlook(every.mean_c[1:], every.spread_c[1:], every.errors_c[1:])


def _together(told: Outlook, evening_c: float, fit: EveningFit, newest_c: float) -> Outlook:
    """Forecast and evening's air as one; it cannot stay warmer than it is already."""
    air, spread = blended(told.mean_c, told.spread_c, evening_c, fit.spread_c)
    # Where nothing tells of the night, frost observed does, and a mild hour does not.
    lowest = np.where(np.isfinite(air) | (newest_c <= FREEZING_C), np.fmin(air, newest_c), np.nan)
    spread = np.where(np.isfinite(spread), spread, spread_by_lead_c(1.0))
    errors = told.errors_c if np.isnan(evening_c) else np.zeros_like(told.errors_c)
    return Outlook(lowest, spread, errors)


def _span(hours: Hours | None, first: datetime, end: datetime) -> Hours | None:
    """The hours from an instant on, if nearly all of them up to the end are known."""
    if hours is None:
        return None
    inside = hours.since(first - HOUR).before(end)
    wanted = (end - first) / HOUR
    known = sum(int(span) for span in inside.span_hours[np.isfinite(inside.air_c)])
    return inside if known >= KNOWN_SHARE * wanted else None


def _lowest(ahead: Hours | None, timeline: Timeline) -> float:
    tomorrow = timeline.days.of("air_min_c").at(timeline.today + DAY)
    return tomorrow if ahead is None else float(np.nanmin(ahead.air_c))


def _newest(seen: Hours | None, as_of: datetime) -> tuple[float, datetime | None]:
    if seen is None:
        return float("nan"), None
    known = np.flatnonzero(np.isfinite(seen.air_c))
    if not known.size or as_of - seen.instant(int(known[-1])) > FRESH:
        return float("nan"), None
    return float(seen.air_c[known[-1]]), seen.instant(int(known[-1]))


def _with_the_nights_sky(timeline: Timeline, ahead: Hours | None) -> Days:
    """Today and tomorrow, tomorrow with the cloud and wind of this night where the forecast tells hours."""
    days = timeline.outlook.cut(timeline.today, timeline.today + DAY)
    if ahead is None:
        return days
    cloud, wind, dew_point = (_for_the_night(days, ahead, name) for name in ("cloud", "wind_ms", "dew_point_c"))
    return replace(days, cloud=cloud, wind_ms=wind, dew_point_c=dew_point)


def _for_the_night(days: Days, ahead: Hours, name: str) -> FloatArray:
    values, told = getattr(days, name).copy(), getattr(ahead, name)
    known = told[np.isfinite(told)]
    values[1:] = known.mean() if known.size else values[1:]
    return np.asarray(values, dtype=np.float64)


# --- the evening's own air

_NOT_FITTED = fit_evening([], [], [])


def _fit(
    timeline: Timeline, place: Place, newest_at: datetime | None, weight: float
) -> tuple[EveningFit, Unused | None]:
    seen = timeline.hours_seen
    if seen is None:
        return _NOT_FITTED, Unused.NO_HOURS
    if newest_at is None:
        return _NOT_FITTED, Unused.OLD_HOURS
    set_at = sunset_of(place, timeline.today)
    if set_at is None:
        return _NOT_FITTED, Unused.NO_SUNSET
    fit = fit_evening(*past_nights(seen, place, timeline.today, newest_at - set_at))
    if np.isnan(weight):
        return fit, Unused.SKY_UNKNOWN
    if weight < RADIATION_NIGHT:
        return fit, Unused.NOT_CLEAR
    if fit.nights < LEAST_NIGHTS or np.isnan(fit.spread_c):
        return fit, Unused.FEW_NIGHTS
    return fit, None


def past_nights(seen: Hours, place: Place, today: date, after_sunset: timedelta) -> FloatArray:
    """Air and dew point at one time from sunset, and the minimum, of each past clear and calm night: (3, nights)."""
    rows = []
    first = max(today - NIGHTS_LOOKED_BACK * DAY, place.day_of(seen.first))
    for back in range((today - first).days, 0, -1):
        night = _night(seen, place, today - back * DAY)
        if night is None:
            continue
        at, inside = _position(seen, night[0] + after_sunset), slice(*(_position(seen, end) for end in night))
        if 0 <= at < len(seen) and _clear_and_calm(seen, inside) and _whole(seen.air_c[inside]):
            rows.append((seen.air_c[at], seen.dew_point_c[at], np.nanmin(seen.air_c[inside])))
    return np.array(rows, dtype=np.float64).reshape(-1, 3).T


def _night(seen: Hours, place: Place, day: date) -> tuple[datetime, datetime] | None:
    """From sunset to an hour past sunrise, if all of it may have been observed."""
    set_at, rise_at = sunset_of(place, day), sunrise_after(place, day)
    if set_at is None or rise_at is None or rise_at <= set_at:
        return None
    end = rise_at + HOUR
    return (set_at, end) if seen.first <= set_at and end <= seen.end else None


def _position(hours: Hours, instant: datetime) -> int:
    return round((instant - hours.first) / HOUR)


def _whole(values: FloatArray) -> bool:
    return bool(values.size) and bool(np.isfinite(values).mean() >= KNOWN_SHARE)


def _clear_and_calm(hours: Hours, inside: slice) -> bool:
    cloud, wind = hours.cloud[inside], hours.wind_ms[inside]
    if not (np.isfinite(cloud).any() and np.isfinite(wind).any()):
        return False
    return bool(clear_and_calm(np.nanmean(cloud), np.nanmean(wind)) >= RADIATION_NIGHT)


def _by_the_evening(fit: EveningFit, timeline: Timeline, newest_at: datetime | None) -> float:
    seen = timeline.hours_seen
    if seen is None or newest_at is None:
        return float("nan")
    at = _position(seen, newest_at)
    return float(evening_minimum_c(fit, seen.air_c[at], seen.dew_point_c[at]))


def _zero_at(timeline: Timeline, place: Place, night: Night) -> datetime | None:
    """When the course of a clear night passes 0 °C at the leaf; it needs the air two hours after sunset."""
    set_at, rise_at = sunset_of(place, timeline.today), sunrise_after(place, timeline.today)
    if set_at is None or rise_at is None or not night.leaf_c <= 0.0:
        return None
    after = [_air_at(hours, set_at + 2 * HOUR) for hours in (timeline.hours_seen, timeline.hours_ahead)]
    evening = next((air for air in after if np.isfinite(air)), float("nan"))
    hour = float(hour_reached(evening - (night.air_c - night.leaf_c), night.leaf_c, 0.0, (rise_at - set_at) / HOUR))
    return set_at + hour * HOUR if np.isfinite(hour) else None


def _air_at(hours: Hours | None, instant: datetime) -> float:
    at = _position(hours, instant) if hours is not None else -1
    return float(hours.air_c[at]) if hours is not None and 0 <= at < len(hours) else float("nan")
