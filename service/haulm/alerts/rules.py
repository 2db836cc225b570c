"""The table of all rules, in the order of the season."""

from collections.abc import Mapping

from haulm.advice import Speaks
from haulm.alerts.blight import blight_weather
from haulm.alerts.data import forecast_missing, station_silent
from haulm.alerts.frost import frost_on_shoots
from haulm.alerts.growth import asked_to_wait, second_straw, shoots_due, skins_set, stop_watering
from haulm.alerts.lifting import cut_tops, freeze_at_tubers, lift_days, tops_frosted
from haulm.alerts.look import beetle, greening, slugs, tuber_moth, voles
from haulm.alerts.looking_back import season_review
from haulm.alerts.planting import planted_too_cold, planting_time
from haulm.alerts.rule import Rule, SkyRule, stages_between
from haulm.alerts.seed import BUY_SEED, buy_seed, cut_already, cut_seed, start_chitting
from haulm.alerts.store import cure, seed_kept, store_check, store_cold, store_warmth
from haulm.alerts.straw import old_straw, straw_blows
from haulm.alerts.stress import heat, soaking
from haulm.alerts.water import keep_it_dry, target_fits, water_verdict
from haulm.garden import Stage

SEED = frozenset({Stage.SEED})
CHITTING = frozenset({Stage.CHITTING})
WAITING = stages_between(Stage.SEED, Stage.CHITTING)
IN_THE_GROUND = frozenset({Stage.PLANTED})
BEFORE_AND_AFTER_SHOOTS = stages_between(Stage.PLANTED, Stage.EMERGED)
IN_LEAF = frozenset({Stage.EMERGED})
DYING = stages_between(Stage.EMERGED, Stage.DYING_BACK)
IN_EARTH = stages_between(Stage.PLANTED, Stage.SKINS_SETTING)
GOING_DOWN = frozenset({Stage.DYING_BACK})
RIPENING = stages_between(Stage.DYING_BACK, Stage.SKINS_SETTING)
WITH_TUBERS = stages_between(Stage.EMERGED, Stage.SKINS_SETTING)
SKINS = frozenset({Stage.SKINS_SETTING})
HEALING = frozenset({Stage.LIFTED})
IN_STORE = frozenset({Stage.STORED})

RULES: tuple[Rule, ...] = (
    Rule(BUY_SEED, SEED, Speaks.ONCE, buy_seed, ends_unsaid=True),
    Rule("old-straw", WAITING, Speaks.ONCE, old_straw),
    Rule("start-chitting", SEED, Speaks.ONCE, start_chitting),
    Rule("cut-seed", CHITTING, Speaks.ONCE, cut_seed, put_off=cut_already),
    Rule("planting-time", WAITING, Speaks.ONCE, planting_time),
    Rule("planted-too-cold", IN_THE_GROUND, Speaks.ONCE, planted_too_cold),
    Rule("shoots-due", BEFORE_AND_AFTER_SHOOTS, Speaks.ONCE, shoots_due, ends_unsaid=True, put_off=asked_to_wait),
    Rule("second-straw", IN_LEAF, Speaks.ONCE, second_straw, ends_unsaid=True),
    Rule("straw-blows", stages_between(Stage.SEED, Stage.SKINS_SETTING), Speaks.ONE_MORNING, straw_blows),
    Rule("heat", IN_LEAF, Speaks.ONCE, heat),
    Rule("soaking", stages_between(Stage.PLANTED, Stage.SKINS_SETTING), Speaks.ONCE, soaking),
    Rule("water", stages_between(Stage.PLANTED, Stage.DYING_BACK), Speaks.EACH_DAY, water_verdict, ends_unsaid=True),
    Rule("weekly-target", IN_LEAF, Speaks.ONE_MORNING, target_fits),
    Rule("frost", stages_between(Stage.PLANTED, Stage.DYING_BACK), Speaks.EACH_DAY, frost_on_shoots),
    Rule("tubers-freeze", IN_EARTH, Speaks.EACH_DAY, freeze_at_tubers),
    Rule("blight-weather", DYING, Speaks.ONCE, blight_weather),
    Rule("stop-watering", DYING, Speaks.ONCE, stop_watering),
    Rule("cut-tops", GOING_DOWN, Speaks.ONCE, cut_tops),
    Rule("keep-it-dry", RIPENING, Speaks.EACH_DAY, keep_it_dry),
    Rule("tops-frosted", SKINS, Speaks.ONCE, tops_frosted, ends_unsaid=True),
    Rule("skins-set", SKINS, Speaks.ONCE, skins_set),
    Rule("lift-days", SKINS, Speaks.EACH_DAY, lift_days, ends_unsaid=True),
    Rule("cure", HEALING, Speaks.ONCE, cure),
    Rule("store-check", IN_STORE, Speaks.ONCE, store_check, ends_unsaid=True),
    Rule("store-cold", IN_STORE, Speaks.EACH_DAY, store_cold),
    Rule("store-warmth", IN_STORE, Speaks.ONE_MORNING, store_warmth),
    Rule("seed-kept", IN_STORE, Speaks.ONE_MORNING, seed_kept),
    Rule("season-review", stages_between(Stage.LIFTED, Stage.STORED), Speaks.ONE_MORNING, season_review),
    Rule("look-for-slugs", BEFORE_AND_AFTER_SHOOTS, Speaks.ONE_MORNING, slugs),
    Rule("look-for-beetles", IN_LEAF, Speaks.ONE_MORNING, beetle),
    Rule("look-for-tuber-moth", WITH_TUBERS, Speaks.ONE_MORNING, tuber_moth),
    Rule("look-for-voles", WITH_TUBERS, Speaks.ONE_MORNING, voles),
    Rule("look-for-green-tubers", WITH_TUBERS, Speaks.ONE_MORNING, greening),
)

RULES_OF: Mapping[Stage, tuple[Rule, ...]] = {
    stage: tuple(rule for rule in RULES if stage in rule.stages) for stage in Stage
}

SKY_RULES: tuple[SkyRule, ...] = (
    SkyRule("station-silent", Speaks.ONCE, station_silent),
    SkyRule("forecast-missing", Speaks.ONCE, forecast_missing),
)
