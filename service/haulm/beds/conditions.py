"""From weather and journal to the condition of each planting on one morning."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from haulm.bed_water import WaterNow
from haulm.beds.chances import chances_of
from haulm.beds.crop import Around, crop_kept, crop_now, growth_of, shoots_range
from haulm.beds.earlier import earlier_crops
from haulm.beds.endings import ends_of
from haulm.beds.forcing import LONGEST_OUTLOOK_DAYS, Climate, Forcing, PlaceMean, climate_of
from haulm.beds.frosted import tops_frosted
from haulm.beds.in_step import Course, finished, side_by_side
from haulm.beds.kept_seed import kept_seed_of
from haulm.beds.memo import Memo
from haulm.beds.noted import (
    Noted,
    last_laid,
    last_under_water,
    last_without_shoots,
    rain_read_mm,
    stage_now,
    straw_depths_m,
    watered_mm,
)
from haulm.beds.outside import PlaceWeather, place_weather
from haulm.beds.readings import Taught, taught_by
from haulm.beds.season_sum import season_sum
from haulm.beds.seed import seed_now, to_be_bought
from haulm.beds.soil import Plot, no_soil, soils_now
from haulm.beds.soil_run import Ground, ground_of, run_soil
from haulm.beds.store import outdoors, store_now
from haulm.beds.straw import straw_lying_m
from haulm.beds.tended import Looked, Tended, looked_at
from haulm.beds.water import BedDays, bed_days, grown_on, water_now
from haulm.beds.windows import Sown, season_fits
from haulm.condition import Condition, CropNow, DayRange, SeasonChances, SeedNow, SkyNow, SoilNow, StageNow
from haulm.garden import Bed, Garden, Journal, Place, Planting, Stage
from haulm.science.water_balance import StrawWater
from haulm.settings.thresholds import Thresholds
from haulm.weather import Daily, FloatArray, Timeline

# The root zone forgets: a winter's rain, or a season's watering, fills it. Judgement.
WATER_REMEMBERED, BEFORE_PLANTING = timedelta(days=180), timedelta(days=60)
# Judgement: soil that is ready so long after the window tells nothing of it; longer than shoots take in the coldest
# soil that anyone plants in; longer than any outlook, and than any question about a crop in leaf.
PAST_THE_WINDOW_DAYS, SOIL_TILL_SHOOTS_DAYS, SOIL_ONCE_UP_DAYS = 30, 100, 30


@dataclass(frozen=True, slots=True, eq=False)
class _Place:
    """What all gardens of a place share this morning."""

    timeline: Timeline
    climate: Climate
    ground: Ground
    weather: PlaceWeather
    memo: Memo

    @property
    def today(self) -> date:
        """The morning's day."""
        return self.timeline.today

    def coming(self, garden: Looked) -> Forcing:
        """What the garden looks at: by the place's own years while something there is to be planted."""
        return self.weather.coming[garden.waits]


def conditions_of(
    garden: Garden, timeline: Timeline, sky: SkyNow, journal: Journal, thresholds: Thresholds, told: PlaceMean,
    memo: Memo | None = None,
) -> tuple[Condition, ...]:  # fmt: skip
    """The condition of every planting of a garden that is neither finished nor far off.

    Parameters
    ----------
    journal
        What stands in it this morning (`Journal.known`).
    told
        The place's mean year as the settings have it.
    memo
        What the morning before left; it changes no answer.
    """
    return finished(conditions_of_all([Tended(garden, journal, thresholds, sky)], timeline, told, memo))[0]


def conditions_of_all(
    many: Sequence[Tended],
    timeline: Timeline,
    told: PlaceMean,
    memo: Memo | None = None,
    weather: PlaceWeather | None = None,
) -> Course[list[tuple[Condition, ...]]]:
    """Those of several gardens of one place, whose soils and water are worked out in one go, as a course.

    What is told of a garden does not depend on which others stand beside it. `weather` is the place's, where whoever
    asks has it already.
    """
    memo = memo or Memo(goes_on=False)
    gardens = [looked_at(one, timeline, memo) for one in many]
    if not any(one.growing or one.kept for one in gardens):
        return [() for _ in gardens]
    own_years = any(garden.waits for garden in gardens)
    place = _place(many[0].garden.place, timeline, told, memo, weather, own_years=own_years)
    alike: dict[int, list[Looked]] = {}
    for garden in gardens:
        if garden.growing:
            alike.setdefault(id(place.coming(garden)), []).append(garden)
    told_apart = yield from side_by_side([_grown(place, those) for those in alike.values()])
    grown = [crop for some in told_apart for crop in some]
    watered = yield from _watered(place, grown)
    found: dict[int, list[Condition]] = {id(garden): _kept(place, garden) for garden in gardens}
    for crop in grown:
        found[id(crop.garden)].append(_condition(place, crop, watered.get(id(crop))))
    return [_in_order(garden.tended.garden, found[id(garden)]) for garden in gardens]


def _in_order(garden: Garden, found: list[Condition]) -> tuple[Condition, ...]:
    order = [planting.key for planting in garden.plantings]
    return tuple(sorted(found, key=lambda one: order.index(one.planting.key)))


def _place(
    at: Place, timeline: Timeline, told: PlaceMean, memo: Memo, weather: PlaceWeather | None, *, own_years: bool
) -> _Place:
    climate = climate_of(timeline, told, at.latitude_deg, memo)
    ground = memo.kept("ground", (at, climate), lambda: ground_of(at, climate))
    weather = weather or place_weather(timeline, at, climate, memo, own_years=own_years)
    return _Place(timeline, climate, ground, weather, memo)


@dataclass(frozen=True, slots=True, eq=False)
class _Grown:
    """A planting in a bed's soil, or to be: all of its morning but the water."""

    garden: Looked
    planting: Planting
    bed: Bed
    days: Noted
    straw_m: FloatArray
    soil: SoilNow
    crop: CropNow
    shoots: DayRange | None
    stage: StageNow
    growth: Daily | None


@dataclass(frozen=True, slots=True, eq=False)
class _Row:
    """A planting in a bed's soil, or to be: a row of the place's arrays, of which its garden looks so far ahead."""

    garden: Looked
    planting: Planting
    bed: Bed
    days_ahead: int


def _grown(place: _Place, gardens: Sequence[Looked]) -> Course[list[_Grown]]:
    """The crops of some gardens that look at the same weather to come; their soil is run together."""
    coming = place.coming(gardens[0])
    reach = [_soil_days(garden.growing, garden.days, place.today) for garden in gardens]
    near = coming.part(slice(0, max(reach)))
    rows = [
        _Row(garden, planting, garden.tended.garden.bed(planting.bed), days_ahead)
        for garden, days_ahead in zip(gardens, reach, strict=True)
        for planting in garden.growing
    ]
    been = place.weather.been
    first, count = been.first, been.days + near.days
    lying = np.stack([straw_lying_m(row.bed, row.garden.tended.journal, first, count) for row in rows])
    new_straw_m = [row.garden.tended.thresholds.planting.straw_at_planting_m for row in rows]
    beds, plantings = [row.bed for row in rows], [row.planting for row in rows]
    run = yield from run_soil(place.ground, beds, plantings, lying, new_straw_m, been, near, place.memo)
    under_straw = lying[:, been.days] > 0.0
    plots = [
        _plot(row, taught_by(row.garden.tended.journal, heard, been.days + row.days_ahead), raked=bool(straw))
        for row, heard, straw in zip(rows, run.heard, under_straw, strict=True)
    ]
    soils = soils_now(run, plots, place.climate.years)
    return [_crop(place, row, soil) for row, soil in zip(rows, soils, strict=True)]


def _plot(row: _Row, taught: Taught, *, raked: bool) -> Plot:
    waits = row.garden.days[row.planting.key].planted is None
    return Plot(row.planting, row.garden.tended.thresholds, taught, row.days_ahead, waits=waits, may_be_raked=raked)


def _crop(place: _Place, row: _Row, soil: SoilNow) -> _Grown:
    garden, planting, bed = row.garden, row.planting, row.bed
    own, today, days = garden.tended, place.today, garden.days[planting.key]
    journal, thresholds = own.journal, own.thresholds
    straw_m = straw_depths_m(bed, journal, place.weather.been.first, place.weather.been.days)
    seen = soil.as_it_lies_c
    expected = seen if days.planted else Daily(today, soil.under_new_straw_c.values)
    earlier = earlier_crops(garden.crops, own.garden, planting, days.planted, seen, place.timeline.days)
    shoots = shoots_range(days, expected, today, earlier)
    around = Around(place.weather.air, seen, Daily(place.weather.been.first, straw_m))
    crop = crop_now(planting, days, shoots, around, thresholds, today, earlier)
    frost = tops_frosted(days, crop, bed, place.timeline, journal, thresholds)
    if frost is not None:
        days = replace(days, frosted=frost.day)
        crop = replace(
            crop_now(planting, days, shoots, around, thresholds, today, earlier), frosted_min_c=frost.lowest_c
        )
    growth = growth_of(days, shoots, around, crop.p_days_needed)
    stage = stage_now(days, shoots, today)
    return _Grown(garden, planting, bed, days, straw_m, soil, crop, shoots, stage, growth)


def _condition(place: _Place, grown: _Grown, water: WaterNow | None) -> Condition:
    garden, own, planting, bed = grown.garden, grown.garden.tended, grown.planting, grown.bed
    ripens = grown.stage.stage in {Stage.DYING_BACK, Stage.SKINS_SETTING}
    return Condition(
        garden=own.garden,
        bed=bed,
        planting=planting,
        today=place.today,
        stage=grown.stage,
        straw_m=float(grown.straw_m[-1]),
        soil=grown.soil,
        water=water,
        crop=grown.crop,
        last_straw=last_laid(bed, own.journal, place.today),
        chances=chances_of(garden.frosts, planting, grown.shoots, own.thresholds),
        sky=own.sky,
        seed=_seed(place, grown),
        standing_water=last_under_water(bed, own.journal),
        no_shoots=last_without_shoots(planting, own.journal),
        ends=ends_of(own.garden, planting, garden.frosts, grown.soil, own.thresholds, place.today) if ripens else None,
    )


def _seed(place: _Place, grown: _Grown) -> SeedNow:
    """The seed, and when it is to be bought what kind would fit, by the same windows that `haulm season` tells.

    That takes longer than all the rest of a bed: it is asked once, and only of a record that has a whole year.
    """
    garden, days, planting = grown.garden, grown.days, grown.planting
    own = garden.tended
    seed = seed_now(days, planting, garden.frosts, place.climate, own.thresholds)
    if planting.key in own.seed_told or not place.climate.years:
        return seed
    if not to_be_bought(days, planting, own.thresholds, place.today):
        return seed
    if planting.key in own.fits:
        return replace(seed, fits=own.fits[planting.key])
    sown = Sown(grown.bed, planting)
    return replace(
        seed, fits=season_fits(place.timeline, place.climate, own.garden.place, sown, own.thresholds, own.journal)
    )


def _kept(place: _Place, garden: Looked) -> list[Condition]:
    """What is lifted and kept: it asks for the store, and no longer for a bed's soil and water."""
    if not garden.kept:
        return []
    own, today, thresholds = garden.tended, place.today, garden.tended.thresholds
    air = outdoors(place.weather.been, place.weather.coming[False], place.climate)
    store = store_now(own.garden, own.journal, air, thresholds, today)
    found = []
    for planting in garden.kept:
        days, bed = garden.days[planting.key], own.garden.bed(planting.bed)
        found.append(
            Condition(
                garden=own.garden,
                bed=bed,
                planting=planting,
                today=today,
                stage=stage_now(days, None, today),
                straw_m=float(straw_depths_m(bed, own.journal, today, 1)[0]),
                soil=no_soil(today),
                water=None,
                crop=crop_kept(planting, days),
                last_straw=last_laid(bed, own.journal, today),
                chances=SeasonChances(garden.frosts.last.years, float("nan"), None),
                sky=own.sky,
                store=store,
                kept_seed=kept_seed_of(own.garden, planting, garden.days, store, thresholds, today),
                season=season_sum(bed, planting, days, own.journal, place.timeline.days),
            )
        )
    return found


def _soil_days(alive: Iterable[Planting], days: Mapping[str, Noted], today: date) -> int:
    """How far ahead the soil is run: while its warmth decides when to plant or when the shoots come, far enough."""

    def asked(planting: Planting) -> int:
        noted_days = days[planting.key]
        if noted_days.planted is None:
            return max((planting.window_last - today).days + PAST_THE_WINDOW_DAYS, SOIL_TILL_SHOOTS_DAYS)
        seen = noted_days.shoots or noted_days.tops_gone or noted_days.lifted
        return SOIL_ONCE_UP_DAYS if seen else SOIL_TILL_SHOOTS_DAYS

    return min(max(map(asked, alive)), LONGEST_OUTLOOK_DAYS)


def _watered(place: _Place, grown: Sequence[_Grown]) -> Course[dict[int, WaterNow]]:
    """The water of each bed, under the crop that holds it, by the identity of the crop."""
    alike: dict[tuple[date, StrawWater], list[_Grown]] = {}
    for crop in grown:
        if crop.garden.holders.get(crop.bed.key, crop.planting.key) == crop.planting.key:
            holds = StrawWater(most_mm=crop.garden.tended.thresholds.straw.holds_most_mm)
            alike.setdefault((_water_begins(crop, place.today), holds), []).append(crop)

    def waters(begins: date, holds: StrawWater, crops: Sequence[_Grown]) -> Course[list[WaterNow]]:
        been, coming = place.weather.been.since(begins), place.weather.coming[False]
        on_beds = _beds_days(crops, been, coming, holds)
        chance, memo = place.timeline.days.of("rain_chance"), place.memo.under(been.first.isoformat())
        return water_now(on_beds, been, coming, place.weather.evaporation, chance, memo)

    told = yield from side_by_side([waters(*way, crops) for way, crops in alike.items()])
    return {
        id(crop): water
        for crops, some in zip(alike.values(), told, strict=True)
        for crop, water in zip(crops, some, strict=True)
    }


def _water_begins(grown: _Grown, today: date) -> date:
    """Far enough back, on the first day of a quarter of the year: so it seldom moves."""
    begins = min(today - WATER_REMEMBERED, (grown.days.planted or today) - BEFORE_PLANTING)
    return begins.replace(month=begins.month - (begins.month - 1) % 3, day=1)


def _beds_days(crops: Sequence[_Grown], been: Forcing, coming: Forcing, holds: StrawWater) -> BedDays:
    count, first = been.days + coming.days, been.first
    straw, grown, watered, read = [], [], [], []
    for crop in crops:
        lay, journal = crop.straw_m[-been.days :], crop.garden.tended.journal
        straw.append(np.concatenate([lay, np.full(coming.days, lay[-1])]))
        grown.append(grown_on(crop.days, crop.growth, first, count))
        watered.append(watered_mm(crop.bed, journal, first, count))
        read.append(rain_read_mm(crop.bed, journal, first, been.days))
    beds = [crop.bed for crop in crops]
    return bed_days(beds, np.stack(grown), first, np.stack(straw), np.stack(watered), np.stack(read), holds)
