"""What the weather has done to each bed: the vocabulary between the beds and the alerts.

Everything here is known on the morning of `today`; nothing is worded or rounded. NaN and None mean "not known".
"""

import math
from dataclasses import dataclass, field
from datetime import date, timedelta

from haulm.bed_water import WaterNow
from haulm.garden import Bed, Cause, Garden, Planting, Stage
from haulm.taught import SeasonFits, SoilTaught, YearReady
from haulm.weather import (
    BlightWeather,
    Daily,
    Days,
    ForecastsGraded,
    Gap,
    NightPast,
    NightsRead,
    Origin,
    unknown_days,
)


@dataclass(frozen=True, slots=True)
class DayRange:
    """An expected day with the range that holds four chances in five; None for "not within the year looked at".

    `share` is the share of the place's own years in which it came at all, `years` how many there were.
    """

    early: date | None
    likely: date | None
    late: date | None
    share: float
    years: int


@dataclass(frozen=True, slots=True)
class DaySpan:
    """A stretch of days, both ends included."""

    first: date
    last: date

    def holds(self, day: date) -> bool:
        """Whether a day lies in it."""
        return self.first <= day <= self.last


@dataclass(frozen=True, slots=True)
class StageNow:
    """How far a planting has come: noted by the grower, or estimated.

    For an estimated stage `since` is the likely day, `early` and `late` the ends of the range;
    for a noted one all three are the day noted. For danger the early end counts, for permission the late one.
    """

    stage: Stage
    since: date | None
    early: date | None
    late: date | None
    noted: bool


@dataclass(frozen=True, slots=True, eq=False)
class SoilNow:
    """Soil temperature at the depth where the seed lies, day means in °C, from some weeks back to the outlook's end.

    Attributes
    ----------
    as_it_lies_c, under_new_straw_c
        The bed as it is now; and with the straw that planting would lay, from today on.
    spread_c
        Standard deviation of either, a day: of the place, the day, and the weather where it is not observed.
    known
        False after unknown weather, until what the soil remembers of that doubt is back under the stated limit.
    ready
        When the daily mean will have stood at the limit for the days asked, by forecast, own years and errors drawn.
    questioned_c
        Readings of the grower's thermometer (day, °C) that are too far from all else to be used.
    fit_chance
        Chance, 0 to 1, that a day's mean is at or beyond the limit planting waits for, from five weeks back; None where
        nothing asks.
    ready_if_raked
        As `ready`, were the straw that lies raked off today; None in autumn and where none lies.
    lowest_c
        The coldest moment of each day at the same depth, as the bed lies, from today on; None where it was not worked
        out.
    ready_by_year
        The same by the weather of each own year, with no error of the estimate.
    taught
        What readings of the grower's thermometer taught; None without any.
    """

    as_it_lies_c: Daily
    under_new_straw_c: Daily
    spread_c: Daily
    known: bool
    ready: DayRange | None
    questioned_c: tuple[tuple[date, float], ...] = ()
    fit_chance: Daily | None = None
    ready_if_raked: DayRange | None = None
    lowest_c: Daily | None = None
    ready_by_year: tuple[YearReady, ...] = ()
    taught: SoilTaught | None = None


@dataclass(frozen=True, slots=True)
class EarlierCrops:
    """What earlier crops of the garden taught, drawn towards what is usual; as good as nothing without any.

    Attributes
    ----------
    shoots_crops
        How many crops told of their shoots.
    shoots_later_share
        How much later than usual shoots come, as a share of the way from the early bound to the late one; below 0
        sooner.
    ripe_crops
        How many crops went down of age.
    ripe_warmth_share
        The warmth that ripened them over what their class needs.
    """

    shoots_crops: int = 0
    shoots_later_share: float = 0.0
    ripe_crops: int = 0
    ripe_warmth_share: float = 1.0


@dataclass(frozen=True, slots=True)
class CropNow:
    """The crop's own progress.

    Attributes
    ----------
    shoots
        When the shoots are due, noted or estimated; None before planting.
    days_from_shoots
        Days since the shoots came (late end of an estimate); None before.
    shoot_height_m
        How far the shoots stand above the straw, estimated; NaN before they are out.
    p_days, p_days_needed
        Physiological days since the shoots, and what the class needs to ripen.
    dying_cause
        Why the tops are going down, as noted.
    dying_since, tops_gone
        Days noted; None if not. Ripe tops are gone by estimate after a killing frost that nobody noted.
    frosted_min_c
        How cold that frost was; NaN where there was none.
    skins_ready
        The day on which the skins should have set.
    forming
        The weeks in which tubers are set, from the early end of the shoots' range to the late one: heat harms most
        then. Warm nights draw them out. None before planting.
    ripe
        When the tops should go down of age: as noted, else when the class has had its physiological days; None before
        planting.
    earlier
        What earlier crops of the garden taught.
    """

    shoots: DayRange | None
    days_from_shoots: int | None
    shoot_height_m: float
    p_days: float
    p_days_needed: float
    dying_cause: Cause | None
    dying_since: date | None
    tops_gone: date | None
    skins_ready: DayRange | None
    forming: DaySpan | None = None
    ripe: DayRange | None = None
    frosted_min_c: float = math.nan
    earlier: EarlierCrops = EarlierCrops()


@dataclass(frozen=True, slots=True)
class SeedNow:
    """The seed before it is planted, and the season it would have.

    Attributes
    ----------
    bought, cut
        Days noted; None if not.
    season_ends
        The day by which the crop should be grown: the killing frost at the chance that is borne, or the start of
        nights too warm in the mean year; None where no record tells, or nothing ends it within the year.
    ends_by_heat
        Whether that is the heat.
    fits
        What the place's years say of the planting; None where they do not tell, or no seed is to be bought.
    """

    bought: date | None = None
    cut: date | None = None
    season_ends: date | None = None
    ends_by_heat: bool = False
    fits: SeasonFits | None = None


@dataclass(frozen=True, slots=True)
class Night:
    """One coming night, named by the day it ends on.

    `air_c` is the forecast screen minimum, `likely_air_c` what is likelier by how earlier ones turned out, `leaf_c`
    that at leaf height in the garden, `spread_c` its standard deviation; `errors_c` are equally likely errors about
    `leaf_c`, with mean 0, and the rest of the spread lies normally about each. `still_and_clear` is None where cloud or
    wind is not forecast; `clear_chance` is then the chance (0 to 1) of such a night, and else how much of one it is.
    """

    morning: date
    air_c: float
    leaf_c: float
    spread_c: float
    still_and_clear: bool | None
    clear_chance: float = 0.0
    errors_c: tuple[float, ...] = (0.0,)
    likely_air_c: float = float("nan")


@dataclass(frozen=True, slots=True)
class SeasonChances:
    """What the place's own years say: days in the year at issue, with how many years they rest on.

    `frost_after_shoots` is the chance of a killing frost after the early shoots of a crop planted today.
    `last_safe_planting` is the last day that leaves the class its weeks before the killing frost.
    """

    years: int
    frost_after_shoots: float
    last_safe_planting: date | None


@dataclass(frozen=True, slots=True)
class Ends:
    """What ends a ripening crop's time in the ground; None for what is not in sight.

    Attributes
    ----------
    years
        How many of the place's own years tell of hard freezes.
    hard_freeze
        The day by which one has come in the share of years asked, of the season that is on or coming.
    lasting_heat
        The day from which soil at the tubers is expected to stay hot.
    tubers_freeze
        The first coming day on which frost at the tubers is as likely as a warning asks.
    next_window, next_planting
        When the window of the bed's next crop opens, and what it is called.
    """

    years: int
    hard_freeze: date | None
    lasting_heat: date | None
    tubers_freeze: date | None
    next_window: date | None
    next_planting: str


@dataclass(frozen=True, slots=True, eq=False)
class StoreNow:
    """The store room, day means in °C, from before the crop was lifted to some months ahead.

    Attributes
    ----------
    room_c, spread_c
        Estimated from the outdoor air and corrected by readings, and its standard deviation, a day.
    known
        False where the spread of today is beyond the stated limit.
    readings
        How many readings of the grower's were used.
    questioned_c
        Readings (day, °C) that are too far from all else to be used.
    """

    room_c: Daily
    spread_c: Daily
    known: bool
    readings: int
    questioned_c: tuple[tuple[date, float], ...] = ()


@dataclass(frozen=True, slots=True)
class KeptSeed:
    """What a kept crop would be as seed for the next window.

    Attributes
    ----------
    wakes
        When it sprouts, noted or estimated from the store's warmth; None where the store is not known.
    too_old
        From when on sprouted seed is too old; None for not within the days looked at.
    sprouting
        The day sprouts were noted.
    blight
        Whether blight was noted on this crop.
    window_first, window_of
        When the next window opens, and whose it is.
    again
        Whether that is a window of this year's a year on, for want of another in the settings.
    chitting
        The day on which seed for it is woken.
    """

    wakes: DayRange | None
    too_old: date | None
    sprouting: date | None
    blight: bool
    window_first: date
    window_of: str
    chitting: date
    again: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class SkyNow:
    """The weather of the place as far as this morning knows it.

    Attributes
    ----------
    newest_age
        Time since the end of the newest observed day; None if there is none.
    recent_min_c
        The lowest observed minimum of the last seven days; NaN if none is known.
    recent
        The last ten days before this morning as it knows them: observed, filled, bridged, or not known.
    blight
        Blight weather; None where neither the station nor the forecast tells hours.
    """

    outlook: Days
    nights: tuple[Night, ...]
    newest_observed: date | None
    newest_age: timedelta | None
    usual_delay: timedelta
    recent_min_c: float
    origin: Origin
    has_forecast: bool
    gaps: tuple[Gap, ...]
    nights_read: NightsRead | None = None
    recent: Days = field(default_factory=lambda: unknown_days(date(2000, 1, 1), 0))
    blight: BlightWeather | None = None
    graded: ForecastsGraded | None = None
    nights_past: tuple[NightPast, ...] = ()


@dataclass(frozen=True, slots=True)
class SeasonSum:
    """A crop from planting to its first lifting: water that came, and all the weight that was noted (NaN if none was).

    Days of unknown rain count as none; `rain_unknown_days` tells how many there were. `watered_days` are those with
    waterings.
    """

    planted: date
    shoots: date | None
    lifted: date
    rain_mm: float
    rain_unknown_days: int
    watered_mm: float
    watered_days: int
    weight_kg: float


@dataclass(frozen=True, slots=True, eq=False)
class Condition:
    """One planting in its bed on one morning: all that a rule may look at.

    `straw_m` is the depth that lies now, `last_straw` the day it was last laid, as noted or set; `standing_water` the
    last day on which the bed was noted under water, `no_shoots` the last on which none were out yet by a note. `ends`
    is None while no crop ripens there, `store`, `kept_seed` and `season` until it is lifted.
    """

    garden: Garden
    bed: Bed
    planting: Planting
    today: date
    stage: StageNow
    straw_m: float
    soil: SoilNow
    water: WaterNow | None
    crop: CropNow
    last_straw: date | None
    chances: SeasonChances
    sky: SkyNow
    seed: SeedNow = SeedNow()
    standing_water: date | None = None
    no_shoots: date | None = None
    ends: Ends | None = None
    store: StoreNow | None = None
    kept_seed: KeptSeed | None = None
    season: SeasonSum | None = None
