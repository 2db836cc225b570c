"""What a morning has before it thinks: the record, the forecasts, and what was wrong with either."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from haulm.beds.forcing import PlaceMean
from haulm.errors import Complaint
from haulm.jobs.observe_file import forecasts_of_file, record_of_file
from haulm.jobs.observe_stations import forecasts_of_services, record_of_stations
from haulm.settings.load import Settings
from haulm.settings.weather_form import WeatherTable
from haulm.sources.readings import Issue
from haulm.store.database import Database
from haulm.weather import Forecast, Record

MOST_COMPLAINTS_TOLD = 3


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """The weather as it was found.

    `fresh` is False where something that the settings ask for could not be had; `coming` is the forecast that came now.
    """

    record: Record | None
    forecasts: tuple[Forecast, ...]
    told: PlaceMean
    notices: tuple[str, ...]
    fresh: bool
    coming: Issue | None = None


def observe(settings: Settings, spool: Path, database: Database | None, today: date, now: datetime) -> Observed:
    """Read or fetch what the settings name; what cannot be had is told, and the morning goes on without it.

    Parameters
    ----------
    spool
        The folder of fetched files.
    database
        The store, for forecasts of earlier days; None where there is none yet.
    today, now
        The local day of the morning, and the instant at which servers are asked.
    """
    coming: Issue | None = None
    if settings.weather.source == "file":
        record, record_told = record_of_file(settings, today)
        forecasts, forecast_told = forecasts_of_file(settings)
        fresh = record is not None and (settings.weather.forecast_file is None or bool(forecasts))
    else:
        record, record_told, in_time = record_of_stations(settings, spool, today, now)
        forecasts, forecast_told, coming = forecasts_of_services(settings, spool, database, now)
        fresh = record is not None and in_time and (coming is not None or not settings.weather.forecasts)
    notices = (*_shortened(record_told), *_shortened(forecast_told))
    return Observed(record, forecasts, _place_mean(settings.weather), notices, fresh, coming)


def _place_mean(weather: WeatherTable) -> PlaceMean:
    half_range = weather.mean_range_c / 2.0 if weather.mean_range_c is not None else None
    return PlaceMean(weather.mean_air_c, half_range)


def _shortened(complaints: Iterable[Complaint]) -> list[str]:
    listed = [f"{complaint}." for complaint in complaints]
    more = len(listed) - MOST_COMPLAINTS_TOLD
    return [*listed[:MOST_COMPLAINTS_TOLD], f"{more} more like these."] if more > 0 else listed
