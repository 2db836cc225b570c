"""All that a morning thinks, as one pure function: no clock, no files, no network.

Nothing dated or received after `as_of` changes its answer: the record, the forecasts, the journal and the memory
are each cut to what was known then before anything else looks at them.
"""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
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
from haulm.garden import Garden, Journal
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
    conditions = conditions_of(garden, known, sky, noted, thresholds, told or PlaceMean(), memo)
    remembered = before(memory, today)
    judged = [*_of_the_sky(sky, thresholds, remembered), *_of_the_beds(conditions, thresholds, remembered)]
    alerts, after = select(judged, remembered, today)
    after = let_go(after, {condition.planting.key for condition in conditions}, today)
    outcomes, told_now = frost_outcomes(conditions, remembered, thresholds)
    after = tuple({(one.rule, one.bed, one.planting, one.episode): one for one in (*after, *told_now)}.values())
    return Decision(garden, as_of, today, known, conditions, in_order([*alerts, *outcomes]), after)


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
