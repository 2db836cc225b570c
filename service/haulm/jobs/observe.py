"""Read the weather that the settings name: what a morning has before it thinks."""

from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

from haulm.beds.forcing import PlaceMean
from haulm.errors import Complaint, SourceError
from haulm.settings.load import Settings
from haulm.sources import own_file
from haulm.sources.own_file import GhcnUnits
from haulm.sources.quality import cleaned_record
from haulm.weather import Forecast, Origin, Record

MOST_COMPLAINTS_TOLD = 3


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """The weather as it was found, and what was wrong with it."""

    record: Record | None
    forecasts: tuple[Forecast, ...]
    told: PlaceMean
    notices: tuple[str, ...]
    fresh: bool


def observe(settings: Settings, today: date) -> Observed:
    """Read the record and the forecasts; what cannot be read is told, and the morning goes on without it."""
    weather = settings.weather
    notices: list[str] = []
    record: Record | None = None
    forecasts: tuple[Forecast, ...] = ()
    try:
        record, complaints = _record(settings, today)
        notices += _told(complaints)
    except SourceError as fault:
        notices.append(f"The weather record could not be used: {fault}")
    if weather.forecast_file is not None:
        try:
            forecasts, complaints = _forecasts(settings, weather.forecast_file)
            notices += _told(complaints)
        except SourceError as fault:
            notices.append(f"The forecast could not be used: {fault}")
    half_range = weather.mean_range_c / 2.0 if weather.mean_range_c is not None else None
    fresh = record is not None and (weather.forecast_file is None or bool(forecasts))
    return Observed(record, forecasts, PlaceMean(weather.mean_air_c, half_range), tuple(notices), fresh)


def _record(settings: Settings, today: date) -> tuple[Record, tuple[Complaint, ...]]:
    weather = settings.weather
    where = str(weather.file)
    text = own_file.text_of(own_file.fetch(weather.file), where)
    delay = timedelta(hours=weather.usual_delay_hours)
    record, broken = own_file.parse_record(
        text, where=where, origin=_origin(settings, weather.file), usual_delay=delay, ghcn_units=_units(settings)
    )
    clean, doubtful = cleaned_record(record, where, today=today)
    return clean, broken + doubtful


def _forecasts(settings: Settings, path: Path) -> tuple[tuple[Forecast, ...], tuple[Complaint, ...]]:
    text = own_file.text_of(own_file.fetch(path), str(path))
    return own_file.parse_forecasts(
        text, where=str(path), origin=Origin(path.stem, f"the file {path.name}"), ghcn_units=_units(settings)
    )


def _origin(settings: Settings, path: Path) -> Origin:
    return Origin(path.stem, settings.weather.station or f"the file {path.name}")


def _units(settings: Settings) -> GhcnUnits | None:
    return GhcnUnits(settings.weather.units) if settings.weather.layout == "ghcn" else None


def _told(complaints: tuple[Complaint, ...]) -> list[str]:
    told = [str(complaint) for complaint in complaints[:MOST_COMPLAINTS_TOLD]]
    more = len(complaints) - len(told)
    return [*told, f"{more} more lines like these."] if more > 0 else told
