"""From no seed to the shoots, with a grower who does what the letter says: every word in its order, and once.

The garden, its weather and its forecasts are invented; what is held is the order of a season, not any day in it.
"""

from datetime import UTC, date, datetime, time
from zoneinfo import ZoneInfo

import pytest

from haulm.garden import Entry, Garden, Journal, Stage, What
from haulm.jobs.decide import decide
from haulm.jobs.demo import SEED, scenes
from haulm.settings.thresholds import Thresholds
from haulm.sources.invented import invented_forecasts, invented_record
from haulm.weather import DAY

STEP = 2 * DAY  # every other morning is enough to meet every word
FIRST, LAST = date(2027, 1, 2), date(2027, 6, 20)
# What the letter asks, and what the grower notes for it that evening.
DOES = {
    ("buy-seed", "buy"): (What.SEED_BOUGHT, None),
    ("start-chitting", "chit"): (What.CHITTING_BEGUN, None),
    ("old-straw", "rake-off"): (What.STRAW_RAKED, 0.0),
    ("cut-seed", "cut"): (What.SEED_CUT, None),
    ("planting-time", "plant"): (What.PLANTED, None),
}


def do(entries, garden, day, what, value):
    planting = "" if what in {What.STRAW_RAKED, What.STRAW_LAID} else garden.plantings[0].key
    at = datetime.combine(day, time(18), ZoneInfo(garden.place.zone)).astimezone(UTC)
    entries.append(Entry(f"{len(entries)}", at, day, garden.beds[0].key, planting, what, "", value))


def mornings(garden):
    """Each morning's day, its stage, and the news in its letter."""
    record = invented_record(garden.key, date(2017, 1, 1), LAST + 20 * DAY, SEED)
    days = [FIRST + n * STEP for n in range((LAST - FIRST) // STEP)]
    forecasts = invented_forecasts(garden.key, record.days, days, SEED)
    entries, memory = [], ()
    for day, forecast in zip(days, forecasts, strict=True):
        as_of = datetime.combine(day, time(6, 30), ZoneInfo(garden.place.zone))
        made = decide(garden, Thresholds(), as_of, record, [forecast], Journal(tuple(entries)), memory)
        memory = made.memory
        news = [(alert.rule, alert.verdict) for alert in made.alerts if alert.fresh and not alert.ended]
        yield day, made.conditions[0].stage.stage if made.conditions else None, news
        for one in news:
            if one in DOES:
                do(entries, garden, day, *DOES[one])


@pytest.fixture(scope="module")
def season():
    scene = scenes(2027)[0]  # Brackenford: one long season, last year's straw still on the bed
    garden = Garden(scene.garden.key, scene.garden.place, scene.garden.beds, scene.garden.plantings)
    return list(mornings(garden))


def said(season, rule, verdict):
    return [(day, stage) for day, stage, news in season if (rule, verdict) in news]


def test_every_word_comes_in_its_order_and_stage(season):
    order = [
        ("buy-seed", "buy", Stage.SEED),
        ("start-chitting", "chit", Stage.SEED),
        ("planting-time", "wait", Stage.CHITTING),
        ("planting-time", "plant", Stage.CHITTING),
        ("shoots-due", "due", Stage.PLANTED),
    ]
    met = [said(season, rule, verdict) for rule, verdict, _ in order]
    assert all(met), met
    assert [stage for (_, stage), *_ in met] == [stage for *_, stage in order]
    days = [day for (day, _), *_ in met]
    assert days == sorted(days)


def test_what_was_done_is_not_asked_for_again(season):
    for rule, verdict in DOES:
        assert len(said(season, rule, verdict)) <= 1, (rule, verdict)
    for rule in ("look-for-slugs", "look-for-beetles"):
        assert len(said(season, rule, "look")) <= 1


def test_old_straw_is_raked_between_the_seed_and_the_planting(season):
    ((raked, _),) = said(season, "old-straw", "rake-off")
    ((bought, _),) = said(season, "buy-seed", "buy")
    ((planted, _),) = said(season, "planting-time", "plant")
    assert bought < raked < planted
    assert 7 <= (planted - raked).days <= 42  # asked for four weeks before the likely day


def test_seed_is_chitted_two_to_eight_weeks_before_it_is_planted(season):
    ((begun, _),) = said(season, "start-chitting", "chit")
    ((planted, _),) = said(season, "planting-time", "plant")
    assert 14 <= (planted - begun).days <= 56  # asked for 28 days ahead; a cold spring makes it longer
