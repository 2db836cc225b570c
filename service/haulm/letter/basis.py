"""What the letter is based on: station, forecast, what is missing and what that costs, and the cautions."""

from datetime import datetime, timedelta

import numpy as np

from haulm.advice import Decision
from haulm.bed_water import EtoWay
from haulm.condition import Condition
from haulm.garden import Stage
from haulm.letter import amounts
from haulm.units import Display
from haulm.weather import DAY, Gap, Mark, Origin, Timeline

LOOKED_BACK_DAYS = 21
TOLD_SHARE = 0.02  # judgement: a smaller correction is not worth a line
ON_THE_MARK_C = 0.1
QUESTIONED_FOR = timedelta(days=30)  # judgement: later nobody remembers the reading
NO_FORECAST = (
    "There is no forecast: coming frost, heat, rain and wind are not known, and silence about them is no promise."
)
GAPS = {
    Gap.OBSERVATIONS_OLD: "The station's days come later than usual, so the newest ones are less sure.",
    Gap.NO_OBSERVATIONS: "No observation has come in: what the weather has done to the beds is not known.",
    Gap.NO_FORECAST: NO_FORECAST,
    Gap.FORECAST_OLD: "The forecast is old: what is said of the coming days is less sure.",
    Gap.RAIN_UNKNOWN: "Some days' rain is not known, so how dry the beds are is a range.",
    Gap.SHORT_RECORD: "The record here is short, so what rests on the place's own years is rough.",
    Gap.LONG_GAP: (
        "Some days of the last year are missing and the mean year stands in for them; the soil counts as not known "
        "until their trace has faded."
    ),
}
ETO_WAYS = {
    EtoWay.WHOLE: "from air, humidity and wind (FAO Penman-Monteith)",
    EtoWay.BY_RULE: (
        "from the air, with a usual wind or a dew point taken from the night's low (FAO Penman-Monteith, data missing)"
    ),
    EtoWay.MEAN_YEAR: "from the mean year (Hargreaves)",
}
RANGES = (
    "Ranges of temperature, and of the day when soil is fit, hold in four cases of five; those of shoots, ripening, "
    "skins and sprouts are as wide as kinds of potato differ."
)
CAUTION = (
    "This letter is worked out from a weather station and a forecast, not measured in your beds. It is no warning "
    "service for life or property. For frost, disease, chemicals and food safety ask your local extension service, "
    "and follow the label and the law."
)


def basis(decision: Decision) -> tuple[str, ...]:
    """The lines of the letter's last part."""
    timeline, display = decision.timeline, decision.garden.place.display
    lines = [_station(timeline.origin, display), _newest(timeline), _marks(timeline)]
    lines.append(_forecast(timeline, decision.as_of))
    lines += [GAPS[gap] for gap in timeline.gaps]
    lines += [origin.attribution for origin in (timeline.origin, timeline.forecast_origin) if origin]
    lines += [line for condition in decision.conditions for line in _questioned(condition)]
    lines += _graded(decision)
    lines += _night_readings(decision)
    lines += [_evaporation(condition) for condition in decision.conditions]
    lines += [line for condition in decision.conditions for line in _earlier_crops(condition)]
    lines += decision.notices
    lines += [RANGES] if decision.conditions else []
    lines.append(CAUTION)
    return tuple(dict.fromkeys(_stop(line) for line in lines if line))  # each is said once


def basis_between_letters(decision: Decision) -> tuple[str, ...]:
    """The same for a word between letters: no more than the night rests on, what went wrong, and the caution."""
    timeline = decision.timeline
    lines = [_station(timeline.origin, decision.garden.place.display), _newest(timeline)]
    lines.append(_forecast(timeline, decision.as_of))
    lines += [origin.attribution for origin in (timeline.origin, timeline.forecast_origin) if origin]
    lines += [*decision.notices, CAUTION]
    return tuple(dict.fromkeys(_stop(line) for line in lines if line))


def _questioned(condition: Condition) -> list[str]:
    """Readings that were not used, so that a slip of the pen can be taken back."""
    display = condition.garden.place.display
    return [
        f"The soil reading of {amounts.temperature(read_c, display)} in {condition.bed.name} on "
        f"{amounts.day(day, condition.today)} is far from everything else, so it was not used; "
        "take it back if it is a slip"
        for day, read_c in condition.soil.questioned_c
    ]


def _graded(decision: Decision) -> list[str]:
    """How earlier forecasts of the next night turned out."""
    graded = decision.conditions[0].sky.graded if decision.conditions else None
    if graded is None or decision.timeline.forecast_origin is None:
        return []
    display = decision.garden.place.display
    half_c = amounts.FOUR_IN_FIVE * graded.spread_c
    colder, warmer = (_missed(graded.too_warm_c + by_c, display) for by_c in (-half_c, half_c))
    return [
        f"On the last {graded.nights} nights graded, forecasts of the day before were between {colder} and {warmer} at "
        f"the station, on average {_missed(graded.too_warm_c, display)}; what is said of frost takes that in"
    ]


def _missed(too_warm_c: float, display: Display) -> str:
    """How a forecast was off: "1.2 °C too warm", "on the mark"."""
    if abs(too_warm_c) < ON_THE_MARK_C:
        return "on the mark"
    return f"{amounts.warmth(abs(too_warm_c), display)} too {'warm' if too_warm_c > 0.0 else 'cold'}"


def _night_readings(decision: Decision) -> list[str]:
    """What the grower's minimum thermometer taught, and which readings were not used."""
    read = decision.conditions[0].sky.nights_read if decision.conditions else None
    if read is None:
        return []
    display, today = decision.garden.place.display, decision.today
    lines = [
        f"The night minimum of {amounts.temperature(read_c, display)} read on {amounts.day(day, today)} is far from "
        "everything else, so it was not used; take it back if it is a slip"
        for day, read_c in read.questioned_c
        if today - day <= QUESTIONED_FOR
    ]
    if read.readings:
        nights = amounts.count(read.readings, "night minimum", "night minima")
        lines.append(
            f"From {nights} read in the garden: on clear, calm nights its leaves are taken to be "
            f"{amounts.change(-read.clear_colder_c, display)} than the station, on others "
            f"{amounts.change(-read.other_colder_c, display)}"
        )
    return lines


def _evaporation(condition: Condition) -> str:
    """By which way the water that plants use was worked out, and on how many of the last days."""
    ways = condition.water.eto_ways if condition.water else ()
    counted = [(ways.count(way), told) for way, told in ETO_WAYS.items() if way in ways]
    if len(counted) == 1:
        return f"What the beds use is worked out {counted[0][1]}"
    told = [f"on {number} {how}" for number, how in counted]
    return f"What the beds use, of the last {amounts.days(len(ways))}: {amounts.listing(told)}" if told else ""


def _earlier_crops(condition: Condition) -> list[str]:
    """What earlier crops moved, while it still matters to this one."""
    earlier, stage, lines = condition.crop.earlier, condition.stage.stage, []
    later = earlier.shoots_later_share
    if abs(later) >= TOLD_SHARE and stage.order <= Stage.PLANTED.order:
        crops = amounts.count(earlier.shoots_crops, "earlier crop", "earlier crops")
        lines.append(
            f"By {crops} here, shoots in {condition.bed.name} are taken to come {'later' if later > 0 else 'sooner'} "
            f"than usual, by {amounts.share(abs(later))} of the range that warmth gives"
        )
    if abs(earlier.ripe_warmth_share - 1.0) >= TOLD_SHARE and stage.order <= Stage.EMERGED.order:
        crops = amounts.count(earlier.ripe_crops, "earlier crop", "earlier crops")
        lines.append(
            f"By {crops} here, tops in {condition.bed.name} are taken to go down at "
            f"{amounts.share(earlier.ripe_warmth_share)} of the warmth that is usual for their class"
        )
    return lines


def _station(origin: Origin, display: Display) -> str:
    if not origin.name:
        return "Weather station: none yet"
    told = f"Weather station: {origin.name}"
    if origin.distance_km is not None:
        told += f", {amounts.distance(origin.distance_km, display)} away"
    if origin.height_difference_m is not None and abs(origin.height_difference_m) >= 1.0:
        told += f", {amounts.length(abs(origin.height_difference_m), display)} apart in height"
    return told


def _newest(timeline: Timeline) -> str:
    if timeline.newest_observed is None:
        return GAPS[Gap.NO_OBSERVATIONS]
    age = (timeline.today - timeline.newest_observed).days
    ago = "yesterday" if age == 1 else f"{amounts.days(age)} ago"
    return f"Newest day observed: {amounts.day(timeline.newest_observed, timeline.today)}, {ago}"


def _marks(timeline: Timeline) -> str:
    """How many of the last days rest on something else than an observation of the air."""
    stop = timeline.today_index
    marks = timeline.air_mark[max(stop - LOOKED_BACK_DAYS, 0) : stop]
    named = ((Mark.FILLED, "filled from their neighbours"), (Mark.BRIDGED, "bridged from hours or forecasts"))
    counted = [(int(np.sum(marks == mark)), how) for mark, how in (*named, (Mark.UNKNOWN, amounts.NOT_KNOWN))]
    told = [f"{number} {how}" for number, how in counted if number]
    return f"Of the last {amounts.days(len(marks))}: {amounts.listing(told)}" if told else ""


def _forecast(timeline: Timeline, as_of: datetime) -> str:
    if timeline.forecast_origin is None or timeline.forecast_issued is None:
        return NO_FORECAST
    age = as_of - timeline.forecast_issued
    last = timeline.days.last
    reach = f", reaching to {amounts.day(last, timeline.today)}" if last >= timeline.today + DAY else ""
    return f"Forecast: {timeline.forecast_origin.name}, {_age(age)} old{reach}"


def _age(age: timedelta) -> str:
    hours = max(age.total_seconds() / 3600.0, 0.0)
    if hours >= 48.0:
        return amounts.days(hours / 24.0)
    told = amounts.plain(hours)
    if told == "0":
        return "less than an hour"
    return f"{told} hour" if told == "1" else f"{told} hours"


def _stop(line: str) -> str:
    return line if line.endswith((".", "!", "?")) else f"{line}."
