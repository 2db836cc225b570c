"""The letter for programs: the one form behind every ``--json``."""

import math
from collections.abc import Mapping
from dataclasses import asdict
from datetime import date, datetime

import numpy as np

from haulm.advice import Alert, Decision, Fact, Facts, Item, Letter
from haulm.condition import Condition
from haulm.letter.offers import offers
from haulm.weather import DAY

VERSION = 1

Json = Mapping[str, "Json"] | list["Json"] | str | float | int | bool | None


def as_json(letter: Letter, decision: Decision) -> dict[str, Json]:
    """The letter, and what it was written from, as values that `json.dumps` takes.

    What is worded stands in the reader's units, what is raw in house units, which the names carry
    (``soil_c``, ``rain_mm``, ``straw_m``, ``chance`` 0 to 1). What is not known is null. Days are ISO dates, instants
    ISO with their offset. The order is always the same. The form::

        version     1; raised when a name changes its meaning or goes
        garden      key of the garden
        kind        "morning" or "evening"
        day         local day of the letter
        written     instant
        subject     text
        greeting    text
        parts       [{title, items: [{rule, bed, planting, sentence, reasons, caution, first_on, fresh}]}]
        alerts      [{rule, bed, planting, stage, section, verdict, urgency, level, chance, first_on, episode, fresh,
                    ended, unknown, facts: {name: value}}], bed and planting by key
        beds        [{bed, planting, stage, stage_since, stage_noted, soil_c, soil_spread_c, soil_known, straw_m,
                    week_rain_mm, week_effective_mm, week_watered_mm, week_unknown_days, depletion_low_mm,
                    depletion_high_mm, ready_mm, total_mm, store_c, store_spread_c}], bed and planting by key; soil of
                    yesterday, store of today
        numbers     [{heading, rows: [{what, value}]}]
        basis       [text]
        heard       [text], what answers by mail were understood to say
        offers      [{label, bed, bed_name, phrase, asked}], answers that the stages make likely, or, with the
                    sentence that was asked back, what it may have meant; bed by key
        weather     {station, newest_observed, forecast, forecast_issued, gaps: [name]}

    Of a letter that was let go after its time (``"let_go": true``) the names down to ``subject`` are left, in ``parts``
    the items that were fresh (bed, planting, sentence, fresh), and the ``alerts`` of frost.
    """
    return {
        "version": VERSION,
        "garden": letter.garden,
        "kind": letter.kind,
        "day": letter.day.isoformat(),
        "written": letter.written.isoformat(),
        "subject": letter.subject,
        "greeting": letter.greeting,
        "parts": [{"title": part.title, "items": [_item(item) for item in part.items]} for part in letter.parts],
        "alerts": [_alert(alert) for alert in decision.alerts],
        "beds": [_bed(condition) for condition in decision.conditions],
        "numbers": [
            {"heading": heading, "rows": [{"what": row.what, "value": row.value} for row in rows]}
            for heading, rows in letter.numbers
        ],
        "basis": list(letter.basis),
        "heard": list(letter.heard),
        "offers": [asdict(offer) for offer in offers(decision)],
        "weather": _weather(decision),
    }


def _item(item: Item) -> Json:
    return {
        "rule": item.rule,
        "bed": item.bed,
        "planting": item.planting,
        "sentence": item.sentence,
        "reasons": item.reasons,
        "caution": item.caution,
        "first_on": item.first_on.isoformat(),
        "fresh": item.fresh,
    }


def _alert(alert: Alert) -> Json:
    return {
        "rule": alert.rule,
        "bed": alert.bed,
        "planting": alert.planting,
        "stage": alert.stage.value if alert.stage else None,
        "section": alert.section.value,
        "verdict": alert.verdict,
        "urgency": alert.urgency,
        "level": alert.level,
        "chance": _plain(alert.chance),
        "first_on": alert.first_on.isoformat(),
        "episode": alert.episode,
        "fresh": alert.fresh,
        "ended": alert.ended,
        "unknown": alert.unknown,
        "facts": _facts(alert.facts),
    }


def _facts(facts: Facts) -> Json:
    return {name: _plain(facts[name]) for name in sorted(facts)}


def _bed(condition: Condition) -> Json:
    soil, water, yesterday = condition.soil, condition.water, condition.today - DAY
    store = condition.store if condition.store is not None and condition.store.known else None
    return {
        "bed": condition.bed.key,
        "planting": condition.planting.key,
        "stage": condition.stage.stage.value,
        "stage_since": _plain(condition.stage.since),
        "stage_noted": condition.stage.noted,
        "soil_c": _plain(soil.as_it_lies_c.at(yesterday)),
        "soil_spread_c": _plain(soil.spread_c.at(yesterday)),
        "soil_known": soil.known,
        "straw_m": _plain(condition.straw_m),
        "week_rain_mm": _plain(water.week_rain_mm) if water else None,
        "week_effective_mm": _plain(water.week_effective_mm) if water else None,
        "week_watered_mm": _plain(water.week_watered_mm) if water else None,
        "week_unknown_days": water.week_unknown_days if water else None,
        "depletion_low_mm": _plain(water.depletion_low_mm) if water else None,
        "depletion_high_mm": _plain(water.depletion_high_mm) if water else None,
        "ready_mm": _plain(water.ready_mm) if water else None,
        "total_mm": _plain(water.total_mm) if water else None,
        "store_c": _plain(store.room_c.at(condition.today)) if store else None,
        "store_spread_c": _plain(store.spread_c.at(condition.today)) if store else None,
    }


def _weather(decision: Decision) -> Json:
    timeline = decision.timeline
    return {
        "station": timeline.origin.name,
        "newest_observed": _plain(timeline.newest_observed),
        "forecast": timeline.forecast_origin.name if timeline.forecast_origin else None,
        "forecast_issued": _plain(timeline.forecast_issued),
        "gaps": [gap.value for gap in timeline.gaps],
    }


def _plain(value: Fact | datetime) -> Json:
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, tuple):
        return [_plain(one) for one in value]
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, float):
        return None if math.isnan(value) or math.isinf(value) else float(value)
    return value
