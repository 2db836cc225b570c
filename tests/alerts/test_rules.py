"""The table of rules, and every verdict of every rule in words, written from the facts that the rule itself gives."""

import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from haulm.advice import Decision, Finding, NotKnown, Section, Speaks
from haulm.alerts.rules import RULES, SKY_RULES
from haulm.alerts.select import Judged, select
from haulm.condition import DayRange, DaySpan, SeasonChances, SeasonSum, SeedNow
from haulm.garden import Cause, Habit, Maturity, Season, Stage
from haulm.letter import words
from haulm.settings.thresholds import Thresholds
from haulm.taught import SeasonFits
from haulm.units import Display
from haulm.weather import DAY, BlightWeather, Daily, ForecastsGraded, Mark, Timeline, unknown_days

NAN = float("nan")

BY_KEY = {rule.key: rule for rule in RULES}
SKY_BY_KEY = {rule.key: rule for rule in SKY_RULES}


def rain(today, *rain_mm, chance=None):
    known = {"rain_mm": np.array(rain_mm, dtype=float)}
    if chance is not None:
        known["rain_chance"] = np.full(len(rain_mm), chance)
    return unknown_days(today, len(rain_mm), **known)


def in_autumn(a, today, **changes):
    planting = replace(a.planting, season=Season.AUTUMN)
    return a.condition(Stage.CHITTING, planting=planting, **changes)


def going_down(a, today, cause, *, habit=Habit.DETERMINATE, days=90, **changes):
    crop = a.crop(dying_cause=cause, dying_since=today - DAY, days_from_shoots=days, p_days=800.0)
    return a.condition(Stage.DYING_BACK, planting=replace(a.planting, habit=habit), crop=crop, **changes)


def expecting(a, early, late):
    crop = a.crop(shoots=DayRange(early, early + 3 * DAY, late, 1.0, 0), days_from_shoots=None, p_days=0.0)
    return a.condition(Stage.PLANTED, crop=crop)


def bare(a, today, likely):
    skins = DayRange(today - DAY, likely, today + 9 * DAY, 1.0, 0)
    return a.condition(Stage.SKINS_SETTING, crop=a.crop(tops_gone=today - 8 * DAY, skins_ready=skins))


def nights(a, leaf_c, clear, ahead=1):
    others = [a.night(other, 8.0) for other in (1, 2, 3) if other != ahead]
    return a.sky([a.night(ahead, leaf_c, air_c=leaf_c + 2.0, still_and_clear=clear), *others])


def perhaps(soil):
    """The estimate may err: whether each day was fit is told as a chance."""
    return replace(soil, fit_chance=replace(soil.as_it_lies_c, values=0.0 * soil.as_it_lies_c.values + 0.6))


def planting_cases(a, today):
    cold = a.soil((8.0, 8.5, 9.96), (9.0,) * 7)
    closed = replace(a.planting, window_last=today - DAY)
    late = a.condition(Stage.CHITTING, planting=closed)
    lates = replace(a.planting, key="gate-late", name="Gatebed lates", window_first=today + 100 * DAY)
    hot_before = a.soil((26.0, 25.5, 25.0), (24.0,) * 7, before=28.0)
    past = SeasonChances(10, 0.1, today - DAY)
    return {
        "planting-time plant": a.condition(Stage.CHITTING),
        "planting-time plant, frost often follows": a.condition(Stage.SEED, chances=SeasonChances(10, 0.4, None)),
        "planting-time plant, last call": a.condition(
            Stage.CHITTING, planting=replace(a.planting, window_last=today + 2 * DAY)
        ),
        "planting-time plant, bed taken": a.condition(Stage.CHITTING, water=None),
        "planting-time plant, silent station": a.condition(Stage.CHITTING, sky=a.sky(newest_observed=today - 6 * DAY)),
        "planting-time plant in autumn": in_autumn(a, today, soil=a.soil((22.0,) * 3, (22.0,) * 7)),
        "planting-time plant-with-care": in_autumn(a, today, soil=hot_before),
        "planting-time plant-with-care, likely fit": in_autumn(a, today, soil=perhaps(hot_before)),
        "planting-time plant, likely fit": a.condition(Stage.CHITTING, soil=perhaps(a.soil())),
        "planting-time wait, perhaps fit": a.condition(Stage.CHITTING, soil=perhaps(cold)),
        "planting-time wait, cold": a.condition(Stage.CHITTING, soil=cold),
        "planting-time wait, hardly sprouted": a.condition(
            Stage.CHITTING, soil=cold, stage=a.stage(Stage.CHITTING, since=today - 3 * DAY)
        ),
        "planting-time wait, wet": a.condition(Stage.CHITTING, water=a.water(drained_days=2)),
        "planting-time wait, turning cold": a.condition(Stage.CHITTING, soil=a.soil(ahead=(12.0,) * 6 + (8.0,))),
        "planting-time wait, hot": in_autumn(a, today, soil=a.soil((29.0,) * 3, (28.5,) * 7)),
        "planting-time wait, past the last safe day": in_autumn(
            a, today, soil=a.soil((29.0,) * 3, (28.5,) * 7), chances=SeasonChances(10, 0.1, today + 2 * DAY)
        ),
        "planting-time wait, turning hot": in_autumn(a, today, soil=a.soil((26.0,) * 3, (28.5,) * 7)),
        "planting-time too-late": late,
        "planting-time too-late, another window": replace(late, garden=replace(late.garden, plantings=(closed, lates))),
        "planting-time too-late in autumn": in_autumn(a, today, chances=past),
    }


def cold_seed(a, **changes):
    return a.condition(Stage.PLANTED, soil=a.soil((6.0,) * 5), **changes)


def seed_cases(a, today):
    opens = replace(a.planting, window_first=today + 60 * DAY, window_last=today + 100 * DAY)
    autumn = replace(opens, season=Season.AUTUMN)
    later = replace(autumn, key="gate-late", name="Gatebed lates", window_first=today + 160 * DAY)
    two = replace(a.condition(Stage.SEED, planting=opens).garden, plantings=(opens, later))
    in_window = SeasonFits(True, opens.window_first + 5 * DAY, "mid", 0.9, 12)
    others = SeasonFits(True, others=((today + 200 * DAY, today + 240 * DAY),), others_good=True)
    frost = SeedNow(season_ends=today + 155 * DAY, fits=in_window)
    heat = SeedNow(None, None, today + 145 * DAY, ends_by_heat=True, fits=replace(in_window, fitting="early"))
    coming = a.soil((8.0,) * 3, (9.0,) * 7, ready=20)
    soon = a.soil((9.0,) * 3, (10.0, 10.5, *(12.0,) * 12), ready=5)
    raked = replace(coming, ready_if_raked=DayRange(None, today + 12 * DAY, None, 1.0, 10))
    hot = a.soil((27.0,) * 3, (27.0,) * 7, ready=15)
    fast = replace(a.planting, season=Season.AUTUMN, window_first=today + 9 * DAY)
    cooler = replace(hot, under_new_straw_c=Daily(today, np.full(7, 25.0)))
    late, dry = replace(a.planting, maturity=Maturity.LATE), a.water(top_share=0.7)
    return {
        "buy-seed buy": a.condition(Stage.SEED, planting=opens, seed=frost),
        "buy-seed buy, heat ends it": a.condition(Stage.SEED, planting=opens, seed=heat),
        "buy-seed buy, another class": a.condition(
            Stage.SEED, planting=late, seed=replace(frost, season_ends=heat.season_ends)
        ),
        "buy-seed buy, too short": a.condition(
            Stage.SEED, planting=opens, seed=replace(frost, fits=replace(in_window, fitting="", ripe_share=0.2))
        ),
        "buy-seed off-window": a.condition(Stage.SEED, planting=opens, seed=replace(frost, fits=others)),
        "buy-seed off-window, none good": a.condition(
            Stage.SEED, planting=opens, seed=replace(frost, fits=replace(others, others_good=False))
        ),
        "buy-seed no-window": a.condition(Stage.SEED, planting=opens, seed=replace(frost, fits=SeasonFits(False))),
        "buy-seed buy, too warm from the start": a.condition(
            Stage.SEED, planting=opens, seed=SeedNow(None, None, opens.window_first, ends_by_heat=True)
        ),
        "buy-seed buy, nothing ends it": a.condition(Stage.SEED, planting=opens),
        "buy-seed buy, no record": a.condition(Stage.SEED, planting=opens, chances=SeasonChances(0, 0.1, None)),
        "buy-seed buy for autumn": a.condition(Stage.SEED, planting=autumn, seed=frost),
        "buy-seed buy for two": a.condition(Stage.SEED, planting=opens, garden=two),
        "buy-seed in-vain, never fit": a.condition(
            Stage.SEED, planting=opens, soil=replace(a.soil(), ready=DayRange(None, None, None, 0.2, 10))
        ),
        "start-chitting chit": a.condition(Stage.SEED, soil=coming, seed=SeedNow(today)),
        "start-chitting chit, raked": a.condition(Stage.SEED, soil=raked),
        "start-chitting chit, none bought, late": a.condition(Stage.SEED, soil=soon),
        "start-chitting chit, ready now": a.condition(Stage.SEED, soil=a.soil(ready=0)),
        "start-chitting in-vain": a.condition(Stage.SEED, chances=SeasonChances(10, 0.1, today + 5 * DAY)),
        "start-chitting in-vain, autumn": in_autumn(
            a,
            today,
            stage=a.stage(Stage.SEED),
            soil=a.soil((29.0,) * 3, (28.5,) * 7),
            chances=SeasonChances(10, 0.1, today + 5 * DAY),
        ),
        "buy-seed in-vain": a.condition(
            Stage.SEED,
            seed=SeedNow(season_ends=today + 100 * DAY),
            chances=SeasonChances(10, 0.1, today + 5 * DAY),
        ),
        "cut-seed cut": a.condition(Stage.CHITTING, soil=soon),
        "cut-seed whole": in_autumn(a, today, soil=a.soil((28.0,) * 3, (27.5, 27.5, 27.5, *(24.0,) * 14), ready=5)),
        "old-straw rake-off": a.condition(Stage.CHITTING, soil=raked),
        "old-straw lay-on": a.condition(Stage.SEED, soil=cooler, planting=fast, straw_m=0.0),
        "old-straw lay-on, dry": a.condition(Stage.SEED, soil=cooler, planting=fast, straw_m=0.0, water=dry),
    }


def stress_cases(a, today):
    fresh = {"last_straw": today - 3 * DAY}
    warm = a.sky(outlook=unknown_days(today, 4, air_min_c=np.full(4, 20.5)))
    clay = replace(a.condition().bed, texture="clay")
    return {
        "straw-blows net": a.condition(sky=gusts(a, today, 12.0), **fresh),
        "straw-blows net, tomorrow, ripe": going_down(a, today, Cause.AGE, sky=gusts(a, today, 5.0, 12.0), **fresh),
        "straw-blows net, by the mean wind": a.condition(
            sky=a.sky(outlook=unknown_days(today, 1, wind_ms=np.array([6.0]))), **fresh
        ),
        "straw-blows net-ready": a.condition(sky=gusts(a, today, 5.0, 5.0, 12.0), **fresh),
        "heat warm-spell, nights": a.condition(sky=warm),
        "heat warm-spell, soil": a.condition(soil=a.soil((22.5,) * 3)),
        "heat hot": a.condition(soil=a.soil((27.5,) * 5)),
        "soaking standing": a.condition(standing_water=today),
        "soaking soaking": a.condition(bed=clay, water=a.water(drained_days=3), sky=week(a, today, 9.0, 18.0, 9.0)),
        "soaking soaking, one great rain": a.condition(
            bed=clay, sky=a.sky(recent=unknown_days(today - DAY, 1, rain_mm=np.array([70.0])))
        ),
        "soaking rain-coming": a.condition(bed=clay, sky=a.sky(outlook=rain(today, 0.0, 61.0))),
    }


def look_cases(a, today):
    shoots = DayRange(today - DAY, today + DAY, today + 4 * DAY, 1.0, 0)
    return {
        "look-for-slugs look": a.condition(sky=week(a, today, 9.0, 18.0, 3.0), crop=a.crop(shoots=shoots)),
        "look-for-beetles look": a.condition(sky=week(a, today, 10.0, 22.0, 0.0)),
        "look-for-tuber-moth look": a.condition(sky=week(a, today, 18.0, 30.0, 0.5)),
        "look-for-voles look": a.condition(crop=a.crop(forming=DaySpan(today - 21 * DAY, today))),
        "look-for-green-tubers look": a.condition(),
    }


def week(a, today, low_c, high_c, rain_mm):
    known = {"air_min_c": low_c, "air_max_c": high_c, "rain_mm": rain_mm}
    return a.sky(recent=unknown_days(today - 7 * DAY, 7, **{name: np.full(7, value) for name, value in known.items()}))


def gusts(a, today, *gust_ms):
    return a.sky(outlook=unknown_days(today, len(gust_ms), gust_ms=np.array(gust_ms)))


def growth_cases(a, today):
    warm = a.soil((16.0,) * 3)
    estimated = a.stage(Stage.EMERGED, noted=False)
    young = going_down(a, today, Cause.UNKNOWN, days=40)
    return {
        "planted-too-cold too-cold, no frost near": cold_seed(a),
        "planted-too-cold too-cold, frost near": cold_seed(a, sky=nights(a, 0.5, clear=True)),
        "planted-too-cold too-cold, no forecast": cold_seed(a, sky=a.sky(has_forecast=False)),
        "planted-too-cold too-cold, on the soil": cold_seed(a, planting=replace(a.planting, depth_m=0.0)),
        "shoots-due due": expecting(a, today, today + 9 * DAY),
        "shoots-due due, open end": expecting(a, today, None),
        "shoots-due unnoted": expecting(a, today - 50 * DAY, today - 30 * DAY),
        "shoots-due overdue": expecting(a, today - 20 * DAY, today - 8 * DAY),
        "shoots-due overdue, window closed": replace(
            expecting(a, today - 20 * DAY, today - 8 * DAY), planting=replace(a.planting, window_last=today - DAY)
        ),
        "second-straw second-layer": a.condition(soil=warm),
        "second-straw second-layer, shoots not noted": a.condition(soil=warm, stage=estimated),
        "second-straw second-layer, tall": a.condition(soil=a.soil(known=False), crop=a.crop(shoot_height_m=0.31)),
        "second-straw top-up": a.condition(last_straw=today - 15 * DAY),
        "stop-watering look": a.condition(crop=a.crop(p_days=805.0)),
        "stop-watering ask": young,
        "stop-watering taper": going_down(a, today, Cause.AGE, habit=Habit.INDETERMINATE),
        "stop-watering cut": going_down(a, today, Cause.AGE),
        "stop-watering small-turns": going_down(a, today, Cause.AGE, soil=a.soil((25.0,) * 3)),
        "skins-set setting": bare(a, today, today + 6 * DAY),
        "skins-set setting, by estimate": replace(
            bare(a, today, today + 6 * DAY), stage=a.stage(Stage.SKINS_SETTING, noted=False)
        ),
        "skins-set setting, a day": bare(a, today, today + DAY),
        "skins-set set": bare(a, today, today),
    }


def ripening(a, **changes):
    return a.condition(Stage.DYING_BACK, **changes)


def to_lift(a, today, *rain_mm, soil_c=12.0, likely=0, **changes):
    """Skins that have set, or will on their day, and a week of rain and of soil."""
    skins = DayRange(today - 7 * DAY, today + likely * DAY, today + 9 * DAY, 1.0, 0)
    sky = a.sky([a.night(1)], outlook=rain(today, *(rain_mm or (0.0,) * 7)))
    quiet = {"sky": sky, "soil": a.soil((soil_c,) * 3, (soil_c,) * 7)} | changes
    return a.condition(Stage.SKINS_SETTING, crop=a.crop(tops_gone=today - 14 * DAY, skins_ready=skins), **quiet)


def frosted(a, today):
    crop = a.crop(tops_gone=today - DAY, frosted_min_c=-3.5)
    return a.condition(Stage.SKINS_SETTING, stage=a.stage(Stage.SKINS_SETTING, noted=False), crop=crop)


def lifting_cases(a, today):
    icy, cold = a.soil((1.5,) * 3, (1.0,) * 7), nights(a, -3.0, clear=True)
    on_top = replace(a.planting, depth_m=0.0)
    soon, later = today + 24 * DAY, today + 12 * DAY
    wet, full = (9.0,) * 7, a.water(depletion_low_mm=0.0, outlook_depletion_mm=Daily(today, np.zeros(7)))
    return {
        "tubers-freeze straw": a.condition(soil=icy, sky=cold),
        "tubers-freeze straw, another night": a.condition(soil=a.soil((5.0,) * 3, (5.0, 5.0, 1.0)), sky=cold),
        "tubers-freeze frozen": ripening(a, soil=a.soil((-1.5,) * 3, (-1.0,) * 7), sky=cold),
        "tubers-freeze straw-or-lift": ripening(a, soil=icy, sky=cold),
        "tubers-freeze straw-or-lift, bare": ripening(a, planting=on_top, straw_m=0.03, sky=cold),
        "tubers-freeze straw-or-lift, no straw": ripening(a, planting=on_top, straw_m=0.0, sky=cold),
        "tops-frosted look": frosted(a, today),
        "cut-tops soon": ripening(a, ends=a.ends(hard_freeze=soon)),
        "cut-tops now, freeze": ripening(a, ends=a.ends(hard_freeze=later)),
        "cut-tops now, freeze overdue": ripening(a, ends=a.ends(hard_freeze=today - 5 * DAY)),
        "cut-tops now, heat": ripening(a, ends=a.ends(lasting_heat=later)),
        "cut-tops now, next crop": ripening(a, ends=a.ends(next_window=later, next_planting="The autumn crop")),
        "lift-days today": to_lift(a, today),
        "lift-days good": to_lift(a, today, 9.0, 9.0, 0.0, 0.0, 0.0, 9.0, 0.0),
        "lift-days good, rain not all known": to_lift(a, today, 9.0, 9.0, 9.0, 0.0, NAN, NAN, NAN),
        "lift-days least-bad": to_lift(a, today, *wet, water=full),
        "lift-days today, cold": to_lift(a, today, soil_c=4.0, ends=a.ends(next_window=later, next_planting="B")),
        "lift-days today, hot": to_lift(a, today, soil_c=26.0, ends=a.ends(lasting_heat=later)),
        "lift-days least-bad, pressing": to_lift(a, today, *wet, ends=a.ends(tubers_freeze=today + 2 * DAY)),
    }


def lifted(a, today, days_ago, room=None):
    stage = a.stage(Stage.LIFTED, since=today - days_ago * DAY)
    return a.condition(Stage.LIFTED, stage=stage, store=room or a.store(known=False))


def kept(a, today, room=None, days_ago=40, noted=True, **changes):
    stage = a.stage(Stage.STORED, noted=noted, since=today - days_ago * DAY)
    return a.condition(Stage.STORED, stage=stage, store=room or a.store(), **changes)


def season_of(today, weight_kg):
    return SeasonSum(today - 120 * DAY, today - 100 * DAY, today, 240.0, 2, 55.0, 4, weight_kg)


def store_cases(a, today):
    never = DayRange(None, None, None, 0.0, 0)
    return {
        "season-review season": replace(lifted(a, today, 0), season=season_of(today, 9.5)),
        "season-review season, no weight": replace(kept(a, today), season=season_of(today, float("nan"))),
        "cure cure": lifted(a, today, 0),
        "cure cure, in the store": lifted(a, today, 1, a.store(13.0)),
        "cure cure, the store is cold": lifted(a, today, 1, a.store(5.0)),
        "cure cure, the store is warm": lifted(a, today, 1, a.store(22.0)),
        "cure store": lifted(a, today, 10),
        "cure store, warm": lifted(a, today, 4, a.store(22.0)),
        "store-check look": kept(a, today, days_ago=7),
        "store-check look, not noted": kept(a, today, a.store(known=False), days_ago=21, noted=False),
        "store-cold may-freeze": kept(a, today, a.store(2.0, 0.5)),
        "store-cold too-cold": kept(a, today, a.store(4.0, 2.5)),
        "store-warmth keeps": kept(a, today),
        "store-warmth keeps, readings": kept(a, today, a.store(readings=3)),
        "store-warmth months, cooling": kept(a, today, a.store(14.0, 10.0)),
        "store-warmth months": kept(a, today, a.store(12.0)),
        "store-warmth weeks": kept(a, today, a.store(19.0)),
        "seed-kept none": kept(a, today, kept_seed=a.kept_seed(blight=True)),
        "seed-kept asleep": kept(a, today, kept_seed=a.kept_seed(60)),
        "seed-kept asleep, warm": kept(a, today, a.store(22.0), kept_seed=a.kept_seed(60)),
        "seed-kept asleep, for long": kept(a, today, kept_seed=a.kept_seed(wakes=never)),
        "seed-kept ready": kept(a, today, kept_seed=a.kept_seed(0)),
        "seed-kept ready, a year on": kept(a, today, kept_seed=a.kept_seed(0, again=True)),
        "seed-kept ready, seen": kept(a, today, kept_seed=a.kept_seed(sprouting=today - DAY)),
        "seed-kept too-old": kept(a, today, kept_seed=a.kept_seed(-90, old_in=0)),
    }


def water_cases(a, today):
    lacking = a.water(week_effective_mm=9.0)
    dry = a.water(depletion_low_mm=24.0, depletion_high_mm=24.0)
    soon = a.sky(outlook=rain(today, 0.0, 12.0, 0.0, chance=0.8))
    maybe = a.sky(outlook=rain(today, 12.0, 0.0, 0.0))
    unsure = a.water(week_effective_mm=2.0, week_unknown_days=1, depletion_low_mm=9.0, depletion_high_mm=12.0)
    taper = {"habit": Habit.INDETERMINATE}
    soaked = a.sky(outlook=rain(today, 0.0, 14.0, 3.0))
    return {
        "water water, week short": a.condition(water=lacking),
        "water water, one day's rain not known": a.condition(water=unsure),
        "water water, root zone dry": a.condition(water=dry),
        "water water, dry in any case": a.condition(water=replace(dry, depletion_high_mm=33.0)),
        "water water, tapering": going_down(a, today, Cause.AGE, **taper, water=dry),
        "water water, top dry": a.condition(Stage.PLANTED, water=a.water(top_share=0.66)),
        "water hold": a.condition(water=lacking, sky=soon),
        "water hold, no chance given": a.condition(water=lacking, sky=maybe),
        "water water, week short and little room": a.condition(
            water=a.water(week_effective_mm=5.0, depletion_low_mm=9.0, depletion_high_mm=9.0)
        ),
        "water water, generous target": a.condition(water=a.water(week_effective_mm=2.0, outlook_need_mm=12.0)),
        "water skip, enough for what is needed": a.condition(
            water=a.water(week_effective_mm=11.0, outlook_need_mm=12.0)
        ),
        "water skip, target had": a.condition(water=a.water(outlook_need_mm=34.0)),
        "water skip, enough": a.condition(),
        "water skip, nearly enough": a.condition(water=a.water(week_effective_mm=21.0)),
        "water skip, full": a.condition(water=a.water(depletion_low_mm=0.0, depletion_high_mm=0.0)),
        "water skip, as good as full": a.condition(water=a.water(depletion_low_mm=3.0, depletion_high_mm=3.0)),
        "water skip, moist": a.condition(water=a.water(depletion_low_mm=4.5, depletion_high_mm=4.5)),
        "water skip, bare bed": replace(a.condition(), straw_m=0.0),
        "water skip, before the shoots": a.condition(Stage.PLANTED),
        "weekly-target short": a.condition(water=a.water(outlook_need_mm=34.0)),
        "weekly-target generous": a.condition(water=a.water(outlook_need_mm=12.0)),
        "keep-it-dry cover": going_down(a, today, Cause.AGE, sky=soaked),
        "keep-it-dry cover, today": going_down(a, today, Cause.AGE, sky=maybe),
    }


def frost_cases(a, today):
    soon = DayRange(today + DAY, today + 9 * DAY, today + 15 * DAY, 1.0, 0)
    unseen = a.crop(shoots=soon, days_from_shoots=None, p_days=0.0)
    return {
        "frost heads-up": a.condition(sky=nights(a, 0.0, clear=False, ahead=3)),
        "frost cover-tonight": a.condition(sky=nights(a, -1.0, clear=True)),
        "frost cover-tonight, cloud not known": a.condition(sky=nights(a, -1.0, clear=None)),
        "frost cover-tonight, shoots not seen": a.condition(
            Stage.PLANTED, crop=unseen, sky=nights(a, -1.0, clear=True)
        ),
        "frost severe": a.condition(sky=nights(a, -3.0, clear=True)),
        "frost ripe-tops": going_down(a, today, Cause.AGE, sky=nights(a, -3.0, clear=True)),
        "frost killed": a.condition(sky=replace(nights(a, -3.0, clear=True), recent_min_c=-6.0)),
        "frost severe, put right": a.condition(
            sky=a.sky([a.night(1, -3.0, air_c=2.0, likely_air_c=0.5)], graded=ForecastsGraded(120, 1.5, 1.8))
        ),
        "frost heads-up, hardly": a.condition(sky=nights(a, 1.2, clear=False, ahead=3)),
        "frost severe, nearly ripe": a.condition(crop=a.crop(p_days=810.0), sky=nights(a, -3.0, clear=True)),
    }


def sky_cases(a, today):
    return {
        "station-silent silent": a.sky(newest_age=timedelta(days=4), newest_observed=today - 5 * DAY),
        "station-silent silent, never heard": a.sky(newest_age=None, newest_observed=None),
        "forecast-missing missing": a.sky(has_forecast=False),
    }


def blight_weather(today, *hutton):
    """Days from four back to two ahead, each either doing its half of the criteria or not."""
    first, count = today - 4 * DAY, len(hutton)
    humid = np.array([9.0, 8.0, 7.0, 6.0, 9.0, 9.0])[:count]
    flat = Daily(first, np.full(count, 12.0))
    none = Daily(first, np.zeros(count))
    ahead = Daily(first, np.where(np.arange(count) > 3, 24.0, 0.0))
    return BlightWeather(Daily(first, np.array(hutton, dtype=float)), Daily(first, humid), flat, none, ahead, none)


def blight_cases(a, today):
    came, coming = blight_weather(today, 0, 1, 1, 0, 1, 1), blight_weather(today, 0, 0, 0, 0, 1, 1)
    noted = a.crop(dying_cause=Cause.BLIGHT, dying_since=today - DAY)
    summed = replace(came, severity=Daily(today - 5 * DAY, np.array([4.0, 4.0, 4.0, 4.0, 3.0])))
    return {
        "blight-weather came": a.condition(sky=a.sky(blight=blight_weather(today, 0, 1, 1, 0, 0, 0))),
        "blight-weather came, and more": a.condition(sky=a.sky(blight=came)),
        "blight-weather coming": a.condition(sky=a.sky(blight=coming)),
        "blight-weather noted": a.condition(Stage.DYING_BACK, crop=noted),
        "blight-weather summed": a.condition(
            sky=a.sky(blight=summed), crop=a.crop(shoots=DayRange(today - 5 * DAY, None, None, 1.0, 0))
        ),
        "blight-weather summed, days missing": a.condition(sky=a.sky(blight=summed)),
    }


GROUPS = (
    *(seed_cases, planting_cases, stress_cases, look_cases, growth_cases),
    *(lifting_cases, store_cases, water_cases, frost_cases, blight_cases, sky_cases),
)
VERDICTS = {
    "buy-seed": {"buy", "in-vain", "no-window", "off-window"},
    "old-straw": {"rake-off", "lay-on"},
    "start-chitting": {"chit", "in-vain"},
    "cut-seed": {"cut", "whole"},
    "straw-blows": {"net", "net-ready"},
    "season-review": {"season"},
    "look-for-slugs": {"look"},
    "look-for-beetles": {"look"},
    "look-for-tuber-moth": {"look"},
    "look-for-voles": {"look"},
    "look-for-green-tubers": {"look"},
    "heat": {"warm-spell", "hot"},
    "soaking": {"standing", "soaking", "rain-coming"},
    "planting-time": {"plant", "plant-with-care", "wait", "too-late"},
    "planted-too-cold": {"too-cold"},
    "shoots-due": {"due", "overdue", "unnoted"},
    "second-straw": {"second-layer", "top-up"},
    "water": {"water", "hold", "skip"},
    "weekly-target": {"short", "generous"},
    "frost": {"heads-up", "cover-tonight", "severe", "ripe-tops", "killed"},
    "tubers-freeze": {"straw", "straw-or-lift", "frozen"},
    "tops-frosted": {"look"},
    "cut-tops": {"soon", "now"},
    "lift-days": {"today", "good", "least-bad"},
    "cure": {"cure", "store"},
    "store-check": {"look"},
    "store-cold": {"may-freeze", "too-cold"},
    "store-warmth": {"keeps", "months", "weeks"},
    "seed-kept": {"none", "asleep", "ready", "too-old"},
    "blight-weather": {"came", "coming", "noted", "summed"},
    "stop-watering": {"look", "ask", "taper", "cut", "small-turns"},
    "keep-it-dry": {"cover"},
    "skins-set": {"setting", "set"},
    "station-silent": {"silent"},
    "forecast-missing": {"missing"},
}


def judge(name, piece, thresholds):
    """The rule's own answer to one case, ready for the same selection as a morning's."""
    key = name.split()[0]
    if key in SKY_BY_KEY:
        answer = SKY_BY_KEY[key].judge(piece, thresholds, None)
        return Judged(key, SKY_BY_KEY[key].speaks, "", "", None, True, answer)
    if "summed" in name:
        thresholds = Thresholds.model_validate({"blight": {"way": "severity"}})
    rule, stage = BY_KEY[key], piece.stage.stage
    answer = rule.judge(piece, thresholds, None)
    return Judged(key, rule.speaks, piece.bed.key, piece.planting.key, stage, True, answer)


def decision(a, piece, today, display):
    """As much of a morning as the words of an alert look at."""
    garden = getattr(piece, "garden", None) or a.condition().garden
    garden = replace(garden, place=replace(garden.place, display=display))
    days, marks = unknown_days(today, 1), np.array([Mark.FORECAST], dtype=np.int8)
    timeline = Timeline(days, marks, marks, today, a.sky().origin, None, timedelta(0))
    return Decision(garden, a.now, today, timeline, (), (), ())


def say(a, one, piece, today, display, memory=()):
    (alert,), after = select([one], memory, today)
    return words.item(alert, decision(a, piece, today, display)), after


DAYS = re.compile(r"(?:between \d+ and |the )?\b\d+(?:st|nd|rd|th| (?!in\b)[A-Z][a-z]+\b(?: \d{4})?)")
ODDS = re.compile(r"\d+ in \d+ \(\d+ %\)")
UNITS = {
    Display.METRIC: r"°C|mm|cm|kg|km/h|litres?|hours?|days?|weeks?|years?|minutes?|%",
    Display.US: r"°F|in|lb|mph|gallons?|hours?|days?|weeks?|years?|minutes?|%",
}


def unitless(text, display):
    """Numbers that carry no unit of the reader's; days and odds are words, P-days and severity counts of their own."""
    text = ODDS.sub("", DAYS.sub("", text))
    text = re.sub(r"\d+ of the \d+ physiological days", "", text)
    text = re.sub(r"Severity values add up to \d+|the first look is due at \d+", "", text)
    text = re.sub(r"between −?[\d.]+ and (?=−?[\d.]+ °)", "", text)
    text = re.sub(r"\d+ to (?=\d+ (?:hours|days|weeks))", "", text)
    unit = re.compile(rf" (?:{UNITS[display]})(?!\w)")
    return [found[0] for found in re.finditer(r"\d+(?:\.\d+)?", text) if not unit.match(text, found.end())]


@pytest.mark.parametrize("display", list(Display))
@pytest.mark.parametrize("cases", GROUPS)
def test_every_verdict_reads_well_in_the_readers_units(a, thresholds, today, cases, display):
    for name, piece in cases(a, today).items():
        one = judge(name, piece, thresholds)
        assert isinstance(one.answer, Finding), name
        assert one.answer.verdict == name.split()[1].rstrip(","), name
        item, _ = say(a, one, piece, today, display)
        told = " ".join((item.sentence, item.reasons, item.caution))
        where = f"{name}: {told}"
        assert all(text == "" or text.endswith(".") for text in (item.sentence, item.reasons, item.caution)), where
        assert item.sentence, where
        assert item.reasons, where
        assert not re.search(r"  | [,.;:)]|\( |\(\)|\.\.|;\.|[.;:,)][A-Za-z]|None|nan", told), where
        assert cases is sky_cases or "Gatebed" in item.sentence, where
        assert not unitless(told, display), (unitless(told, display), where)
        assert not re.search("°F|gallon" if display is Display.METRIC else "°C|litre|[0-9] [cm]m", told), where
        assert ("not known" in told) is (name in NOT_ALL_KNOWN), where


# These rest on the journal, and never lack anything.
MAY_LACK = set(BY_KEY) - {"shoots-due", "skins-set", "tops-frosted", "cure", "store-check"}

# Where the rule itself has something to tell that is not known, beside what is.
NOT_ALL_KNOWN = {
    "buy-seed buy, no record",
    "water water, one day's rain not known",
    "water water, dry in any case",
    "frost cover-tonight, cloud not known",
    "lift-days good, rain not all known",
    "forecast-missing missing",
}


def test_every_verdict_of_every_rule_is_among_the_cases(a, today):
    seen = {}
    for cases in GROUPS:
        for name in cases(a, today):
            key, verdict = name.split()[:2]
            seen.setdefault(key, set()).add(verdict.rstrip(","))
    assert seen == VERDICTS
    assert set(seen) == set(BY_KEY) | set(SKY_BY_KEY)


@pytest.mark.parametrize("cases", GROUPS)
def test_standing_ended_and_unknown_read_well_too(a, thresholds, today, cases):
    for name, piece in cases(a, today).items():
        one = judge(name, piece, thresholds)
        _, memory = say(a, one, piece, today - DAY, Display.METRIC)
        if one.speaks is Speaks.ONE_MORNING:
            held, ended, unknown = (
                select([replace(one, answer=answer)], memory, today)[0]
                for answer in (one.answer, None, NotKnown("forecast", worth_saying=True))
            )
            assert held == ended == unknown == (), name
            continue
        answers = {"held": one.answer, "ended": None, "unknown": NotKnown("forecast", worth_saying=True)}
        for how, answer in answers.items():
            item, _ = say(a, replace(one, answer=answer), piece, today, Display.METRIC, memory)
            where = f"{name}, {how}: {item.sentence}"
            assert item.sentence.endswith("."), where
            assert cases is sky_cases or "Gatebed" in item.sentence, where
            assert not re.search(r"  | [,.;:)]|None|nan", item.sentence), where
            standing = how == "held" and one.speaks is Speaks.ONCE
            assert ("(first said" in item.sentence) is standing, where
            assert how != "unknown" or one.rule not in MAY_LACK or "forecast" in item.sentence, where
            told_since = how == "held" and not standing and one.answer.section is not Section.LEAVE_ALONE
            assert ("First said on" in item.reasons) is told_since, where


@pytest.mark.parametrize("key", ["water", "frost", "keep-it-dry", "tubers-freeze", "lift-days", "store-cold"])
def test_what_needs_hands_every_day_speaks_each_day(key):
    assert BY_KEY[key].speaks is Speaks.EACH_DAY


def test_what_is_only_worth_a_look_or_done_once_speaks_on_one_morning():
    one_morning = {rule.key for rule in RULES if rule.speaks is Speaks.ONE_MORNING}
    assert one_morning == {"season-review", "straw-blows", "store-warmth", "seed-kept", "weekly-target"} | {
        key for key in BY_KEY if key.startswith("look-for-")
    }


def test_all_else_speaks_once():
    each_day = {rule.key for rule in (*RULES, *SKY_RULES) if rule.speaks is Speaks.EACH_DAY}
    assert each_day == {"water", "frost", "keep-it-dry", "tubers-freeze", "lift-days", "store-cold"}


def test_what_the_grower_did_or_the_day_brought_ends_without_a_word():
    """Seed bought, shoots or tops noted, straw laid, a store looked through; and a day's turn, told anew each day."""
    done = {"buy-seed", "shoots-due", "second-straw", "tops-frosted", "store-check"}
    assert {rule.key for rule in RULES if rule.ends_unsaid} == done | {"water", "lift-days"}


def test_no_rule_is_put_off_of_itself(a, thresholds):
    assert not any(rule.put_off(a.condition(stage), thresholds) for rule in RULES for stage in rule.stages)


def test_each_rule_has_its_own_key_and_a_stage():
    assert len(BY_KEY) == len(RULES)
    assert all(rule.stages for rule in RULES)


@pytest.mark.parametrize(
    ("key", "first", "last"),
    [
        ("planting-time", Stage.SEED, Stage.CHITTING),
        ("planted-too-cold", Stage.PLANTED, Stage.PLANTED),
        ("frost", Stage.PLANTED, Stage.DYING_BACK),
        ("stop-watering", Stage.EMERGED, Stage.DYING_BACK),
        ("keep-it-dry", Stage.DYING_BACK, Stage.SKINS_SETTING),
        ("skins-set", Stage.SKINS_SETTING, Stage.SKINS_SETTING),
    ],
)
def test_rules_speak_in_their_stages(key, first, last):
    stages = BY_KEY[key].stages
    assert {stage for stage in Stage if first.order <= stage.order <= last.order} == stages


def test_rules_are_total_over_the_stages_they_speak_in(a, thresholds):
    """No rule stumbles over a quiet condition, or over one of which nothing is known."""
    nan = float("nan")
    for rule in RULES:
        for stage in rule.stages:
            quiet = a.condition(stage)
            blank = replace(
                quiet,
                soil=a.soil((nan,) * 10, (nan,) * 7, known=False),
                water=None,
                sky=a.sky((), outlook=unknown_days(quiet.today, 0), has_forecast=False),
            )
            for condition in (quiet, blank):
                answer = rule.judge(condition, thresholds, None)
                assert answer is None or isinstance(answer, Finding | NotKnown)
            nothing_known = rule.judge(blank, thresholds, None)
            told = f"{rule.key} {nothing_known.verdict}" if isinstance(nothing_known, Finding) else ""
            assert not told or told in FROM_THE_JOURNAL


# Verdicts that rest on what the grower noted and on days counted from it, not on today's soil, water or sky.
FROM_THE_JOURNAL = {
    "shoots-due overdue",
    "shoots-due unnoted",
    "shoots-due due",
    "buy-seed buy",
    "look-for-voles look",
    "season-review season",
    "season-review season, no weight",
    "look-for-green-tubers look",
    "cure cure",
    "cure store",
    "store-check look",
}


@pytest.mark.parametrize(
    ("display", "depletion", "sentence", "reasons"),
    [
        (
            Display.METRIC,
            17.0,
            "Water Gatebed: 49 litres, about 4 minutes of the hose, under the straw, early in the day.",
            "The root zone is 17 mm short of full; plants feel it from 21 mm. By the target the week lacks 16 mm.",
        ),
        (
            Display.US,
            17.0,
            "Water Gatebed: 13 gallons, about 4 minutes of the hose, under the straw, early in the day.",
            "The root zone is 0.65 in short of full; plants feel it from 0.85 in. By the target the week lacks "
            "0.65 in.",
        ),
        (
            Display.METRIC,
            8.0,
            "Skip watering Gatebed: the root zone is moist enough.",
            "The root zone is 8 mm short of full; it wants water at 17 mm. By the target the week lacks 16 mm.",
        ),
    ],
)
def test_by_the_root_zone_with_a_measured_hose(a, thresholds, today, display, depletion, sentence, reasons):
    """17 mm on 2.4 by 1.2 m are 49 l or 12.9 US gallons, and 4 minutes at 12 l a minute."""
    limits = thresholds.water.model_copy(update={"way": "depletion", "hose_flow_l_min": 12.0})
    water = a.water(week_effective_mm=9.0, depletion_low_mm=depletion, depletion_high_mm=depletion)
    piece = a.condition(water=water)
    one = judge("water", piece, thresholds.model_copy(update={"water": limits}))
    item, _ = say(a, one, piece, today, display)
    assert item.sentence == sentence
    assert reasons in item.reasons
