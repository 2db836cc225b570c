"""From the record and the forecasts to the weather as one morning knows it: cut, filled, bridged and marked."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from haulm.weather import (
    DAY,
    NOWHERE,
    QUANTITIES,
    Days,
    FloatArray,
    Forecast,
    Gap,
    Hours,
    LastNight,
    Mark,
    MarkArray,
    Record,
    Timeline,
    unknown_days,
)

Mask = NDArray[np.bool_]

# The next day's row should have come when its usual delay is over; a day's grace before the letter speaks of silence.
GRACE = timedelta(hours=24)
YEAR_DAYS = 365
WEEK_DAYS = 7


@dataclass(frozen=True, slots=True, eq=False)
class _Marked:
    """Days with the marks of their air temperatures and of their rain."""

    days: Days
    air_mark: MarkArray
    rain_mark: MarkArray


def timeline(
    record: Record | None,
    forecasts: Sequence[Forecast],
    as_of: datetime,
    today: date,
    zone: ZoneInfo,
    *,
    gap_fill_days: int = 3,
    forecast_max_age: timedelta = timedelta(hours=36),
) -> Timeline:
    """The weather as known at one instant, without a break from the first observed day to the end of the outlook.

    Nothing dated `today` or later in the record counts, and nothing received after `as_of`. Before `today`, inner gaps
    of at most `gap_fill_days` in an air temperature are filled on a straight line; rain never is. Days after the newest
    observed one are taken from the newest issue that covers them and was out before they ended. `today` and later
    come from the newest issue that is not older than `forecast_max_age` (36 h: judgement; a day and a half of one-day
    forecasts missed). `today` itself is always there, unknown without a forecast.

    Parameters
    ----------
    record
        What was observed; None if there is no station.
    forecasts
        Issues in any order, no two by one source at one instant.
    as_of
        The instant of the morning, with its zone.
    today
        The local day at that instant.
    zone
        The place's zone, by which its days end.
    """
    usual_delay = record.usual_delay if record else timedelta(0)
    own, lent = (_known(one, as_of, today, zone) for one in (record, record.lent if record else None))
    past = _past(own, gap_fill_days, lent)
    newest = _newest_observed(past)
    known = [issue for issue in forecasts if max(issue.known_since, issue.issued) <= as_of]
    known.sort(key=lambda issue: (issue.issued, issue.known_since, issue.origin.key), reverse=True)
    if newest is not None:
        past = _bridged(past, newest, known, zone)
    forecast, forecast_gap = _in_use(known, as_of, today, forecast_max_age)
    whole = _joined(past, _outlook(forecast, today))
    gaps = {*_past_gaps(past, gap_fill_days), *_silence(newest, usual_delay, as_of, zone), forecast_gap}
    return Timeline(
        days=whole.days,
        air_mark=whole.air_mark,
        rain_mark=whole.rain_mark,
        today=today,
        origin=record.origin if record else NOWHERE,
        newest_observed=newest,
        usual_delay=usual_delay,
        forecast_origin=forecast.origin if forecast else None,
        forecast_issued=forecast.issued if forecast else None,
        gaps=tuple(gap for gap in Gap if gap in gaps),
        last_night=_night_known(record, as_of),
        hours_seen=_hours_known(record, as_of),
        hours_ahead=forecast.hours if forecast else None,
    )


def _night_known(record: Record | None, as_of: datetime) -> LastNight | None:
    night = record.last_night if record else None
    return night if night is not None and night.until <= as_of < night.until + timedelta(days=1) else None


def _hours_known(record: Record | None, as_of: datetime) -> Hours | None:
    if record is None or record.hours is None:
        return None
    had = record.hours_had is not None and record.hours_had <= as_of
    known = record.hours.before(as_of if had else as_of - record.usual_delay)
    return known if len(known) else None


def day_end(day: date, zone: ZoneInfo) -> datetime:
    """The instant (UTC) at which a local day ends: 23 or 25 hours after its start where the clocks change."""
    return datetime.combine(day + DAY, time(), zone).astimezone(UTC)


def _known(record: Record | None, as_of: datetime, today: date, zone: ZoneInfo) -> Days:
    """The days from the first that was known to yesterday; NaN where a row was not known yet."""
    if record is None:
        return unknown_days(today, 0)
    days = record.days
    # In UTC, since subtraction within one zone would count by the wall clock and miss a change of clocks.
    ended = (as_of.astimezone(UTC) - record.usual_delay).astimezone(zone).date() - DAY
    position = np.arange(len(days))
    due = position <= (ended - days.first).days
    known = np.where(np.isnan(record.received), due, record.received <= as_of.timestamp())
    known &= position < (today - days.first).days
    until = int(known.sum())
    if known[:until].all():  # no row among the days known is still to come: the rule, and cheaper
        values = {name: getattr(days, name)[:until] for name in QUANTITIES}
    else:
        values = {name: np.where(known, getattr(days, name), np.nan) for name in QUANTITIES}
    told = [int(np.argmax(held)) for held in map(np.isfinite, values.values()) if held.any()]
    if not told:
        return unknown_days(today, 0)
    return Days(days.first, **values).cut(days.first + min(told) * DAY, today - DAY)


def _past(days: Days, gap_fill_days: int, lent: Days) -> _Marked:
    """Observed days, then what neighbours lend, then short gaps on a straight line."""
    observed = np.isfinite(days.air_min_c) & np.isfinite(days.air_max_c)
    low, high = (_else_lent(days, lent, name) for name in ("air_min_c", "air_max_c"))
    low_filled, high_filled = _short_gaps(low, gap_fill_days), _short_gaps(high, gap_fill_days)
    filled_low, filled_high = _straight(low, low_filled), _straight(high, high_filled)
    if low_filled.any() or high_filled.any():
        # Each line is drawn by itself, so they can cross; what was observed stands, what was filled gives way.
        filled_high = np.where(high_filled, np.fmax(filled_high, filled_low), filled_high)
        filled_low = np.where(low_filled, np.fmin(filled_low, filled_high), filled_low)
    whole = np.isfinite(filled_low) & np.isfinite(filled_high)
    air_mark = _marks((whole, Mark.FILLED), (observed, Mark.OBSERVED))
    rain_mark = _marks((np.isfinite(days.rain_mm), Mark.OBSERVED))
    return _Marked(_with(days, air_min_c=filled_low, air_max_c=filled_high), air_mark, rain_mark)


def _else_lent(days: Days, lent: Days, name: str) -> FloatArray:
    own: FloatArray = getattr(days, name)
    if not len(lent):
        return own
    return np.where(np.isfinite(own), own, lent.of(name).between(days.first, days.last))


def _short_gaps(values: FloatArray, longest: int) -> Mask:
    """Unknown days between two known ones, in runs that are not too long."""
    short = np.zeros(len(values), dtype=bool)
    known = np.flatnonzero(np.isfinite(values))
    if len(known) == len(values):
        return short
    apart = np.diff(known)
    for at in np.flatnonzero((apart > 1) & (apart <= longest + 1)):
        short[known[at] + 1 : known[at + 1]] = True
    return short


def _straight(values: FloatArray, where: Mask) -> FloatArray:
    if not where.any():
        return values
    known = np.flatnonzero(np.isfinite(values))
    filled = values.copy()
    filled[where] = np.interp(np.flatnonzero(where), known, values[known])
    return filled


def _newest_observed(past: _Marked) -> date | None:
    observed = np.flatnonzero(past.air_mark == Mark.OBSERVED)
    return past.days.first + int(observed[-1]) * DAY if observed.size else None


def _bridged(past: _Marked, newest: date, known: Sequence[Forecast], zone: ZoneInfo) -> _Marked:
    """The days after the newest observed one, with what is lacking taken from each day's forecast.

    `known` holds the issues with the newest first.
    """
    values = {name: getattr(past.days, name).copy() for name in QUANTITIES}
    air_mark, rain_mark = past.air_mark.copy(), past.rain_mark.copy()
    for at in range((newest - past.days.first).days + 1, len(past.days)):
        day = past.days.first + at * DAY
        issue = _issue_for(day, known, zone)
        if issue is None:
            continue
        for name, column in values.items():
            column[at] = column[at] if np.isfinite(column[at]) else issue.days.of(name).at(day)
        # A half-observed day keeps its half; the other half may not contradict it.
        low, high = values["air_min_c"], values["air_max_c"]
        if np.isfinite(past.days.air_min_c[at]):
            high[at] = max(low[at], high[at])
        low[at] = min(low[at], high[at])
        if air_mark[at] == Mark.UNKNOWN:
            air_mark[at] = Mark.BRIDGED
        if rain_mark[at] == Mark.UNKNOWN and np.isfinite(values["rain_mm"][at]):
            rain_mark[at] = Mark.BRIDGED
    return _Marked(Days(past.days.first, **values), air_mark, rain_mark)


def _issue_for(day: date, known: Sequence[Forecast], zone: ZoneInfo) -> Forecast | None:
    ended = day_end(day, zone)
    return next((issue for issue in known if issue.issued < ended and _covers(issue, day)), None)


def _covers(issue: Forecast, day: date) -> bool:
    return bool(np.isfinite(issue.days.of("air_min_c").at(day)) and np.isfinite(issue.days.of("air_max_c").at(day)))


def _in_use(
    known: Sequence[Forecast], as_of: datetime, today: date, max_age: timedelta
) -> tuple[Forecast | None, Gap | None]:
    if not known:
        return None, Gap.NO_FORECAST
    speaking = next((issue for issue in known if speaks_from(issue, today)), None)
    if as_of.astimezone(UTC) - (speaking or known[0]).issued.astimezone(UTC) > max_age:
        return None, Gap.FORECAST_OLD
    return speaking, None if speaking else Gap.NO_FORECAST


def speaks_from(issue: Forecast, today: date) -> bool:
    """Whether an issue tells the air of a day, or of any after it."""
    if issue.days.last < today:
        return False
    ahead = issue.days.cut(today, issue.days.last)
    return bool((np.isfinite(ahead.air_min_c) & np.isfinite(ahead.air_max_c)).any())


def _outlook(forecast: Forecast | None, today: date) -> _Marked:
    days = forecast.days.cut(today, forecast.days.last) if forecast else unknown_days(today, 1)
    whole = np.isfinite(days.air_min_c) & np.isfinite(days.air_max_c)
    air_mark = _marks((whole, Mark.FORECAST))
    return _Marked(days, air_mark, _marks((np.isfinite(days.rain_mm), Mark.FORECAST)))


def _joined(past: _Marked, outlook: _Marked) -> _Marked:
    both = {name: np.concatenate([getattr(past.days, name), getattr(outlook.days, name)]) for name in QUANTITIES}
    air_mark = np.concatenate([past.air_mark, outlook.air_mark])
    return _Marked(Days(past.days.first, **both), air_mark, np.concatenate([past.rain_mark, outlook.rain_mark]))


def _past_gaps(past: _Marked, gap_fill_days: int) -> set[Gap]:
    gaps = set()
    week = past.rain_mark[-WEEK_DAYS:]
    if len(week) < WEEK_DAYS or (week == Mark.UNKNOWN).any():
        gaps.add(Gap.RAIN_UNKNOWN)
    if np.count_nonzero(past.air_mark == Mark.OBSERVED) < YEAR_DAYS:
        gaps.add(Gap.SHORT_RECORD)
    # A gap of years ago no longer tells on a bed: only the last year's are named.
    known = np.concatenate([[True], past.air_mark[-YEAR_DAYS:] != Mark.UNKNOWN, [True]])
    if (np.diff(np.flatnonzero(known)) - 1 > gap_fill_days).any():
        gaps.add(Gap.LONG_GAP)
    return gaps


def _silence(newest: date | None, usual_delay: timedelta, as_of: datetime, zone: ZoneInfo) -> set[Gap]:
    if newest is None:
        return {Gap.NO_OBSERVATIONS}
    late = as_of.astimezone(UTC) - day_end(newest + DAY, zone) > usual_delay + GRACE
    return {Gap.OBSERVATIONS_OLD} if late else set()


def _marks(*layers: tuple[Mask, Mark]) -> MarkArray:
    marks = np.full(len(layers[0][0]), Mark.UNKNOWN, dtype=np.int8)
    for mask, mark in layers:
        marks[mask] = mark
    return marks


def _with(days: Days, **changed: FloatArray) -> Days:
    return Days(days.first, **({name: getattr(days, name) for name in QUANTITIES} | changed))
