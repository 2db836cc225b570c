"""What a morning has before it thinks: the record, the forecasts, and what was wrong with either."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from haulm.beds.forcing import PlaceMean
from haulm.errors import Complaint
from haulm.jobs.observe_file import forecasts_of_file, hours_of_file, record_of_file
from haulm.jobs.observe_hours import night_of
from haulm.jobs.observe_stations import forecasts_of_services, kept_issues, record_of_stations
from haulm.settings.load import Settings
from haulm.settings.weather_form import WeatherTable
from haulm.sources.readings import Issue
from haulm.sources.spool import Access
from haulm.store.database import Database
from haulm.weather import Forecast, Record

MOST_COMPLAINTS_TOLD = 3


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """The weather as it was found.

    `fresh` is False where something that the settings ask for could not be had; `kept` are the days to be
    stored, each station's under its own name; `issues` are the forecasts to be stored, and `coming` is the one that
    came now, with its hours.
    """

    record: Record | None
    forecasts: tuple[Forecast, ...]
    told: PlaceMean
    notices: tuple[str, ...]
    fresh: bool
    kept: tuple[Record, ...] = ()
    coming: Issue | None = None
    issues: tuple[Forecast, ...] = ()


def observe(settings: Settings, access: Access, database: Database | None, as_of: datetime) -> Observed:
    """Read or fetch what the settings name; what cannot be had is told, and the morning goes on without it.

    Parameters
    ----------
    access
        The run's one session, with the instant at which servers are asked and the folder of fetched files.
    database
        The store, for forecasts of earlier days and for what cannot be fetched now; None where there is none yet.
    as_of
        The instant of the morning.
    """
    return (
        _from_file(settings, as_of)
        if settings.weather.source == "file"
        else _fetched(settings, access, database, as_of)
    )


def _from_file(settings: Settings, as_of: datetime) -> Observed:
    record, record_told = record_of_file(settings, settings.garden.place.day_of(as_of))
    forecasts, forecast_told = forecasts_of_file(settings, as_of)
    hours, hours_told = hours_of_file(settings, as_of)
    if record is not None and hours is not None:  # a station in the garden tells its hours as they end
        night = night_of(hours, settings.garden.place, settings.garden.place.day_of(as_of))
        record = replace(record, hours=hours, hours_had=as_of, last_night=night)
    wanted = ((settings.weather.forecast_file, forecasts), (settings.weather.hours_file, hours))
    fresh = record is not None and all(path is None or bool(had) for path, had in wanted)
    notices = (*_shortened(record_told), *_shortened(forecast_told), *_shortened(hours_told))
    kept = (record,) if record is not None else ()
    told = _place_mean(settings.weather)
    return Observed(record, forecasts, told, notices, fresh, kept, issues=forecasts)


def _fetched(settings: Settings, access: Access, database: Database | None, as_of: datetime) -> Observed:
    found = record_of_stations(settings, access, database, as_of)
    forecasts, forecast_told, coming = forecasts_of_services(settings, access, database)
    fresh = found.in_time and (coming is not None or not settings.weather.forecasts)
    # What could not be had is told in full; only what was left out of a file is told by its first few.
    notices = (
        *found.remarks, *(f"{fault}." for fault in found.faults), *(f"{one}." for one in forecast_told),
        *_shortened(found.doubts),
    )  # fmt: skip
    told, issues = _place_mean(settings.weather), (coming.forecast,) if coming is not None else ()
    return Observed(found.record, forecasts, told, notices, fresh, found.fetched, coming, issues)


def kept_forecasts(
    settings: Settings, observed: Observed, database: Database | None, since: datetime, until: datetime
) -> tuple[Forecast, ...]:
    """Every issue that is still held of a span of time: out of the grower's file, or the store."""
    if settings.weather.source == "file":
        return tuple(issue for issue in observed.forecasts if since <= issue.issued <= until)
    return kept_issues(settings, database, since, until) if database is not None else ()


def _place_mean(weather: WeatherTable) -> PlaceMean:
    half_range = weather.mean_range_c / 2.0 if weather.mean_range_c is not None else None
    return PlaceMean(weather.mean_air_c, half_range)


def _shortened(complaints: Iterable[Complaint]) -> list[str]:
    listed = [f"{complaint}." for complaint in complaints]
    more = len(listed) - MOST_COMPLAINTS_TOLD
    return [*listed[:MOST_COMPLAINTS_TOLD], f"{more} more like these."] if more > 0 else listed
