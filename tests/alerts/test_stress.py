"""Heat and soaking: both sides of every threshold.

That nights above 15 °C put off tubers is read on the FAO crop page, that soil of 82 °F (27.8 °C) makes heat sprouts at
the University of Delaware, that more than a day under water does damage in Sharma & Upadhayay 2004 (abstract).
The exact limits are common practice and judgement.
"""

from dataclasses import replace

import numpy as np
import pytest

from haulm.advice import NotKnown, Said, Section
from haulm.alerts.stress import heat, soaking
from haulm.condition import DaySpan
from haulm.garden import Stage
from haulm.weather import DAY, unknown_days

NAN = float("nan")


def said_of(rule, verdict, first_on, level=0):
    return Said(rule, "gatebed", "gate-early", first_on.isoformat(), verdict, level, first_on, first_on)


def verdict_of(found):
    return found.verdict if found is not None else None


# --- heat


def in_nights(a, today, past=(15.0, 15.0), ahead=(15.0, 15.0, 15.0, 15.0), soil=None, **changes):
    """Minima of the last mornings before today, and of today and after."""
    recent = unknown_days(today - len(past) * DAY, len(past), air_min_c=np.array(past, dtype=float))
    outlook = unknown_days(today, len(ahead), air_min_c=np.array(ahead, dtype=float))
    return a.condition(sky=a.sky(outlook=outlook, recent=recent), soil=soil or a.soil((18.0,) * 5), **changes)


@pytest.mark.parametrize(
    ("past", "ahead", "speaks"),
    [
        ((20.0, 20.0), (20.0, 15.0, 15.0, 15.0), True),
        ((20.0, 19.9), (20.0, 15.0, 15.0, 15.0), False),
        ((15.0, 15.0), (15.0, 20.0, 20.0, 20.0), True),
        ((15.0, 15.0), (20.0, 20.0, 19.9, 20.0), False),
        ((15.0, 20.0), (20.0, 20.0, 15.0, 15.0), True),
        ((NAN, 20.0), (20.0, NAN, 20.0, 20.0), False),
    ],
)
def test_three_warm_nights_running_are_a_spell(a, thresholds, today, past, ahead, speaks):
    found = heat(in_nights(a, today, past, ahead), thresholds, None)
    assert verdict_of(found) == ("warm-spell" if speaks else None)
    assert found is None or found.section is Section.KEEP_AN_EYE


@pytest.mark.parametrize(("night_c", "speaks"), [(18.0, True), (17.9, False)])
def test_a_spell_ends_with_nights_below_eighteen(a, thresholds, today, night_c, speaks):
    said = said_of("heat", "warm-spell", today - DAY)
    found = heat(in_nights(a, today, (night_c,) * 2, (night_c,) * 4), thresholds, said)
    assert (found is not None) is speaks


@pytest.mark.parametrize(
    ("soil_c", "standing", "verdict"),
    [
        ((22.0,) * 3, False, "warm-spell"),
        ((22.0, 21.9, 22.0), False, None),
        ((21.0, 20.0, 20.0), True, "warm-spell"),
        ((20.9,) * 3, True, None),
        ((27.0,) * 5, False, "hot"),
        ((27.0, 27.0, 26.9, 27.0, 27.0), False, "warm-spell"),
    ],
)
def test_warm_and_hot_soil(a, thresholds, today, soil_c, standing, verdict):
    said = said_of("heat", "warm-spell", today - DAY) if standing else None
    assert verdict_of(heat(in_nights(a, today, soil=a.soil(soil_c)), thresholds, said)) == verdict


def test_yesterday_s_soil_the_coldest_day_and_the_nights_about_are_told(a, thresholds, today):
    condition = in_nights(a, today, (20.0, 22.0), (21.0, 23.0, NAN, 20.5), soil=a.soil((28.0, 27.0, 29.0, 27.5, 30.0)))
    found = heat(condition, thresholds, None)
    assert (found.verdict, found.facts["soil_c"], found.facts["coldest_soil_c"]) == ("hot", 30.0, 27.0)
    assert (found.facts["night_low_c"], found.facts["night_high_c"]) == (20.0, 23.0)


@pytest.mark.parametrize(("night_c", "speaks"), [(15.0, True), (14.9, False)])
def test_nights_in_which_tubers_form_again_end_a_spell_of_warm_soil(a, thresholds, today, night_c, speaks):
    """The FAO crop page has tubers begin in nights below 15 °C."""
    said = said_of("heat", "warm-spell", today - DAY)
    condition = in_nights(a, today, (night_c,) * 3, soil=a.soil((23.0,) * 5))
    assert (heat(condition, thresholds, said) is not None) is speaks
    assert heat(condition, thresholds, None).verdict == "warm-spell"


@pytest.mark.parametrize(("soil_c", "verdict"), [(26.0, "hot"), (25.9, "warm-spell")])
def test_hot_ends_a_degree_below(a, thresholds, today, soil_c, verdict):
    said = said_of("heat", "hot", today - DAY, 1)
    found = heat(in_nights(a, today, soil=a.soil((soil_c,) * 5)), thresholds, said)
    assert (found.verdict, found.level) == (verdict, int(verdict == "hot"))


@pytest.mark.parametrize(
    ("first", "last", "verdict"), [(0, 9, "warm-spell"), (1, 9, None), (-9, 0, "warm-spell"), (-9, -1, None)]
)
def test_warmth_is_told_while_tubers_form_but_hot_soil_at_any_time(a, thresholds, today, first, last, verdict):
    crop = a.crop(forming=DaySpan(today + first * DAY, today + last * DAY))
    assert verdict_of(heat(in_nights(a, today, soil=a.soil((23.0,) * 5), crop=crop), thresholds, None)) == verdict
    assert heat(in_nights(a, today, soil=a.soil((28.0,) * 5), crop=crop), thresholds, None).verdict == "hot"
    not_planted = in_nights(a, today, soil=a.soil((23.0,) * 5), crop=a.crop(forming=None))
    assert heat(not_planted, thresholds, None) is None


def test_unknown_soil_and_nights_are_no_spell(a, thresholds, today):
    blank = in_nights(a, today, (), (), soil=a.soil(known=False))
    assert isinstance(heat(blank, thresholds, None), NotKnown)
    nights = in_nights(a, today, (20.0, 20.0), (20.0,), soil=a.soil(known=False))
    assert heat(nights, thresholds, None).verdict == "warm-spell"
    assert heat(replace(blank, crop=a.crop(tops_gone=today)), thresholds, None) is None


# --- soaking


def wet(a, texture="clay", **changes):
    known = {"bed": replace(a.condition().bed, texture=texture)} | changes
    return a.condition(Stage.PLANTED, **known)


@pytest.mark.parametrize(("days", "verdict"), [(2, "soaking"), (1, None)])
def test_fine_soil_above_capacity_for_more_than_a_day(a, thresholds, today, days, verdict):
    condition = wet(a, water=a.water(drained_days=days), sky=rained(a, today, 15.0))
    assert verdict_of(soaking(condition, thresholds, None)) == verdict


@pytest.mark.parametrize(
    ("said", "room_mm", "verdict"),
    [("soaking", 4.9, "soaking"), ("soaking", 5.0, None), ("rain-coming", 0.0, None), ("standing", 0.0, None)],
)
def test_a_bed_once_soaked_has_drained_when_it_has_room_again(a, thresholds, today, said, room_mm, verdict):
    full = wet(a, water=a.water(drained_days=0, depletion_high_mm=room_mm), sky=rained(a, today, 1.0))
    assert verdict_of(soaking(full, thresholds, said_of("soaking", said, today - DAY, 1))) == verdict


def rained(a, today, *rain_mm):
    """Rain of the last days, yesterday last."""
    return a.sky(recent=unknown_days(today - len(rain_mm) * DAY, len(rain_mm), rain_mm=np.array(rain_mm, dtype=float)))


@pytest.mark.parametrize(
    ("rain_mm", "speaks"), [((5.0, 5.0, 5.0), True), ((5.0, 5.0, 4.9), False), ((9.0, 5.0, 5.0, 4.9), False)]
)
def test_a_little_rain_puts_no_bed_under_water(a, thresholds, today, rain_mm, speaks):
    """The two wet days and the one before them count."""
    condition = wet(a, water=a.water(drained_days=2), sky=rained(a, today, *rain_mm))
    assert (soaking(condition, thresholds, None) is not None) is speaks


@pytest.mark.parametrize(("texture", "speaks"), [("loam", False), ("silt", True), ("sand", False)])
def test_coarser_soil_drains(a, thresholds, today, texture, speaks):
    found = soaking(wet(a, texture, water=a.water(drained_days=5), sky=rained(a, today, 20.0)), thresholds, None)
    assert (found is not None) is speaks


@pytest.mark.parametrize(("rain_mm", "verdict"), [(48.0, None), (48.1, "soaking")])
def test_a_day_s_rain_beyond_what_the_bed_holds_soaks(a, thresholds, today, rain_mm, verdict):
    # Clay holds 0.12 to 0.20 m³/m³ for plants (FAO-56 Table 19): 48 mm in the 0.3 m of this bed.
    assert verdict_of(soaking(wet(a, sky=rained(a, today, rain_mm)), thresholds, None)) == verdict


@pytest.mark.parametrize(
    ("rain_mm", "verdict"),
    [((48.1,), "rain-coming"), ((0.0, 48.1), "rain-coming"), ((0.0, 0.0, 90.0), None), ((NAN, 48.0), None)],
)
def test_such_rain_to_come_is_told_a_day_ahead(a, thresholds, today, rain_mm, verdict):
    outlook = unknown_days(today, len(rain_mm), rain_mm=np.array(rain_mm))
    found = soaking(wet(a, sky=a.sky(outlook=outlook)), thresholds, None)
    assert verdict_of(found) == verdict
    assert found is None or found.section is Section.GET_READY


@pytest.mark.parametrize(("days_ago", "verdict"), [(0, "standing"), (2, "standing"), (3, None)])
def test_standing_water_that_was_noted_counts_in_any_soil(a, thresholds, today, days_ago, verdict):
    found = soaking(wet(a, "sand", standing_water=today - days_ago * DAY), thresholds, None)
    assert verdict_of(found) == verdict


def test_a_bed_whose_water_is_not_known_is_not_called_drained(a, thresholds):
    for water in (None, a.water(depletion_high_mm=NAN)):
        assert isinstance(soaking(wet(a, water=water), thresholds, None), NotKnown)
