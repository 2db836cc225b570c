"""Many gardens of one place worked out together: each is told what it would be told alone, and spoils no other."""

from dataclasses import replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from haulm.beds.in_step import finished
from haulm.garden import Entry, Journal, Straw, What
from haulm.jobs import demo
from haulm.jobs.decide import Asking, decide, decide_all
from haulm.jobs.letter_forms import write_out
from haulm.settings.thresholds import Thresholds
from haulm.sources.invented import invented_forecasts, invented_record
from haulm.weather import DAY

TODAY = date(2027, 5, 4)
AS_OF = datetime.combine(TODAY, time(6, 30), ZoneInfo("Europe/London"))
SCENE = demo.scenes(TODAY.year)[0]
CROP = SCENE.garden.plantings[0]


def decided(*asked):
    """What `decide_all` comes to, alone."""
    return finished(decide_all(*asked))


@pytest.fixture(scope="module")
def record():
    return invented_record("brackenford", date(2024, 1, 1), date(2027, 6, 10), demo.SEED)


@pytest.fixture(scope="module")
def forecasts(record):
    mornings = [TODAY + timedelta(days=k) for k in range(-6, 1)]
    return invented_forecasts("brackenford", record.days, mornings, demo.SEED)


def noted(what, days_ago, value=None):
    day = TODAY - days_ago * DAY
    bed, crop = "gatebed", "gate-early" if what in {What.PLANTED, What.SHOOTS_OUT, What.FINISHED} else ""
    instant = datetime.combine(day, time(18), ZoneInfo("UTC"))
    return Entry(f"{what}-{days_ago}", instant, day, bed, crop, what, value=value)


def asking(key, notes=(), depth_m=None, straw_m=None, limits=None):
    (bed,), (crop,) = SCENE.garden.beds, SCENE.garden.plantings
    if straw_m is not None:
        bed = replace(bed, straw=(Straw(TODAY - 200 * DAY, straw_m),) if straw_m else ())
    if depth_m is not None:
        crop = replace(crop, depth_m=depth_m, window_last=crop.window_last + 20 * DAY)
    garden = replace(SCENE.garden, key=key, beds=(bed,), plantings=(crop,))
    thresholds = Thresholds.model_validate(limits or {})
    return Asking(garden, thresholds, Journal(tuple(noted(*note) for note in notes)), ())


UNDER_WAY = ((What.PLANTED, 40), (What.SHOOTS_OUT, 9))
OFFICE = [
    Asking(SCENE.garden, Thresholds(), demo.journal_of(SCENE, TODAY.year), ()),
    asking("waits"),
    asking("waits-bare", straw_m=0.0, depth_m=0.1),
    asking("planted", [(What.PLANTED, 30)], straw_m=0.15),
    asking("long-ago", [(What.PLANTED, 150)], depth_m=0.05),
    asking("reads", [*UNDER_WAY, (What.SOIL_READ, 3, 11.0), (What.NIGHT_READ, 2, -2.0), (What.RAIN_READ, 2, 9.0)]),
    asking("waters", [*UNDER_WAY, (What.WATERED, 5, 20.0), (What.STRAW_LAID, 4, 0.2)]),
    asking("limits", limits={"planting": {"soil_ready_spring": "12 C"}, "straw": {"holds_most": "3 mm"}}),
    asking("done", [*UNDER_WAY, (What.FINISHED, 1)]),
]


def letters(decisions):
    return [write_out(one, Thresholds(), "x.png", with_picture=False) for one in decisions]


def test_each_is_told_what_it_would_be_told_alone(record, forecasts):
    """To the byte, in text, HTML and JSON, whichever others stand beside it and in whatever order."""
    alone = letters(
        decide(one.garden, one.thresholds, AS_OF, record, forecasts, one.journal, one.memory) for one in OFFICE
    )
    assert letters(decided(OFFICE, AS_OF, record, forecasts)) == alone
    assert letters(decided(OFFICE[::-1], AS_OF, record, forecasts)) == alone[::-1]
    assert len({letter.text for letter in alone}) > len(OFFICE) // 2


def test_without_weather_too(record):
    alone = letters(decide(one.garden, one.thresholds, AS_OF, None, (), one.journal, ()) for one in OFFICE)
    assert letters(decided(OFFICE, AS_OF, None, ())) == alone


@pytest.mark.parametrize(
    "spoilt",
    [
        # A texture that no settings file lets through: the soils of all beds fail together.
        lambda one: replace(one, garden=replace(one.garden, beds=(replace(one.garden.beds[0], texture="cheese"),))),
        # A class of ripening that is none: only this garden's own part trips over it.
        lambda one: replace(one, garden=replace(one.garden, plantings=(replace(CROP, maturity="nonsense"),))),
    ],
    ids=["in the soils", "in its own part"],
)
def test_one_that_cannot_be_worked_out_spoils_no_other(record, forecasts, spoilt):
    whole = letters(decided(OFFICE, AS_OF, record, forecasts))
    found = decided([*OFFICE, spoilt(asking("spoilt"))], AS_OF, record, forecasts)
    assert letters(found[:-1]) == whole
    assert found[-1].faults
    assert not found[-1].conditions


def test_gardens_of_two_places_are_refused(record, forecasts):
    elsewhere = replace(OFFICE[1], garden=replace(SCENE.garden, place=replace(SCENE.garden.place, latitude_deg=50.0)))
    with pytest.raises(ValueError, match="one place"):
        decided([OFFICE[1], elsewhere], AS_OF, record, forecasts)
