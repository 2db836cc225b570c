"""Every rule on plantings of every kind, known and unknown: it answers, and what it finds can be told."""

import math
import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haulm.advice import Decision, Finding, NotKnown, Said, Speaks
from haulm.alerts.rules import RULES, SKY_RULES
from haulm.alerts.select import Judged, select
from haulm.condition import DayRange, DaySpan, SeasonChances, SeedNow
from haulm.garden import Cause, Habit, Maturity, Season, Stage
from haulm.letter import words
from haulm.units import Display
from haulm.weather import DAY, BlightWeather, Daily, Mark, Timeline, unknown_days

NAN = float("nan")
WARMTHS = st.floats(-25, 45) | st.just(NAN)
AMOUNTS = st.floats(0, 80) | st.just(NAN)
SHARES = st.floats(0, 1) | st.just(NAN)
SOMETIMES = st.sampled_from([True, False, False, False])
ANY = settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])


class Drawn:
    """Pieces of a condition as the examples have them."""

    def __init__(self, data, a, today):
        self.draw, self.a, self.today = data.draw, a, today

    def day(self, low=-400, high=400):
        return None if self.draw(SOMETIMES) else self.today + self.draw(st.integers(low, high)) * DAY

    def days(self, first, count, values):
        return Daily(self.today + first * DAY, np.array(self.draw(st.lists(values, min_size=count, max_size=count))))

    def span(self):
        if self.draw(SOMETIMES):
            return None
        ends = sorted(self.draw(st.lists(st.integers(-120, 120), min_size=3, max_size=3)))
        early, likely, late = (None if self.draw(SOMETIMES) else self.today + end * DAY for end in ends)
        return DayRange(early, likely, late, self.draw(st.floats(0, 1)), self.draw(st.integers(0, 30)))

    def soil(self):
        lies = self.days(-10, 17, WARMTHS)
        lowest = replace(lies, values=lies.values - 1.5) if self.draw(st.booleans()) else None
        return replace(
            self.a.soil(), as_it_lies_c=lies, under_new_straw_c=self.days(0, 7, WARMTHS), lowest_c=lowest,
            known=self.draw(st.booleans()), ready=self.span(), ready_if_raked=self.span(),
            fit_chance=self.days(-10, 17, SHARES) if self.draw(st.booleans()) else None,
        )  # fmt: skip

    def water(self):
        if self.draw(SOMETIMES):
            return None
        low, more = self.draw(AMOUNTS), self.draw(AMOUNTS)
        return self.a.water(
            week_rain_mm=self.draw(st.floats(0, 80)), week_effective_mm=self.draw(st.floats(0, 80)),
            week_watered_mm=self.draw(st.floats(0, 80)), week_unknown_days=self.draw(st.integers(0, 7)),
            depletion_low_mm=low, depletion_high_mm=low + more, ready_mm=self.draw(st.floats(1, 60)),
            top_share=self.draw(SHARES), outlook_need_mm=self.draw(AMOUNTS), drained_days=self.draw(st.integers(0, 5)),
            outlook_depletion_mm=self.days(0, 7, AMOUNTS), straw_holds_mm=self.draw(st.floats(0, 8)),
        )  # fmt: skip

    def crop(self):
        forming = sorted(self.draw(st.lists(st.integers(-60, 60), min_size=2, max_size=2)))
        return self.a.crop(
            shoots=self.span(), skins_ready=self.span(), ripe=self.span(),
            days_from_shoots=self.draw(st.none() | st.integers(0, 160)),
            shoot_height_m=self.draw(st.floats(0, 0.6) | st.just(NAN)), p_days=self.draw(st.floats(0, 1500)),
            dying_cause=self.draw(st.none() | st.sampled_from(Cause)), dying_since=self.day(-90, 0),
            tops_gone=self.day(-60, 0), frosted_min_c=self.draw(WARMTHS),
            forming=None if self.draw(SOMETIMES) else DaySpan(*(self.today + n * DAY for n in forming)),
        )  # fmt: skip

    def sky(self):
        known = {"rain_mm": AMOUNTS, "air_min_c": WARMTHS, "air_max_c": WARMTHS, "rain_chance": SHARES,
                 "gust_ms": st.floats(0, 40) | st.just(NAN)}  # fmt: skip
        outlook = unknown_days(self.today, 7, **{name: self.days(0, 7, of).values for name, of in known.items()})
        nights = [self.night(ahead) for ahead in range(1, self.draw(st.integers(0, 4)) + 1)]
        age = self.draw(st.none() | st.timedeltas(timedelta(0), timedelta(days=40)))
        blight = None if self.draw(st.booleans()) else self.blight()
        return self.a.sky(
            nights, outlook, newest_observed=self.day(-40, -1), newest_age=age, recent_min_c=self.draw(WARMTHS),
            has_forecast=self.draw(st.booleans()), blight=blight,
        )  # fmt: skip

    def night(self, ahead):
        air, clear = self.draw(st.floats(-20, 25)), self.draw(st.none() | st.booleans())
        leaf = air - self.draw(st.floats(0, 5))
        return self.a.night(ahead, leaf, self.draw(st.floats(0.1, 6)), air_c=air, still_and_clear=clear,
                            clear_chance=self.draw(st.floats(0, 1)), likely_air_c=air)  # fmt: skip

    def blight(self):
        hours, several = st.integers(0, 24).map(float), st.sampled_from([0.0, 1.0, NAN])
        return BlightWeather(
            *(self.days(-6, 10, each) for each in (several, hours, WARMTHS, hours, hours, several | hours))
        )

    def condition(self, stage):
        planting = replace(
            self.a.planting, season=self.draw(st.sampled_from(Season)), maturity=self.draw(st.sampled_from(Maturity)),
            habit=self.draw(st.sampled_from(Habit)), depth_m=self.draw(st.sampled_from([0.0, 0.05, 0.1])),
            window_first=self.today + self.draw(st.integers(-60, 60)) * DAY, window_last=self.today + 61 * DAY,
        )  # fmt: skip
        since = self.today - self.draw(st.integers(0, 120)) * DAY
        lifted = stage in {Stage.LIFTED, Stage.STORED}
        store = self.a.store(self.draw(st.floats(-5, 30)), self.draw(st.floats(-5, 30)), known=self.draw(st.booleans()))
        safe = self.day(-60, 120)
        return self.a.condition(
            planting=planting, stage=self.a.stage(stage, noted=self.draw(st.booleans()), since=since),
            straw_m=self.draw(st.floats(0, 0.4)), soil=self.soil(), water=self.water(), crop=self.crop(),
            last_straw=self.day(-60, 0), sky=self.sky(), standing_water=self.day(-10, 0), no_shoots=self.day(-10, 0),
            chances=SeasonChances(self.draw(st.integers(0, 30)), self.draw(SHARES), safe),
            seed=SeedNow(self.day(-90, 0), self.day(-90, 0), self.day(0, 300), self.draw(st.booleans())),
            ends=self.a.ends(hard_freeze=self.day(0, 99), lasting_heat=self.day(0, 99), tubers_freeze=self.day(0, 9)),
            store=store if lifted else None,
            kept_seed=self.a.kept_seed(self.draw(st.integers(-90, 90))) if lifted else None,
        )  # fmt: skip

    def standing(self, rule):
        """What the rule may have said before: nothing, or that it did not know, or something of its own."""
        if self.draw(st.booleans()):
            return None
        verdict = self.draw(st.sampled_from(["unknown", "plant", "short", "generous", "cover", "warn", "act", "look"]))
        level, today = self.draw(st.integers(0, 3)), self.today
        return Said(rule, "gatebed", "gate-early", (today - DAY).isoformat(), verdict, level, today - DAY, today - DAY)


def sound(answer):
    """What every answer has to be, whatever was known."""
    if isinstance(answer, NotKnown):
        assert answer.lacks
    elif answer is not None:
        assert isinstance(answer, Finding)
        assert 0 <= answer.urgency <= 100
        assert answer.level >= 0
        assert answer.chance is None or 0.0 <= answer.chance <= 1.0
        figures = [fact for fact in answer.facts.values() if isinstance(fact, float)]
        assert not any(math.isinf(fact) for fact in figures), answer


def told(rule, speaks, answer, today, garden, a):
    """The words of a finding that is new today."""
    one = Judged(rule, speaks, "gatebed", "gate-early", Stage.EMERGED, in_stage=True, answer=answer)
    (alert,), _ = select([one], (), today)
    days, marks = unknown_days(today, 1), np.array([Mark.FORECAST], dtype=np.int8)
    timeline = Timeline(days, marks, marks, today, a.sky().origin, None, timedelta(0))
    return words.item(alert, Decision(garden, a.now, today, timeline, (), (), ()))


@ANY
@given(data=st.data(), rule=st.sampled_from(RULES), display=st.sampled_from(Display))
def test_every_rule_answers_and_its_words_can_be_read(a, thresholds, today, data, rule, display):
    drawn = Drawn(data, a, today)
    condition = drawn.condition(data.draw(st.sampled_from(sorted(rule.stages, key=lambda stage: stage.order))))
    standing = drawn.standing(rule.key)
    answer = rule.judge(condition, thresholds, standing)
    sound(answer)
    assert rule.put_off(condition, thresholds) in {True, False}
    is_silent = standing is not None and rule.speaks is Speaks.ONE_MORNING  # it stands, and is not said again
    if isinstance(answer, Finding) and not is_silent:
        garden = replace(condition.garden, place=replace(condition.garden.place, display=display))
        item = told(rule.key, rule.speaks, answer, today, garden, a)
        whole = " ".join((item.sentence, item.reasons, item.caution))
        assert item.sentence
        assert not re.search(r"\bnan\b|\bNone\b|  |\binf\b", whole), whole


@ANY
@given(data=st.data(), rule=st.sampled_from(SKY_RULES))
def test_every_rule_of_the_data_answers(a, thresholds, today, data, rule):
    sound(rule.judge(Drawn(data, a, today).sky(), thresholds, None))


@ANY
@given(data=st.data())
def test_nothing_known_of_its_water_is_never_a_word_to_water(a, thresholds, today, data):
    """Only a bed that is dry for certain is watered while rain is unknown."""
    (rule,) = [one for one in RULES if one.key == "water"]
    drawn = Drawn(data, a, today)
    condition = drawn.condition(data.draw(st.sampled_from(sorted(rule.stages, key=lambda stage: stage.order))))
    water = condition.water
    answer = rule.judge(condition, thresholds, None)
    if water is None or (condition.stage.stage is Stage.PLANTED and math.isnan(water.top_share)):
        assert isinstance(answer, NotKnown)
    elif isinstance(answer, Finding) and condition.stage.stage is not Stage.PLANTED:
        assert not math.isnan(water.depletion_low_mm)
        if answer.verdict == "water":
            turn = answer.facts["turn_mm"]
            assert 0.0 < turn <= max(water.depletion_high_mm, 0.0)
    assert rule.speaks is Speaks.EACH_DAY
