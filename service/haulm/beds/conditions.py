"""From weather and journal to the condition of each planting on one morning."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from haulm.bed_water import WaterNow
from haulm.beds.chances import FrostYears, chances_of, frost_years
from haulm.beds.crop import Around, crop_kept, crop_now, growth_of, shoots_range
from haulm.beds.earlier import earlier_crops
from haulm.beds.endings import ends_of
from haulm.beds.evaporation import Evaporation, evaporation_of, is_dry
from haulm.beds.forcing import LONGEST_OUTLOOK_DAYS, Climate, Forcing, PlaceMean, ahead, climate_of, past
from haulm.beds.frosted import tops_frosted
from haulm.beds.kept_seed import kept_seed_of
from haulm.beds.memo import Memo
from haulm.beds.noted import (
    Noted,
    last_laid,
    last_under_water,
    last_without_shoots,
    noted,
    rain_read_mm,
    stage_now,
    straw_depths_m,
    watered_mm,
)
from haulm.beds.readings import taught_by
from haulm.beds.season_sum import season_sum
from haulm.beds.seed import seed_now
from haulm.beds.soil import no_soil, soil_now
from haulm.beds.soil_run import SoilRun, ground_of, run_soil
from haulm.beds.store import outdoors, store_now
from haulm.beds.straw import straw_lying_m
from haulm.beds.water import bed_days, water_now
from haulm.condition import Condition, SeasonChances, SkyNow
from haulm.garden import Garden, Journal, Planting, Stage
from haulm.science.water_balance import StrawWater
from haulm.settings.thresholds import Thresholds
from haulm.weather import Daily, FloatArray, Timeline

LOOKED_AHEAD = timedelta(days=100)  # a window further off than this is no news yet
# The root zone forgets: a winter's rain, or a season's watering, fills it. Judgement.
WATER_REMEMBERED, BEFORE_PLANTING = timedelta(days=180), timedelta(days=60)
# Judgement: soil that is ready so long after the window tells nothing of it; longer than shoots take in the coldest
# soil that anyone plants in; longer than any outlook, and than any question about a crop in leaf.
PAST_THE_WINDOW_DAYS, SOIL_TILL_SHOOTS_DAYS, SOIL_ONCE_UP_DAYS = 30, 100, 30
# As far back as water is run, and the weeks before it whose climate counts; as far ahead as the week's need.
EVAPORATION_BACK, EVAPORATION_AHEAD_DAYS = timedelta(days=400), 8
LOOKED_BACK = timedelta(days=21)  # a crop never planted is forgotten so long after its window


@dataclass(frozen=True, slots=True, eq=False)
class _Place:
    """What all plantings of a garden share this morning; `holders` tells which planting is in a bed's soil."""

    garden: Garden
    timeline: Timeline
    sky: SkyNow
    climate: Climate
    frosts: FrostYears
    journal: Journal
    thresholds: Thresholds
    today: date
    holders: Mapping[str, str]
    evaporation: Evaporation
    memo: Memo


def conditions_of(
    garden: Garden, timeline: Timeline, sky: SkyNow, journal: Journal, thresholds: Thresholds, told: PlaceMean,
    memo: Memo | None = None,
) -> tuple[Condition, ...]:  # fmt: skip
    """The condition of every planting that is neither finished nor far off.

    Parameters
    ----------
    journal
        What stands in it this morning (`Journal.known`).
    told
        The place's mean year as the settings have it.
    memo
        What the morning before left; it changes no answer.
    """
    today, memo = timeline.today, memo or Memo()
    days = {planting.key: noted(journal, planting) for planting in garden.plantings}
    alive = [planting for planting in garden.plantings if _alive(planting, days[planting.key], today)]
    if not alive:
        return ()
    kept = [planting for planting in alive if days[planting.key].is_kept(today)]
    growing = [planting for planting in alive if planting not in kept]
    climate = climate_of(timeline, told, garden.place.latitude_deg, memo)
    been = past(timeline, climate, _first_day(today))
    coming = ahead(timeline, climate, own_years=any(days[planting.key].planted is None for planting in growing))
    place = _Place(
        garden,
        timeline,
        sky,
        climate,
        frost_years(timeline, garden.place, thresholds, memo),
        journal,
        thresholds,
        today,
        {one.bed: one.key for one in alive if days[one.key].in_ground(today)},
        evaporation_of(
            timeline,
            garden.place,
            been.since(today - EVAPORATION_BACK),
            coming.part(slice(0, EVAPORATION_AHEAD_DAYS)),
            dry=memo.kept("dry", (garden.place, climate), lambda: is_dry(garden.place, climate)),
        ),
        memo,
    )
    found = [*_growing(place, growing, days, been, coming), *_kept(place, kept, days, been, coming)]
    order = [planting.key for planting in garden.plantings]
    return tuple(sorted(found, key=lambda one: order.index(one.planting.key)))


def _growing(
    place: _Place, plantings: list[Planting], days: Mapping[str, Noted], been: Forcing, coming: Forcing
) -> list[Condition]:
    """What is in a bed's soil, or is to be."""
    if not plantings:
        return []
    garden, journal, memo = place.garden, place.journal, place.memo
    near = coming.part(slice(0, _soil_days(plantings, days, place.today)))
    beds = [garden.bed(planting.bed) for planting in plantings]
    straw = np.stack([straw_depths_m(bed, journal, been.first, been.days) for bed in beds])
    lying = np.stack([straw_lying_m(bed, journal, been.first, been.days + near.days) for bed in beds])
    new_straw_m = place.thresholds.planting.straw_at_planting_m
    ground = memo.kept("ground", (garden.place, place.climate), lambda: ground_of(garden.place, place.climate))
    run = run_soil(ground, beds, plantings, lying, new_straw_m, been, near, memo)
    return [
        _condition(place, planting, days[planting.key], run, row, straw[row], been, coming)
        for row, planting in enumerate(plantings)
    ]


def _kept(
    place: _Place, plantings: list[Planting], days: Mapping[str, Noted], been: Forcing, coming: Forcing
) -> list[Condition]:
    """What is lifted and kept: it asks for the store, and no longer for a bed's soil and water."""
    if not plantings:
        return []
    garden, today, thresholds = place.garden, place.today, place.thresholds
    store = store_now(garden, place.journal, outdoors(been, coming, place.climate), thresholds, today)
    found = []
    for planting in plantings:
        own, bed = days[planting.key], garden.bed(planting.bed)
        found.append(
            Condition(
                garden=garden,
                bed=bed,
                planting=planting,
                today=today,
                stage=stage_now(own, None, today),
                straw_m=float(straw_depths_m(bed, place.journal, today, 1)[0]),
                soil=no_soil(today),
                water=None,
                crop=crop_kept(planting, own),
                last_straw=last_laid(bed, place.journal, today),
                chances=SeasonChances(place.frosts.last.years, float("nan"), None),
                sky=place.sky,
                store=store,
                kept_seed=kept_seed_of(garden, planting, days, store, thresholds, today),
                season=season_sum(bed, planting, own, place.journal, place.timeline.days),
            )
        )
    return found


def _alive(planting: Planting, days: Noted, today: date) -> bool:
    if days.finished is not None:
        return False
    if days.chitting is None and days.planted is None and days.seed_bought is None:
        return planting.window_first - LOOKED_AHEAD <= today <= planting.window_last + LOOKED_BACK
    if days.planted is not None or days.out_of_ground is not None:
        return days.in_ground(today) or days.is_kept(today)
    return today <= planting.window_last + LOOKED_BACK


def _first_day(today: date) -> date:
    """The soil is run from the first day of last year: long enough for its upper metres to forget the start."""
    return date(today.year - 1, 1, 1)


def _soil_days(alive: Iterable[Planting], days: Mapping[str, Noted], today: date) -> int:
    """How far ahead the soil is run: while its warmth decides when to plant or when the shoots come, far enough."""

    def asked(planting: Planting) -> int:
        noted_days = days[planting.key]
        if noted_days.planted is None:
            return max((planting.window_last - today).days + PAST_THE_WINDOW_DAYS, SOIL_TILL_SHOOTS_DAYS)
        seen = noted_days.shoots or noted_days.tops_gone or noted_days.lifted
        return SOIL_ONCE_UP_DAYS if seen else SOIL_TILL_SHOOTS_DAYS

    return min(max(map(asked, alive)), LONGEST_OUTLOOK_DAYS)


def _condition(
    place: _Place, planting: Planting, days: Noted, run: SoilRun, row: int, straw_m: FloatArray,
    been: Forcing, coming: Forcing,
) -> Condition:  # fmt: skip
    bed, today, thresholds = place.garden.bed(planting.bed), place.today, place.thresholds
    has_the_bed = place.holders.get(bed.key, planting.key) == planting.key
    taught = taught_by(place.journal, run.heard[row])
    waits = days.planted is None
    soil = soil_now(run, row, planting, taught, thresholds, place.climate.years, waits=waits)
    seen = soil.as_it_lies_c
    expected = seen if days.planted else Daily(today, soil.under_new_straw_c.values)
    earlier = earlier_crops(place.journal, place.garden, planting, days.planted, seen, place.timeline.days)
    shoots = shoots_range(days, expected, today, earlier)
    around = Around(*_air(been, coming), seen, Daily(been.first, straw_m))
    crop = crop_now(planting, days, shoots, around, thresholds, today, earlier)
    frost = tops_frosted(days, crop, bed, place.timeline, place.journal, thresholds)
    if frost is not None:
        days = replace(days, frosted=frost.day)
        crop = replace(
            crop_now(planting, days, shoots, around, thresholds, today, earlier), frosted_min_c=frost.lowest_c
        )
    stage = stage_now(days, shoots, today)
    ripens = stage.stage in {Stage.DYING_BACK, Stage.SKINS_SETTING}
    growth = growth_of(days, shoots, around, crop.p_days_needed)
    return Condition(
        garden=place.garden,
        bed=bed,
        planting=planting,
        today=today,
        stage=stage,
        straw_m=float(straw_m[-1]),
        soil=soil,
        water=_water(place, planting, days, growth, straw_m, been, coming) if has_the_bed else None,
        crop=crop,
        last_straw=last_laid(bed, place.journal, today),
        chances=chances_of(place.frosts, planting, shoots, thresholds),
        sky=place.sky,
        seed=seed_now(days, planting, place.frosts, place.climate, thresholds),
        standing_water=last_under_water(bed, place.journal),
        no_shoots=last_without_shoots(planting, place.journal),
        ends=ends_of(place.garden, planting, place.frosts, soil, thresholds, today) if ripens else None,
    )


def _air(been: Forcing, coming: Forcing) -> tuple[Daily, Daily]:
    """Minimum and maximum of the air from the first day run to the outlook's end."""
    return (
        Daily(been.first, np.concatenate([been.air_min_c[0], coming.air_min_c[0]])),
        Daily(been.first, np.concatenate([been.air_max_c[0], coming.air_max_c[0]])),
    )


def _water(
    place: _Place, planting: Planting, days: Noted, growth: Daily | None, straw_m: FloatArray,
    been: Forcing, coming: Forcing,
) -> WaterNow:  # fmt: skip
    bed = place.garden.bed(planting.bed)
    begins = min(place.today - WATER_REMEMBERED, (days.planted or place.today) - BEFORE_PLANTING)
    been = been.since(begins.replace(month=begins.month - (begins.month - 1) % 3, day=1))  # of a quarter of the year
    straw_m = straw_m[-been.days :]
    count = been.days + coming.days
    lying = np.concatenate([straw_m, np.full(coming.days, straw_m[-1])])
    watered = watered_mm(bed, place.journal, been.first, count)
    holds = StrawWater(most_mm=place.thresholds.straw.holds_most_mm)
    own_gauge = rain_read_mm(bed, place.journal, been.first, been.days)
    return water_now(
        bed,
        bed_days(bed, days, growth, been.first, lying, watered, holds),
        been.with_rain(own_gauge),
        coming,
        place.evaporation,
        place.timeline.days.of("rain_chance"),
        place.memo.under(planting.key),
    )
