"""A simulated grower, for seasons that nobody noted: does in the evening what the morning's letter asked for.

What the plants do falls on the likely day of the estimate; covers are laid and hold, so no frost sets the crop back.
Nothing of it is a record of anything: what comes of it shows how the advice adds up, not how a crop would have grown.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from haulm.advice import Alert, Decision, Fact
from haulm.condition import Condition
from haulm.garden import Cause, Entry, Stage, What
from haulm.settings.thresholds import Thresholds

EVENING = time(18)
ORIGIN = "simulated"
# Judgement, where no letter says the day.
TOPS_DIE_IN = timedelta(days=14)
CURED_IN = timedelta(days=12)
EATEN_IN = timedelta(days=60)
LIFTED_AT_LAST = timedelta(days=21)

Deed = tuple[What, float | None, Cause | None]


def evening_of(decision: Decision, thresholds: Thresholds) -> tuple[Entry, ...]:
    """What the simulated grower notes on the evening of a morning's letter."""
    noted: list[Entry] = []
    for condition in decision.conditions:
        for what, value, cause in _deeds(condition, decision, thresholds):
            noted.append(_entry(condition, what, value, cause, decision.today))
    return tuple(noted)


def _deeds(condition: Condition, decision: Decision, thresholds: Thresholds) -> Iterator[Deed]:
    asked = {
        alert.rule: alert
        for alert in decision.alerts
        if alert.planting == condition.planting.key and not alert.ended and not alert.unknown
    }
    stage = condition.stage.stage
    if stage.order <= Stage.CHITTING.order:
        yield from _the_seed(condition, asked)
        if _bed_is_free(condition, decision):
            yield from _the_bed(condition, asked, thresholds.planting.straw_at_planting_m)
    elif stage.order <= Stage.EMERGED.order:
        yield from _growing(condition, asked)
    yield from _ripening(condition, asked)
    if _says(asked, "water", "water"):
        yield What.WATERED, _number(asked["water"].facts["turn_mm"]), None


def _the_seed(condition: Condition, asked: dict[str, Alert]) -> Iterator[Deed]:
    if condition.stage.since is None and _says(asked, "buy-seed", "buy"):
        yield What.SEED_BOUGHT, None, None
    if condition.stage.stage is Stage.SEED and _says(asked, "start-chitting", "chit"):
        yield What.CHITTING_BEGUN, None, None


def _the_bed(condition: Condition, asked: dict[str, Alert], new_straw_m: float) -> Iterator[Deed]:
    if _says(asked, "planting-time", "plant", "plant-with-care"):
        yield What.PLANTED, None, None
        yield What.STRAW_LAID, new_straw_m, None
    elif _says(asked, "old-straw", "rake-off") and condition.straw_m > 0.0:
        yield What.STRAW_RAKED, 0.0, None
    elif _says(asked, "old-straw", "lay-on") and condition.straw_m < new_straw_m:
        yield What.STRAW_LAID, new_straw_m, None


def _bed_is_free(condition: Condition, decision: Decision) -> bool:
    in_earth = (Stage.PLANTED, Stage.EMERGED, Stage.DYING_BACK, Stage.SKINS_SETTING)
    return not any(
        other.bed.key == condition.bed.key and other.stage.stage in in_earth for other in decision.conditions
    )


def _growing(condition: Condition, asked: dict[str, Alert]) -> Iterator[Deed]:
    shoots, noted = condition.crop.shoots, condition.stage.noted and condition.stage.stage is Stage.EMERGED
    likely = shoots.likely if shoots is not None and not noted else None
    if likely is not None and likely <= condition.today:
        yield What.SHOOTS_OUT, None, None
    straw = asked.get("second-straw")
    if straw is not None and straw.fresh:
        yield What.STRAW_LAID, _number(straw.facts["wanted_m"]), None


def _ripening(condition: Condition, asked: dict[str, Alert]) -> Iterator[Deed]:
    stage, since, today = condition.stage.stage, condition.stage.since, condition.today
    ripe, skins = condition.crop.ripe, condition.crop.skins_ready
    if stage is Stage.EMERGED and ripe is not None and ripe.likely is not None and ripe.likely <= today:
        yield What.DYING_BACK, None, Cause.AGE
    if stage is Stage.DYING_BACK:
        if _says(asked, "cut-tops", "now"):
            yield What.TOPS_CUT, None, None
        elif _past(since, TOPS_DIE_IN, today):
            yield What.TOPS_DEAD, None, None
    if stage is Stage.SKINS_SETTING:
        at_last = skins is not None and _past(skins.late, LIFTED_AT_LAST, today)
        if _says(asked, "lift-days", "today") or at_last:
            yield What.LIFTED, None, None
    if stage is Stage.LIFTED and (_says(asked, "cure", "store") or _past(since, CURED_IN, today)):
        yield What.INTO_STORE, None, None
    if stage is Stage.STORED and _past(since, EATEN_IN, today):
        yield What.FINISHED, None, None


def _past(since: date | None, wait: timedelta, today: date) -> bool:
    return since is not None and today >= since + wait


def _says(asked: dict[str, Alert], rule: str, *verdicts: str) -> bool:
    return rule in asked and asked[rule].verdict in verdicts


def _number(fact: Fact) -> float:
    return float(fact) if isinstance(fact, (int, float)) else 0.0


def _entry(condition: Condition, what: What, value: float | None, cause: Cause | None, today: date) -> Entry:
    instant = datetime.combine(today, EVENING, ZoneInfo(condition.garden.place.zone)).astimezone(UTC)
    of_bed = what in {What.STRAW_LAID, What.STRAW_RAKED, What.WATERED}
    planting = "" if of_bed else condition.planting.key
    key = f"{ORIGIN} {today} {condition.planting.key} {what}"
    return Entry(key, instant, today, condition.bed.key, planting, what, "", value, cause, ORIGIN)
