"""The grower's own weather files."""

from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

from haulm.errors import Complaint, SourceError
from haulm.settings.load import Settings
from haulm.settings.weather_form import FILE_DELAY_HOURS
from haulm.sources import own_file, own_hours
from haulm.sources.own_file import GhcnUnits
from haulm.sources.quality import cleaned, cleaned_hours, cleaned_record
from haulm.weather import Forecast, Hours, Origin, Record

Complaints = tuple[Complaint, ...]
DOUBT_IS_TOLD = timedelta(days=1)  # judgement: an older issue is no longer what the letter goes by


def record_of_file(settings: Settings, today: date) -> tuple[Record | None, Complaints]:
    """The record, cleaned, and what was left out; None where the file cannot be used at all."""
    weather, path = settings.weather, settings.weather.file
    if path is None:
        return None, (Complaint("no weather file is named"),)
    delay = FILE_DELAY_HOURS if weather.usual_delay_hours is None else weather.usual_delay_hours
    try:
        record, broken = own_file.parse_record(
            own_file.text_of(own_file.fetch(path), path.name),
            where=path.name,
            origin=Origin(path.stem, weather.station or f"the file {path.name}"),
            usual_delay=timedelta(hours=delay),
            ghcn_units=_units(settings),
        )
    except SourceError as fault:
        return None, (_unusable("weather record", fault),)
    clean, doubtful = cleaned_record(record, path.name, today=today)
    return clean, broken + doubtful


def hours_of_file(settings: Settings, as_of: datetime) -> tuple[Hours | None, Complaints]:
    """The station's own hours up to an instant; none where no file is named or it cannot be used."""
    path = settings.weather.hours_file
    if path is None:
        return None, ()
    try:
        hours, broken = own_hours.parse(own_file.text_of(own_file.fetch(path), path.name), path.name, as_of)
    except SourceError as fault:
        return None, (_unusable("file of hours", fault),)
    return cleaned_hours(hours), broken


def forecasts_of_file(settings: Settings, as_of: datetime) -> tuple[tuple[Forecast, ...], Complaints]:
    """Every issue in the forecast file, cleaned; none where no file is named or it cannot be used.

    What was doubtful in an issue is told while the issue is young: a file that grows would repeat it for years.
    """
    path = settings.weather.forecast_file
    if path is None:
        return (), ()
    try:
        issues, broken = own_file.parse_forecasts(
            own_file.text_of(own_file.fetch(path), path.name),
            where=path.name,
            origin=Origin(path.stem, f"the file {path.name}"),
            ghcn_units=_units(settings),
        )
    except SourceError as fault:
        return (), (_unusable("forecast", fault),)
    clean = [(issue, *cleaned(issue.days, path.name)) for issue in issues]
    told = [complaints for issue, _, complaints in clean if as_of - DOUBT_IS_TOLD <= issue.issued <= as_of]
    doubtful = tuple(complaint for complaints in told for complaint in complaints)
    return tuple(replace(issue, days=days) for issue, days, _ in clean), broken + doubtful


def _units(settings: Settings) -> GhcnUnits | None:
    return GhcnUnits(settings.weather.units) if settings.weather.layout == "ghcn" else None


def _unusable(what: str, fault: SourceError) -> Complaint:
    remedy = f" {fault.remedy}" if fault.remedy else ""
    return Complaint(f"The {what} could not be used: {Path(fault.where).name}: {fault.what}.{remedy}".rstrip("."))
