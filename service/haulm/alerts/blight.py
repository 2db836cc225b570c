"""Blight weather: when to look under the leaves, and what cannot be told without hours."""

from datetime import date

import numpy as np

from haulm.advice import Answer, Fact, Finding, NotKnown, Said, Section
from haulm.condition import Condition
from haulm.garden import Cause
from haulm.science.blight import MOST_SEVERE, hutton_period
from haulm.settings.thresholds import Thresholds
from haulm.weather import DAY, BlightWeather, Daily

COMING, CAME = 1, 2
LACKS = "hours of temperature and humidity"


def blight_weather(condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    """Warm, wet hours in which late blight spreads, measured or forecast, while there is leaf to strike."""
    crop, weather = condition.crop, condition.sky.blight
    if crop.tops_gone is not None:
        return None
    if crop.dying_since is not None and crop.dying_cause is Cause.BLIGHT:
        return Finding("noted", Section.DO_TODAY, 58, {"dying_since": crop.dying_since}, CAME)
    if weather is None:
        return NotKnown(LACKS, worth_saying=True, once=True)
    if thresholds.blight.way == "severity":
        return _by_severity(weather, condition, thresholds)
    return _by_hutton(weather, condition, thresholds, standing)


def _by_hutton(weather: BlightWeather, condition: Condition, thresholds: Thresholds, standing: Said | None) -> Answer:
    today, looking = condition.today, thresholds.blight.looking_days
    periods = Daily(weather.hutton.first, hutton_period(weather.hutton.values))
    since = today - looking * DAY
    came = _newest(periods, since, today - DAY)
    coming = _newest(periods, today, periods.last)
    if came is not None:
        facts = _spell(weather, came) | {"coming": coming}
        return Finding("came", Section.DO_TODAY, 46, facts | _limits(thresholds), CAME)
    if coming is not None:
        return Finding("coming", Section.GET_READY, 41, _spell(weather, coming) | _limits(thresholds), COMING)
    # An open episode ends only where the last days are known to be quiet; else the newest two tell.
    asked = since if standing is not None and standing.verdict in {"came", "coming"} else today - DAY
    if np.isnan(periods.between(asked, today - DAY)).any():
        return _hours_missing(weather, asked - DAY, today - DAY)
    return None


def _newest(periods: Daily, first: date, last: date) -> date | None:
    met = np.flatnonzero(periods.between(first, last) == 1.0)
    return first + int(met[-1]) * DAY if met.size else None


def _spell(weather: BlightWeather, last: date) -> dict[str, Fact]:
    """The unbroken run of days that fulfil the criteria, up to the one named."""
    first = last
    while weather.hutton.at(first - DAY) == 1.0:
        first -= DAY
    humid = weather.humid_hours.between(first, last)
    return {
        "first": first,
        "last": last,
        "lowest_c": float(weather.lowest_c.between(first, last).min()),
        "fewest_humid_hours": int(humid.min()),
        "most_humid_hours": int(humid.max()),
        "forecast_hours": int(weather.forecast_hours.between(first, last).sum()),
    }


def _limits(thresholds: Thresholds) -> dict[str, Fact]:
    return {"limit_c": thresholds.blight.least_c, "limit_hours": thresholds.blight.humid_hours}


def _hours_missing(weather: BlightWeather, first: date, last: date, **facts: Fact) -> NotKnown:
    missing = np.nan_to_num(weather.missing_hours.between(first, last), nan=24.0)
    known: dict[str, Fact] = {"missing_hours": int(missing.sum()), "first": first, "last": last}
    return NotKnown(LACKS, worth_saying=True, once=True, facts=known | facts)


def _by_severity(weather: BlightWeather, condition: Condition, thresholds: Thresholds) -> Answer:
    shoots, yesterday, enough = condition.crop.shoots, condition.today - DAY, thresholds.blight.severity_sum
    if shoots is None or shoots.early is None or shoots.early > yesterday:
        return None
    values = weather.severity.between(shoots.early, yesterday)
    least, unknown = int(np.nansum(values)), int(np.isnan(values).sum())
    if least >= enough:
        facts: dict[str, Fact] = {
            "severity_sum": least,
            "enough": enough,
            "since": shoots.early,
            "shoots_noted": shoots.early == shoots.late,
            "unknown_days": unknown,
        }
        return Finding("summed", Section.DO_TODAY, 46, facts, CAME)
    if least + MOST_SEVERE * unknown >= enough:
        return _hours_missing(weather, shoots.early, yesterday, severity_sum=least, enough=enough)
    return None
