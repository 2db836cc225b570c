"""All that a morning thinks, as one pure function: no clock, no files, no network.

Nothing dated or received after `as_of` changes its answer: the record, the forecasts, the journal and the memory
are each cut to what was known then before anything else looks at them.
"""

import traceback
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from haulm.advice import Decision, Said
from haulm.alerts.outcome import frost_outcomes
from haulm.alerts.rules import RULES, SKY_RULES
from haulm.alerts.select import Judged, before, in_order, let_go, select, standing
from haulm.beds.conditions import conditions_of
from haulm.beds.forcing import PlaceMean
from haulm.beds.memo import Memo
from haulm.beds.rain import with_rain_chances
from haulm.beds.sky import sky_now
from haulm.condition import Condition, SkyNow
from haulm.garden import Garden, Journal, Planting
from haulm.settings.thresholds import Thresholds
from haulm.sources.bridge import timeline
from haulm.weather import Forecast, Record, Timeline


def decide(  # noqa: PLR0913  the ninth is no input: it cannot change the answer
    garden: Garden,
    thresholds: Thresholds,
    as_of: datetime,
    record: Record | None,
    forecasts: Sequence[Forecast],
    journal: Journal,
    memory: Iterable[Said],
    told: PlaceMean | None = None,
    *,
    memo: Memo | None = None,
) -> Decision:
    """What to say on the morning of `as_of`.

    Parameters
    ----------
    garden, thresholds
        From the settings.
    as_of
        An aware instant; its local day at the place is the morning's.
    record, forecasts
        All that is held; later or not yet received parts are left out here.
    journal, memory
        All entries and all episodes; later ones are left out here.
    told
        What the settings say of the place's mean year, for a short record.
    memo
        Lent by whoever runs many mornings in a row, so that each need not begin anew; it changes no answer.
    """
    today = garden.place.day_of(as_of)
    known = known_weather(garden, thresholds, as_of, record, forecasts)
    known = with_rain_chances(known, forecasts, garden.place, as_of)
    noted = journal.known(as_of, today)
    sky = sky_now(known, garden.place, thresholds, as_of, noted, forecasts, memo)
    remembered = before(memory, today)

    def beds_of(some: Garden, memo: Memo | None) -> tuple[tuple[Condition, ...], list[Judged]]:
        found = conditions_of(some, known, sky, noted, thresholds, told or PlaceMean(), memo)
        return found, _of_the_beds(found, thresholds, remembered)

    conditions, of_beds, faults = _apart(garden, beds_of, memo)
    alerts, after = select([*_of_the_sky(sky, thresholds, remembered), *of_beds], remembered, today)
    if not faults:  # what was said of a planting that could not be looked at still stands
        after = let_go(after, {condition.planting.key for condition in conditions}, today)
    outcomes, told_now = frost_outcomes(conditions, remembered, thresholds)
    after = tuple({(one.rule, one.bed, one.planting, one.episode): one for one in (*after, *told_now)}.values())
    return Decision(garden, as_of, today, known, conditions, in_order([*alerts, *outcomes]), after, faults=faults)


def _apart(
    garden: Garden,
    beds_of: Callable[[Garden, Memo | None], tuple[tuple[Condition, ...], list[Judged]]],
    memo: Memo | None,
) -> tuple[tuple[Condition, ...], list[Judged], tuple[str, ...]]:
    """All plantings together; where a fault of haulm's own stops that, each by itself, so that one spoils no other.

    This and the outermost of the command are the only two places that catch every kind of fault.
    """
    try:
        return *beds_of(garden, memo), ()
    except Exception:  # noqa: BLE001  which planting it was, and what, is found out one by one
        conditions: list[Condition] = []
        judged: list[Judged] = []
        faults: list[str] = []
    for planting in garden.plantings:
        try:
            found, of_it = beds_of(replace(garden, plantings=(planting,)), None)
        except Exception as fault:  # noqa: BLE001  told in the letter, and the others go on
            faults.append(_own_fault(garden, planting, fault))
        else:
            conditions += [replace(condition, garden=garden) for condition in found]
            judged += of_it
    return tuple(conditions), judged, tuple(faults)


def _own_fault(garden: Garden, planting: Planting, fault: Exception) -> str:
    """Which planting, and where in the program: enough to report it, and nothing that was in the data."""
    at = traceback.extract_tb(fault.__traceback__)[-1]
    where = f"{type(fault).__name__}, {Path(at.filename).name} line {at.lineno}"
    return (
        f"{planting.name} in {garden.bed(planting.bed).name} could not be worked out, by a fault of haulm's own "
        f"({where}): what this letter says nothing of may need doing there"
    )


def known_weather(
    garden: Garden, thresholds: Thresholds, as_of: datetime, record: Record | None, forecasts: Sequence[Forecast]
) -> Timeline:
    """The weather as it was known at an instant, gaps filled and forecasts taken as the thresholds have it."""
    return timeline(
        record,
        forecasts,
        as_of,
        garden.place.day_of(as_of),
        ZoneInfo(garden.place.zone),
        gap_fill_days=thresholds.data.gap_fill_days,
        forecast_max_age=timedelta(hours=thresholds.data.forecast_max_age_hours),
    )


def _of_the_sky(sky: SkyNow, thresholds: Thresholds, memory: tuple[Said, ...]) -> list[Judged]:
    judged = []
    for rule in SKY_RULES:
        answer = rule.judge(sky, thresholds, standing(memory, rule.key, "", ""))
        judged.append(Judged(rule.key, rule.speaks, "", "", None, in_stage=True, answer=answer))
    return judged


def _of_the_beds(conditions: Iterable[Condition], thresholds: Thresholds, memory: tuple[Said, ...]) -> list[Judged]:
    judged = []
    for condition in conditions:
        bed, planting, stage = condition.bed.key, condition.planting.key, condition.stage.stage
        for rule in RULES:
            in_stage = stage in rule.stages and not rule.put_off(condition, thresholds)
            open_said = standing(memory, rule.key, bed, planting)
            answer = rule.judge(condition, thresholds, open_said) if in_stage else None
            tells_end = in_stage and not rule.ends_unsaid
            judged.append(Judged(rule.key, rule.speaks, bed, planting, stage, tells_end, answer))
    return judged
