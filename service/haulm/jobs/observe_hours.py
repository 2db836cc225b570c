"""Hour by hour: what the stations observed and the forecast expects, fetched, and filled up from the store."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from haulm.errors import Complaint, SourceError
from haulm.garden import Place
from haulm.settings.load import Settings
from haulm.sources import meteostat_files
from haulm.sources.http import NotThereError
from haulm.sources.local_days import joined
from haulm.sources.quality import cleaned_hours
from haulm.sources.readings import Issue
from haulm.sources.spool import Access
from haulm.sources.stations import Station
from haulm.store.database import Database
from haulm.store.hours import KEPT_HOURS, keep_hours, read_run, replace_hours
from haulm.weather import DAY, HOURLY, FloatArray, Forecast, Hours, LastNight, Origin

HOURS_LOOKED_BACK = timedelta(days=10)  # a week of bad mornings is made up for
Complaints = tuple[Complaint, ...]


def observed_hours_of(access: Access, settings: Settings, first: datetime) -> tuple[str, Hours] | None:
    """The hours of the first station that tells them, from an instant on; None if none of them does.

    Raises
    ------
    SourceError
        They are told, but could not be had.
    """
    for key in _told_by_hour(settings):
        try:
            return key, cleaned_hours(meteostat_files.observed_hours(access, Station(key), first)[0])
        except NotThereError:
            continue
    return None


def _told_by_hour(settings: Settings) -> list[str]:
    named = (name.partition(":") for name in settings.weather.stations)
    return [key for source, _, key in named if source == "meteostat"]


def hours_of_stations(
    access: Access, settings: Settings, database: Database | None, now: datetime
) -> tuple[Hours | None, Complaints]:
    """All hours held of the last year: those that can be had now, and before them those of the store."""
    since = now - KEPT_HOURS
    try:
        found = observed_hours_of(access, settings, since)
    except SourceError as fault:
        told = (Complaint(f"last night's hours could not be had: {fault.what}", fault.where),)
        return _kept(database, _told_by_hour(settings), since, now), told
    if found is None:
        return None, ()
    series, hours = found
    earlier = _kept(database, [series], since, hours.first)
    return joined(earlier, hours) if earlier is not None else hours, ()


def _kept(database: Database | None, series: list[str], since: datetime, until: datetime) -> Hours | None:
    if database is None:
        return None
    held = (read_run(database, one, since, until) for one in series)
    return next((hours for hours in held if hours is not None), None)


def night_of(hours: Hours | None, place: Place, today: date) -> LastNight | None:
    """The lowest hour since six o'clock yesterday evening."""
    if hours is None:
        return None
    evening = datetime.combine(today - DAY, time(18), ZoneInfo(place.zone)).astimezone(UTC)
    night = hours.since(evening)
    known = np.flatnonzero(np.isfinite(night.air_c))
    if not known.size:
        return None
    return LastNight(float(night.air_c[known].min()), night.instant(int(known[-1])), int(known.size))


def with_hours(
    forecasts: tuple[Forecast, ...], came: Issue | None, database: Database | None, place: Place, now: datetime
) -> tuple[Forecast, ...]:
    """The issues, the newest with its hours, before which stand those of earlier issues that are past.

    Of earlier issues only what was past when the next one came is kept, and the newest one's whole, so that nothing
    here was told after the newest issue.
    """
    if not forecasts:
        return ()
    newest = max(forecasts, key=lambda one: one.issued)
    own = cleaned_hours(came.hours) if came is not None and came.forecast.issued == newest.issued else None
    past = _kept(
        database, [_series(newest.origin, place)], now - KEPT_HOURS, own.first if own is not None else now + KEPT_HOURS
    )
    hours = joined(past, own) if past is not None and own is not None else own or past
    return tuple(replace(one, hours=hours) if one is newest else one for one in forecasts)


def keep_observed_hours(settings: Settings, access: Access, database: Database, now: datetime) -> None:
    """Keep the hours observed in the last days; what cannot be had now comes with a later morning."""
    try:
        found = observed_hours_of(access, settings, now - HOURS_LOOKED_BACK)
    except SourceError:
        return  # told by the night's own look at the same file
    if found is not None:
        keep_hours(database, found[0], found[1].first, _columns(found[1]))


def keep_coming_hours(database: Database, coming: Issue, place: Place) -> None:
    """Keep the hours of the newest issue, in place of what the one before said of them."""
    replace_hours(database, _series(coming.forecast.origin, place), coming.hours.first, _columns(coming.hours))


def forecast_cell(origin: Origin, place: Place) -> str:
    """What the store keeps an issue under: a forecast belongs to a spot, so that gardens side by side share it."""
    return f"{origin.key} {place.latitude_deg:.4f} {place.longitude_deg:.4f}"


def _series(origin: Origin, place: Place) -> str:
    return f"forecast {forecast_cell(origin, place)}"


def _columns(hours: Hours) -> dict[str, FloatArray]:
    return {name: getattr(hours, name) for name in HOURLY}
