"""What the weather data lack: a silent station, a missing forecast."""

from datetime import timedelta

from haulm.advice import Answer, Fact, Finding, Said, Section
from haulm.condition import SkyNow
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY


def station_silent(sky: SkyNow, thresholds: Thresholds, _standing: Said | None) -> Answer:
    """The day after the newest one observed is later than the source's own usual delay and a day more."""
    allowed = DAY + sky.usual_delay + timedelta(hours=thresholds.data.silent_hours)
    if sky.newest_age is not None and sky.newest_age <= allowed:
        return None
    facts: dict[str, Fact] = {
        "station": sky.origin.name,
        "newest_observed": sky.newest_observed,
        "silent_days": sky.newest_age.days if sky.newest_age is not None else None,
        "usual_delay_hours": sky.usual_delay.total_seconds() / 3600.0,
    }
    return Finding("silent", Section.KEEP_AN_EYE, 35, facts)


def forecast_missing(sky: SkyNow, _thresholds: Thresholds, _standing: Said | None) -> Answer:
    """No forecast young enough to use: nothing about the coming nights and days is known."""
    if sky.has_forecast:
        return None
    return Finding("missing", Section.KEEP_AN_EYE, 34, {})
