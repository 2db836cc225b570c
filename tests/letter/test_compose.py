"""The letter's order, its subject and greeting, its numbers and what it is based on."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from haulm.advice import Section
from haulm.bed_water import EtoWay
from haulm.condition import DayRange, DaySpan, EarlierCrops, StoreNow
from haulm.garden import Season, Stage
from haulm.letter.basis import CAUTION, GAPS, NO_FORECAST, RANGES
from haulm.letter.compose import SUBJECT_LENGTH, compose
from haulm.letter.numbers import fit_odds
from haulm.units import Display
from haulm.weather import Daily, ForecastsGraded, Gap, NightsRead

NAN = float("nan")
TODAY = date(2026, 4, 14)


def rows_of(letter, heading):
    return {row.what: row.value for row in dict(letter.numbers)[heading]}


def test_parts_stand_in_the_letters_order_and_empty_ones_are_left_out(busy, thresholds):
    letter = compose(busy(), thresholds)
    assert [part.title for part in letter.parts] == [section.value for section in Section]
    only = compose(replace(busy(), alerts=busy().alerts[3:4]), thresholds)
    assert [part.title for part in only.parts] == ["Leave alone"]


def test_the_most_urgent_comes_first_whatever_order_it_was_given_in(busy, thresholds):
    given = busy()
    turned = replace(given, alerts=tuple(reversed(given.alerts)))
    assert [item.rule for item in compose(turned, thresholds).parts[0].items] == ["frost", "water"]


def test_an_end_is_told_under_keep_an_eye_on(alert_of, decision_of, thresholds):
    letter = compose(decision_of(alert_of("frost", Section.DO_TODAY, ended=True)), thresholds)
    assert [part.title for part in letter.parts] == ["Keep an eye on"]
    assert letter.subject == "Gatebed: frost on the shoots is unlikely in the coming nights – Tue 14 April"


def test_what_to_get_ready_for_stays_in_the_subject_and_before_lesser_news(
    busy, frost, silent, decision_of, thresholds
):
    waited_for = replace(frost, section=Section.GET_READY, fresh=False, urgency=60)
    lesser = replace(silent, urgency=20)
    for alerts in ((waited_for,), (waited_for, lesser)):
        subject = compose(decision_of(*alerts), thresholds).subject
        assert subject == "Cover Wallbed tonight: frost – Tue 14 April"


def test_a_letter_that_only_carries_a_remark_says_it_in_its_subject(silent, decision_of, thresholds):
    still = replace(silent, fresh=False)
    assert compose(decision_of(still), thresholds).subject == "The weather station is silent – Tue 14 April"
    heard = replace(decision_of(), heard=("Noted: Gatebed, watered 12 mm on Mon 13 April.",))
    assert compose(heard, thresholds).subject == "Noted: Gatebed, watered 12 mm on Mon 13 April – Tue 14 April"


def test_subject_is_what_is_to_do_before_graver_news(busy, frost, silent, decision_of, alert_of, thresholds):
    grave = replace(silent, urgency=99)
    assert compose(decision_of(grave, frost), thresholds).subject == "Cover Wallbed tonight: frost – Tue 14 April"
    assert compose(decision_of(grave), thresholds).subject == "The weather station is silent – Tue 14 April"
    standing = replace(silent, fresh=False, section=Section.STILL_SO)
    assert compose(decision_of(standing), thresholds).subject == "Nothing new to do today – Tue 14 April"


def test_a_long_subject_is_cut_at_a_clause_and_keeps_its_date(alert_of, decision_of, garden_of, not_yet, thresholds):
    garden = garden_of(bed="The long bed that runs beside the old wall, under the pear tree and behind the shed")
    alert = replace(not_yet, section=Section.DO_TODAY)
    subject = compose(decision_of(alert, garden=garden), thresholds).subject
    assert len(subject) <= SUBJECT_LENGTH
    assert subject.endswith(" – Tue 14 April")
    assert subject.startswith("The long bed that runs beside the old wall")
    endless = compose(decision_of(alert, garden=garden_of(bed="x" * 100)), thresholds).subject
    assert len(endless) <= SUBJECT_LENGTH
    assert endless.endswith("x… – Tue 14 April")


@pytest.mark.parametrize("gap", [Gap.NO_FORECAST, Gap.NO_OBSERVATIONS])
def test_nothing_to_do_is_never_said_out_of_missing_data(decision_of, timeline, thresholds, gap):
    letter = compose(decision_of(timeline=replace(timeline, gaps=(gap,))), thresholds)
    assert letter.subject.startswith("Nothing to do today as far as is known")
    assert letter.greeting == "Nothing to do today at Brackenford, as far as is known."


def test_a_gap_of_months_ago_is_no_lack_today_but_a_soil_not_known_is(decision_of, condition_of, timeline, thresholds):
    gone = replace(timeline, gaps=(Gap.LONG_GAP,))
    for known, told in ((True, "Nothing to do today –"), (False, "Nothing to do today as far as is known")):
        condition = condition_of(stage=Stage.CHITTING)
        condition = replace(condition, soil=replace(condition.soil, known=known))
        letter = compose(decision_of(conditions=[condition], timeline=gone), thresholds)
        assert letter.subject.startswith(told)


def test_a_day_without_work_says_so_in_one_line(decision_of, alert_of, thresholds, busy):
    assert compose(decision_of(), thresholds).greeting == "Nothing to do today at Brackenford."
    get_ready = replace(busy(), alerts=busy().alerts[2:3])
    assert compose(get_ready, thresholds).greeting.endswith("but one thing to get ready for.")


def test_a_word_between_letters_has_no_numbers(busy, thresholds):
    letter = compose(busy(), thresholds, "evening")
    assert letter.numbers == ()
    assert letter.greeting.startswith("A word between letters")
    assert letter.basis[-1] == CAUTION


def test_numbers_before_planting(condition_of, decision_of, thresholds):
    rows = rows_of(compose(decision_of(conditions=[condition_of()]), thresholds), "Gatebed")
    assert rows == {
        "Stage": "chitting since Wed 25 March, as noted",
        "Soil 5 cm deep": (
            "between 8.9 and 11.7 °C, most likely 10.3 °C (yesterday's mean); 2.9 °C warmer than a week before"
        ),
        "Soil fit to plant": "between 17 and 30 April, most likely the 21st "
        "(from 12 years of weather here); that yesterday had 10 °C or more is more likely than not, 6 in 10 (60 %)",
        "Straw": "7 cm, last laid Fri 20 March",
    }


def test_a_day_that_does_not_come_every_year_says_so(condition_of, decision_of, thresholds):
    one = condition_of()
    seldom = replace(one, soil=replace(one.soil, ready=replace(one.soil.ready, share=0.75)))
    never = replace(one, soil=replace(one.soil, ready=DayRange(None, None, None, 0.0, 12)))
    rows = [rows_of(compose(decision_of(conditions=[c]), thresholds), "Gatebed") for c in (seldom, never)]
    assert rows[0]["Soil fit to plant"].split(";")[1] == " in 9 of them it came at all)"
    assert rows[1]["Soil fit to plant"] == "no likely day up to Thu 23 April"


@pytest.mark.parametrize(
    ("raked", "told"),
    [
        (date(2026, 4, 20), "raked bare, about Mon 20 April; under its straw, no likely day up to Thu 23 April"),
        (TODAY, "raked bare, warm enough now; under its straw, no likely day up to Thu 23 April"),
        (None, "no likely day up to Thu 23 April"),
    ],
)
def test_a_bed_under_straw_and_raked_bare_are_told_apart(condition_of, decision_of, thresholds, raked, told):
    one = condition_of()
    ends = {"ready": DayRange(None, None, None, 0.0, 0), "ready_if_raked": DayRange(None, raked, None, 1.0, 0)}
    found = replace(one, soil=replace(one.soil, **ends))
    assert rows_of(compose(decision_of(conditions=[found]), thresholds), "Gatebed")["Soil fit to plant"] == told


@pytest.mark.parametrize(
    ("chance", "told"),
    [
        (0.019, ""),
        (0.021, "50 °F or more is very unlikely, 1 in 100 (1 %)"),
        (0.68, "50 °F or more is likely, 7 in 10 (70 %)"),
        (0.979, "50 °F or more is almost certain, 99 in 100 (99 %)"),
        (0.981, ""),
        (float("nan"), ""),
    ],
)
def test_chances_of_fit_soil_are_those_of_the_one_table_and_plain_ones_go_unsaid(
    condition_of, garden_of, thresholds, chance, told
):
    one = condition_of(garden=garden_of(Display.US))
    odds = Daily(TODAY - timedelta(days=1), np.array([chance]))
    one = replace(one, soil=replace(one.soil, fit_chance=odds))
    assert fit_odds(one, thresholds, TODAY - timedelta(days=1)) == told
    assert fit_odds(one, thresholds, TODAY) == ""  # outside what is known


def test_autumn_asks_for_soil_that_has_fallen(condition_of, thresholds):
    one = condition_of()
    one = replace(one, planting=replace(one.planting, season=Season.AUTUMN))
    odds = Daily(TODAY, np.array([0.3]))
    told = fit_odds(replace(one, soil=replace(one.soil, fit_chance=odds)), thresholds, TODAY)
    assert told == "24 °C or less is possible, 3 in 10 (30 %)"
    assert fit_odds(replace(one, soil=replace(one.soil, fit_chance=None)), thresholds, TODAY) == ""


def test_an_estimated_stage_is_called_one(condition_of, decision_of, thresholds):
    crop = replace(condition_of().crop, shoots=DayRange(date(2026, 4, 10), date(2026, 4, 15), None, 1.0, 12))
    planted = condition_of(stage=Stage.PLANTED, noted=False, crop=crop)
    rows = rows_of(compose(decision_of(conditions=[planted]), thresholds), "Gatebed")
    assert rows["Stage"].startswith("planted, an estimate: between")
    assert rows["Shoots"] == "due not before Fri 10 April, most likely 15 April"


def test_soil_that_is_not_known_shows_no_figure(condition_of, decision_of, thresholds):
    rows = rows_of(compose(decision_of(conditions=[condition_of(soil_known=False)]), thresholds), "Gatebed")
    assert rows["Soil 5 cm deep"].startswith("not known")
    assert "Soil fit to plant" not in rows


@pytest.mark.parametrize(
    ("low_mm", "high_mm", "drained", "told"),
    [
        (0.0, 0.0, 0, "full"),
        (0.0, 1.0, 0, "full, to within 1 mm"),
        (8.0, 14.0, 0, "moist, 8 to 14 mm short of full; plants feel it from 18 mm"),
        (10.0, 25.0, 0, "moist or dry, as the unknown rain may have been, 10 to 25 mm short of full; plants feel it "
         "from 18 mm"),
        (22.0, 25.0, 0, "dry, 22 to 25 mm short of full; plants feel it from 18 mm"),
        (0.0, 0.0, 2, "more than full, water has drained away below it for 2 days"),
        (1.0, 1.0, 1, "full, to within 1 mm; water has drained away below it for 1 day"),
        (NAN, 4.0, 0, "not known"),
    ],
)  # fmt: skip
def test_the_root_zone_in_plain_words(condition_of, decision_of, water, thresholds, low_mm, high_mm, drained, told):
    wet = replace(water, depletion_low_mm=low_mm, depletion_high_mm=high_mm, drained_days=drained)
    letter = compose(decision_of(conditions=[condition_of(stage=Stage.PLANTED, water=wet)]), thresholds)
    assert rows_of(letter, "Gatebed")["Root zone"] == told


def test_the_weeks_water_counts_what_passed_the_straw_against_the_target(condition_of, decision_of, water, thresholds):
    gap = replace(water, week_unknown_days=2)
    letter = compose(decision_of(conditions=[condition_of(stage=Stage.EMERGED, water=gap)]), thresholds)
    assert rows_of(letter, "Gatebed")["Water, last 7 days"] == (
        "12 mm, 25 mm aimed at: 11 mm of rain fell, 7 mm of it passed the straw, 5 mm watered; "
        "the rain of 2 days is not known"
    )


@pytest.mark.parametrize(
    ("stage", "aimed", "felt"),
    [
        (Stage.CHITTING, False, False),
        (Stage.EMERGED, True, True),
        (Stage.DYING_BACK, False, True),
        (Stage.SKINS_SETTING, False, False),
    ],
)
def test_a_target_is_for_beds_that_are_watered_and_thirst_for_plants_that_stand(
    condition_of, decision_of, water, thresholds, stage, aimed, felt
):
    rows = rows_of(compose(decision_of(conditions=[condition_of(stage=stage, water=water)]), thresholds), "Gatebed")
    assert ("aimed at" in rows["Water, last 7 days"]) is aimed
    assert ("plants feel it" in rows["Root zone"]) is felt


def test_a_lifted_bed_has_no_water_to_tell_of(condition_of, decision_of, water, thresholds):
    letter = compose(decision_of(conditions=[condition_of(stage=Stage.LIFTED, water=water)]), thresholds)
    assert {"Water, last 7 days", "Root zone"}.isdisjoint(rows_of(letter, "Gatebed"))


def test_two_plantings_of_one_bed_are_told_apart(condition_of, decision_of, thresholds):
    one = condition_of()
    other = replace(one, planting=replace(one.planting, key="gate-late", name="the autumn crop"))
    letter = compose(decision_of(conditions=[one, other]), thresholds)
    assert [heading for heading, _ in letter.numbers][:2] == ["Gatebed, the early potatoes", "Gatebed, the autumn crop"]


def test_the_coming_week_tells_how_far_the_forecast_reaches(decision_of, timeline, thresholds):
    far = timeline.today_index + 4
    rain_mm = timeline.days.rain_mm.copy()
    rain_mm[far:] = np.nan
    short = replace(timeline, days=replace(timeline.days, rain_mm=rain_mm))
    rows = rows_of(compose(decision_of(timeline=short), thresholds), "Brackenford, the next 7 days")
    assert rows["Rain"].endswith("(only 4 of 7 days are forecast)")
    assert rows["Nights"] == "lows 4.7 to 7.6 °C"


def test_without_a_forecast_nothing_is_said_of_the_week_but_its_price(decision_of, without_forecast, thresholds):
    letter = compose(decision_of(timeline=without_forecast), thresholds)
    assert letter.numbers == ()
    assert letter.basis.count(NO_FORECAST) == 1
    assert GAPS[Gap.RAIN_UNKNOWN] in letter.basis
    assert "Of the last 21 days: 6 not known." in letter.basis


def test_what_the_letter_is_based_on(busy, thresholds):
    lines = compose(busy(), thresholds).basis
    assert lines == (
        "Weather station: Brackenford Mill, 6.4 km away, 38 m apart in height.",
        "Newest day observed: Sat 11 April, 3 days ago.",
        "Of the last 21 days: 2 bridged from hours or forecasts.",
        "Forecast: Invented Forecast Office, 3 hours old, reaching to Thu 23 April.",
        "Weather data: Invented Weather Record, CC BY 4.0.",
        "Forecast: Invented Forecast Office, CC BY 4.0.",
        "One letter still waits.",
        RANGES,
        CAUTION,
    )


def test_what_the_minimum_thermometer_taught_and_what_was_not_believed(condition_of, decision_of, thresholds):
    one = condition_of()
    read = NightsRead(3.9, 0.1, 2, ((date(2026, 4, 10), 25.0), (date(2026, 2, 1), 30.0)))
    lines = compose(decision_of(conditions=[replace(one, sky=replace(one.sky, nights_read=read))]), thresholds).basis
    assert (
        "From two night minima read in the garden: on clear, calm nights its leaves are taken to be 3.9 °C colder than "
        "the station, on others neither warmer nor colder."
    ) in lines
    wild = [line for line in lines if "not used" in line]
    assert wild == [
        "The night minimum of 25 °C read on Fri 10 April is far from everything else, so it was not used; take it back "
        "if it is a slip."
    ]  # the one of February is long forgotten


@pytest.mark.parametrize(
    ("too_warm_c", "told"),
    [
        (1.24, "between 1.2 °C too cold and 3.7 °C too warm at the station, on average 1.2 °C too warm"),
        (-0.62, "between 3.1 °C too cold and 1.8 °C too warm at the station, on average 0.6 °C too cold"),
        (0.04, "between 2.4 °C too cold and 2.5 °C too warm at the station, on average on the mark"),
    ],
)
def test_how_earlier_forecasts_turned_out(condition_of, decision_of, thresholds, too_warm_c, told):
    one = condition_of()
    graded = replace(one, sky=replace(one.sky, graded=ForecastsGraded(212, too_warm_c, 1.9)))
    assert (
        f"On the last 212 nights graded, forecasts of the day before were {told}; what is said of frost takes that in."
    ) in compose(decision_of(conditions=[graded]), thresholds).basis


def test_every_gap_has_its_sentence():
    assert set(GAPS) == set(Gap)


@pytest.mark.parametrize(
    ("age", "told"),
    [(timedelta(minutes=20), "less than an hour"), (timedelta(hours=1), "1 hour"), (timedelta(days=3), "3 days")],
)
def test_the_age_of_the_forecast(decision_of, timeline, thresholds, age, told):
    decision = decision_of()
    aged = replace(decision, timeline=replace(timeline, forecast_issued=decision.as_of - age))
    assert any(f"Office, {told} old" in line for line in compose(aged, thresholds).basis)


def test_a_soil_without_yesterday_is_not_known(condition_of, decision_of, thresholds):
    one = condition_of()
    blank = Daily(one.soil.as_it_lies_c.first, np.full(len(one.soil.as_it_lies_c.values), np.nan))
    letter = compose(decision_of(conditions=[replace(one, soil=replace(one.soil, as_it_lies_c=blank))]), thresholds)
    assert rows_of(letter, "Gatebed")["Soil 5 cm deep"].startswith("not known")


def test_the_weeks_of_forming_and_the_day_of_ripeness_are_told_while_they_lie_ahead(
    condition_of, decision_of, thresholds
):
    condition = condition_of("wall-late", Stage.EMERGED)
    ripe = DayRange(date(2026, 7, 20), date(2026, 8, 1), date(2026, 8, 15), 1.0, 0)
    ahead = replace(condition.crop, forming=DaySpan(date(2026, 4, 20), date(2026, 6, 1)), ripe=ripe)
    told = rows_of(compose(decision_of(conditions=[replace(condition, crop=ahead)]), thresholds), "Wallbed")
    assert told["Tubers set"] == "between 20 April and 1 June, an estimate"
    assert told["Ripe"] == "between 20 July and 15 August, most likely 1 August, by the warmth that late kinds need"
    past = replace(ahead, forming=DaySpan(date(2026, 1, 1), date(2026, 2, 1)), ripe=replace(ripe, likely=None))
    told = rows_of(compose(decision_of(conditions=[replace(condition, crop=past)]), thresholds), "Wallbed")
    assert {"Tubers set", "Ripe"}.isdisjoint(told)


@pytest.mark.parametrize(
    ("ways", "told"),
    [
        ((), None),
        ((EtoWay.WHOLE,) * 21, "What the beds use is worked out from air, humidity and wind (FAO Penman-Monteith)."),
        ((EtoWay.MEAN_YEAR,) * 2, "What the beds use is worked out from the mean year (Hargreaves)."),
        (
            (EtoWay.WHOLE,) * 14 + (EtoWay.BY_RULE,) * 5 + (EtoWay.MEAN_YEAR,) * 2,
            "What the beds use, of the last 21 days: on 14 from air, humidity and wind (FAO Penman-Monteith), on 5 "
            "from the air, with a usual wind or a dew point taken from the night's low (FAO Penman-Monteith, data "
            "missing) and on 2 from the mean year (Hargreaves).",
        ),
    ],
)
def test_the_way_to_what_the_beds_use_is_named(condition_of, decision_of, water, thresholds, ways, told):
    condition = condition_of("wall-late", Stage.EMERGED, water=replace(water, eto_ways=ways))
    lines = compose(decision_of(conditions=[condition, condition]), thresholds).basis
    assert [line for line in lines if line.startswith("What the beds use")] == ([told] if told else [])


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({}, "between 2.8 and 9.2 °C, most likely 6 °C today, by the outdoor air alone"),
        ({"readings": 2}, "between 2.8 and 9.2 °C, most likely 6 °C today, by the outdoor air and two readings"),
        ({"known": False}, "not known"),
        (
            {"questioned_c": ((TODAY - timedelta(days=1), 43.0),)},
            "between 2.8 and 9.2 °C, most likely 6 °C today, by the outdoor air alone; 43 °C read on Mon 13 "
            "April is far from all else and not used",
        ),
    ],
)
def test_the_store_of_a_kept_crop(condition_of, decision_of, thresholds, changes, told):
    room, spread = Daily(TODAY, np.full(3, 6.0)), Daily(TODAY, np.full(3, 2.5))
    one = condition_of(stage=Stage.STORED, store=StoreNow(room, spread, **({"known": True, "readings": 0} | changes)))
    rows = rows_of(compose(decision_of(conditions=[one]), thresholds), "Gatebed")
    assert rows == {"Stage": "stored since Wed 25 March, as noted", "Store": told}


@pytest.mark.parametrize(
    ("stage", "earlier", "told"),
    [
        (Stage.PLANTED, EarlierCrops(), []),
        (Stage.PLANTED, EarlierCrops(1, 0.01, 1, 0.99), []),
        (
            Stage.PLANTED,
            EarlierCrops(2, -0.15, 0, 1.0),
            [
                "By two earlier crops here, shoots in Wallbed are taken to come sooner than usual, by 15 % of the "
                "range that warmth gives."
            ],
        ),
        (
            Stage.EMERGED,
            EarlierCrops(2, -0.15, 1, 0.94),
            [
                "By one earlier crop here, tops in Wallbed are taken to go down at 94 % of the warmth that is usual "
                "for their class."
            ],
        ),
        (Stage.DYING_BACK, EarlierCrops(2, -0.15, 1, 0.94), []),
    ],
)
def test_what_earlier_crops_taught_is_told_while_it_is_used(
    condition_of, decision_of, thresholds, stage, earlier, told
):
    condition = condition_of("wall-late", stage)
    condition = replace(condition, crop=replace(condition.crop, earlier=earlier))
    lines = compose(decision_of(conditions=[condition]), thresholds).basis
    assert [line for line in lines if "earlier crop" in line] == told
