"""The numbers of the letter: what is known of each bed and of the coming week, in the reader's units."""

from collections.abc import Callable
from datetime import date, timedelta

import numpy as np

from haulm.advice import Decision, Row
from haulm.bed_water import WaterNow
from haulm.condition import Condition, DayRange
from haulm.garden import Season, Stage
from haulm.letter import amounts
from haulm.settings.thresholds import Thresholds
from haulm.units import Display
from haulm.weather import DAY, FloatArray, Timeline

Group = tuple[str, tuple[Row, ...]]
Teller = Callable[[Condition, Thresholds], str]

WEEK = 7
DRINKING = frozenset({Stage.PLANTED, Stage.EMERGED, Stage.DYING_BACK})  # the bed's water is of use to a crop
AIMED_AT = frozenset({Stage.EMERGED})  # seed wants no water, and tops that go down are not watered by the week
NEARLY_NOTHING_MM = 0.5  # judgement: less than the balance can tell from nothing
PLAIN_CHANCE = 0.02  # judgement: nearer to 0 or 1 than this, the temperature itself says it
NEARLY_FULL_SHARE = 0.1  # judgement: short by less than a tenth of RAW counts as full


def numbers(decision: Decision, thresholds: Thresholds) -> tuple[Group, ...]:
    """A group of rows for each planting, then one for the coming week of the place."""
    beds = [(_heading(one, decision), _bed_rows(one, thresholds)) for one in decision.conditions]
    place, timeline = decision.garden.place, decision.timeline
    week = _coming_week(timeline, place.display)
    ahead = [(f"{place.name}, the next {WEEK} days", week)] if week else []
    night = _last_night(timeline, place.display)
    behind = [(f"{place.name}, last night", night)] if night else []
    return tuple(beds + behind + ahead)


def seed_place(condition: Condition) -> str:
    """Where the seed lies, as it is said: under the straw, or so deep in the soil."""
    depth_m = condition.planting.depth_m
    if depth_m == 0.0:
        return "under the straw" if condition.straw_m > 0.0 else "at the surface"
    return f"{amounts.straw(depth_m, condition.garden.place.display)} deep"


def stage_in_words(condition: Condition) -> str:
    """How far a planting has come, noted or estimated."""
    now, today = condition.stage, condition.today
    if now.since is None:
        return now.stage.value if now.noted else "nothing noted yet"
    if now.noted:
        return f"{now.stage.value} since {amounts.day(now.since, today)}, as noted"
    if now.early == now.late:
        return f"{now.stage.value}, an estimate: since {amounts.day(now.since, today)}"
    return f"{now.stage.value}, an estimate: {amounts.expected_day(now.since, today, now.early, now.late)}"


def _heading(condition: Condition, decision: Decision) -> str:
    shared = sum(one.bed.key == condition.bed.key for one in decision.conditions) > 1
    return f"{condition.bed.name}, {condition.planting.name}" if shared else condition.bed.name


def _bed_rows(condition: Condition, thresholds: Thresholds) -> tuple[Row, ...]:
    tellers: tuple[tuple[str, Teller], ...] = (
        ("Stage", _stage),
        (f"Soil {seed_place(condition)}", _soil),
        ("Soil fit to plant", _ready),
        ("Shoots", _shoots),
        ("Tubers set", _forming),
        ("Ripe", _ripe),
        ("Skins set", _skins),
        ("Store", _store),
        ("Straw", _straw),
        (f"Water, last {WEEK} days", _week_water),
        (f"Water, next {WEEK} days", _week_ahead),
        ("Root zone", _root_zone),
    )
    told = ((what, tell(condition, thresholds)) for what, tell in tellers)
    return tuple(Row(what, value) for what, value in told if value)


def _stage(condition: Condition, _thresholds: Thresholds) -> str:
    return stage_in_words(condition)


def _soil(condition: Condition, _thresholds: Thresholds) -> str:
    if condition.stage.stage.order > Stage.SKINS_SETTING.order:
        return ""
    soil, display = condition.soil, condition.garden.place.display
    mean_c = soil.as_it_lies_c.at(condition.today - DAY)
    if not soil.known or np.isnan(mean_c):
        return f"{amounts.NOT_KNOWN}, for too much of the weather behind it is missing"
    before_c = soil.as_it_lies_c.at(condition.today - timedelta(days=WEEK + 1))
    trend = "" if np.isnan(before_c) else f"; {amounts.change(mean_c - before_c, display)} than a week before"
    told = amounts.expected_temperature(mean_c, display, soil.spread_c.at(condition.today - DAY))
    return f"{told} (yesterday's mean){trend}"


def _ready(condition: Condition, thresholds: Thresholds) -> str:
    """When the soil is fit: as the bed lies, and where straw on it makes a difference, raked bare as well."""
    soil, today = condition.soil, condition.today
    if soil.ready is None or not soil.known or condition.stage.stage.order > Stage.CHITTING.order:
        return ""
    warm = f"{'warm' if condition.planting.season is Season.SPRING else 'cool'} enough"
    odds = fit_odds(condition, thresholds, today - DAY) if soil.ready.likely else ""
    lies = _fit(soil.ready, condition, f"{warm} as it is")
    told = f"{lies}; that yesterday had {odds}" if odds else lies
    raked = soil.ready_if_raked
    if raked is None or raked.likely == soil.ready.likely:
        return told
    return f"raked bare, {_fit(raked, condition, f'{warm} now')}; under its straw, {told}"


def _fit(ready: DayRange, condition: Condition, now: str) -> str:
    """The day that soil is fit; `now` where that is not to come: rain, the days ahead and the window count besides."""
    if ready.likely is None:
        return f"no likely day up to {amounts.day(condition.soil.as_it_lies_c.last, condition.today)}"
    if ready.likely <= condition.today:
        return now
    return f"{amounts.expected_day(ready.likely, condition.today, ready.early, ready.late)}{_rests_on(ready)}"


def fit_odds(condition: Condition, thresholds: Thresholds, day: date) -> str:
    """How likely a day's mean is right for planting: "10 °C or more is possible, 3 in 10 (30 %)"; empty if plain."""
    chance = condition.soil.fit_chance.at(day) if condition.soil.fit_chance else float("nan")
    if not PLAIN_CHANCE < chance < 1.0 - PLAIN_CHANCE:
        return ""
    limits, spring = thresholds.planting, condition.planting.season is Season.SPRING
    limit_c = limits.soil_ready_spring_c if spring else limits.soil_ready_autumn_c
    limit = amounts.temperature(limit_c, condition.garden.place.display)
    return f"{limit} or {'more' if spring else 'less'} is {amounts.chance(chance)}"


def _rests_on(expected: DayRange) -> str:
    if not expected.years:
        return ""
    came = round(expected.share * expected.years)
    seldom = f"; in {came} of them it came at all" if came < expected.years else ""
    return f" (from {amounts.years(expected.years)} of weather here{seldom})"


def _shoots(condition: Condition, _thresholds: Thresholds) -> str:
    shoots, stage, today = condition.crop.shoots, condition.stage.stage, condition.today
    if shoots is None or stage not in {Stage.PLANTED, Stage.EMERGED}:
        return ""
    if stage is Stage.PLANTED:
        if shoots.early is None and shoots.late is None:
            return ""
        return f"due {amounts.expected_day(shoots.likely, today, shoots.early, shoots.late)}"
    height_m = condition.crop.shoot_height_m
    if np.isnan(height_m):
        return ""
    return f"about {amounts.straw(height_m, condition.garden.place.display)} above the straw, an estimate"


def _forming(condition: Condition, _thresholds: Thresholds) -> str:
    forming, today = condition.crop.forming, condition.today
    if forming is None or condition.stage.stage is not Stage.EMERGED or today > forming.last:
        return ""
    return f"{amounts.day_span(forming.first, forming.last, today)}, an estimate"


def _ripe(condition: Condition, _thresholds: Thresholds) -> str:
    ripe, today = condition.crop.ripe, condition.today
    if ripe is None or condition.stage.stage is not Stage.EMERGED or ripe.likely is None or ripe.likely <= today:
        return ""
    when = amounts.expected_day(ripe.likely, today, ripe.early, ripe.late)
    return f"{when}, by the warmth that {condition.planting.maturity} kinds need"


def _skins(condition: Condition, _thresholds: Thresholds) -> str:
    skins = condition.crop.skins_ready
    if skins is None or condition.stage.stage is not Stage.SKINS_SETTING or skins.likely is None:
        return ""
    return amounts.expected_day(skins.likely, condition.today, skins.early, skins.late)


def _store(condition: Condition, _thresholds: Thresholds) -> str:
    store, display, today = condition.store, condition.garden.place.display, condition.today
    if store is None:
        return ""
    if not store.known or np.isnan(store.room_c.at(today)):
        return amounts.NOT_KNOWN
    count = amounts.count(store.readings, "reading", "readings")
    source = f"the outdoor air and {count}" if store.readings else "the outdoor air alone"
    told = amounts.expected_temperature(store.room_c.at(today), display, store.spread_c.at(today))
    told += f" today, by {source}"
    for day, read_c in store.questioned_c[-1:]:
        wild = f"{amounts.temperature(read_c, display)} read on {amounts.day(day, today)}"
        told += f"; {wild} is far from all else and not used"
    return told


def _straw(condition: Condition, _thresholds: Thresholds) -> str:
    if condition.stage.stage.order > Stage.SKINS_SETTING.order or np.isnan(condition.straw_m):
        return ""
    if condition.straw_m == 0.0:
        return "none"
    laid = f", last laid {amounts.day(condition.last_straw, condition.today)}" if condition.last_straw else ""
    return f"{amounts.straw(condition.straw_m, condition.garden.place.display)}{laid}"


def _week_water(condition: Condition, thresholds: Thresholds) -> str:
    week, display = condition.water, condition.garden.place.display
    if week is None or condition.stage.stage.order > Stage.SKINS_SETTING.order:
        return ""
    had = amounts.water(week.week_effective_mm + week.week_watered_mm, display)
    target = amounts.water(thresholds.water.weekly_target_mm, display)
    rain = f"{amounts.water(week.week_rain_mm, display)} of rain fell"
    if abs(week.week_rain_mm - week.week_effective_mm) > NEARLY_NOTHING_MM:
        rain += f", {amounts.water(week.week_effective_mm, display)} of it passed the straw"
    told = f"{rain}, {amounts.water(week.week_watered_mm, display)} watered"
    if condition.stage.stage in AIMED_AT:
        told = f"{had}, {target} aimed at: {told}"
    missing = week.week_unknown_days
    return f"{told}; the rain of {amounts.days(missing)} is {amounts.NOT_KNOWN}" if missing else told


def _week_ahead(condition: Condition, _thresholds: Thresholds) -> str:
    """What the weekly target stands beside, each day."""
    water = condition.water
    if water is None or np.isnan(water.outlook_need_mm) or condition.stage.stage not in AIMED_AT:
        return ""
    need = amounts.water(water.outlook_need_mm, condition.garden.place.display)
    return f"the plants and the soil are expected to use {need}"


def _root_zone(condition: Condition, _thresholds: Thresholds) -> str:
    water = condition.water
    if water is None or condition.stage.stage.order > Stage.SKINS_SETTING.order:
        return ""
    low_mm, high_mm = sorted((water.depletion_low_mm, water.depletion_high_mm))
    if np.isnan(low_mm) or np.isnan(high_mm):
        return amounts.NOT_KNOWN
    drained = f"water has drained away below it for {amounts.days(water.drained_days)}" if water.drained_days else ""
    if drained and low_mm < NEARLY_NOTHING_MM:
        return f"more than full, {drained}"
    told = _short_of_full(condition, water, low_mm, high_mm)
    return f"{told}; {drained}" if drained else told


def _short_of_full(condition: Condition, water: WaterNow, low_mm: float, high_mm: float) -> str:
    display = condition.garden.place.display
    if high_mm <= NEARLY_FULL_SHARE * water.ready_mm:
        return "full" if high_mm < NEARLY_NOTHING_MM else f"full, to within {amounts.water(high_mm, display)}"
    short, ready = amounts.waters(low_mm, high_mm, display), amounts.water(water.ready_mm, display)
    told = f"{_how_moist(water, low_mm, high_mm)}, {short} short of full"
    return f"{told}; plants feel it from {ready}" if condition.stage.stage in DRINKING else told


def _how_moist(water: WaterNow, low_mm: float, high_mm: float) -> str:
    if high_mm <= water.ready_mm:
        return "moist"
    return "dry" if low_mm > water.ready_mm else "moist or dry, as the unknown rain may have been"


def _coming_week(timeline: Timeline, display: Display) -> tuple[Row, ...]:
    week = timeline.days.cut(timeline.today, timeline.today + timedelta(days=WEEK - 1))
    lowest, highest, rain_mm = week.air_min_c, week.air_max_c, week.rain_mm
    rows = []
    if not np.isnan(lowest).all():
        rows.append(Row("Nights", f"lows {_range(lowest, display)}{_reach(lowest)}"))
    if not np.isnan(highest).all():
        rows.append(Row("Days", f"highs {_range(highest, display)}{_reach(highest)}"))
    if not np.isnan(rain_mm).all():
        rows.append(Row("Rain", f"{_rain(rain_mm, timeline, display)}{_reach(rain_mm)}"))
    return tuple(rows)


def _last_night(timeline: Timeline, display: Display) -> tuple[Row, ...]:
    night = timeline.last_night
    if night is None:
        return ()
    lowest = amounts.temperature(night.lowest_c, display)
    return (
        Row("Lowest", f"{lowest} at the station, by the {amounts.count(night.known_hours, 'hour', 'hours')} known"),
    )


def _range(values_c: FloatArray, display: Display) -> str:
    return amounts.temperatures(float(np.nanmin(values_c)), float(np.nanmax(values_c)), display)


def _rain(rain_mm: FloatArray, timeline: Timeline, display: Display) -> str:
    total_mm, most_mm = float(np.nansum(rain_mm)), float(np.nanmax(rain_mm))
    if total_mm < NEARLY_NOTHING_MM:
        return "none to speak of"
    wettest = timeline.today + timedelta(days=int(np.nanargmax(rain_mm)))
    if total_mm - most_mm < NEARLY_NOTHING_MM:
        return f"{amounts.water(total_mm, display)}, all on {amounts.day(wettest, timeline.today)}"
    most = f"most on {amounts.day(wettest, timeline.today)}, {amounts.water(most_mm, display)}"
    return f"{amounts.water(total_mm, display)} altogether, {most}"


def _reach(values: FloatArray) -> str:
    known = int(np.isfinite(values).sum())
    return "" if known == len(values) else f" (only {known} of {len(values)} days are forecast)"
