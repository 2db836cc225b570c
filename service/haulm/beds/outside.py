"""What a morning knows of the weather at a place before it looks at any bed: no note but nights read changes it.

So whoever runs many mornings in a row may have it worked out ahead, in another process (`jobs/replay_outside.py`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from haulm.beds.chances import FrostYears, frost_years
from haulm.beds.crop import Air, air_of
from haulm.beds.evaporation import Evaporation, evaporation_of, is_dry
from haulm.beds.forcing import Climate, Forcing, PlaceMean, ahead, climate_of, past
from haulm.beds.memo import Memo
from haulm.beds.sky import sky_now
from haulm.beds.windows import Sown, season_fits
from haulm.condition import SkyNow
from haulm.garden import Garden, Journal, Place
from haulm.settings.thresholds import Thresholds
from haulm.taught import SeasonFits
from haulm.weather import Daily, Forecast, Timeline

# As far back as water is run, and the weeks before it whose climate counts; as far ahead as the week's need.
EVAPORATION_BACK, EVAPORATION_AHEAD_DAYS = timedelta(days=400), 8


@dataclass(frozen=True, slots=True, eq=False)
class PlaceWeather:
    """The weather that all beds of a place stand in; `coming` with the place's own years, and without.

    It is one and the same where there are none, or nobody asked for them.
    """

    been: Forcing
    coming: Mapping[bool, Forcing]
    air: Air
    evaporation: Evaporation


@dataclass(frozen=True, slots=True, eq=False)
class Outside:
    """What is known of a place's weather on one morning, the sky over a garden there, and what its beds stand in.

    `fits` is what the place's years say of each planting whose seed is first spoken of this morning, by its key, and
    `frosts` what they say of killing frosts in the garden.
    """

    known: Timeline
    sky: SkyNow
    weather: PlaceWeather
    fits: Mapping[str, SeasonFits | None]
    frosts: FrostYears


def outside_of(
    timeline: Timeline,
    garden: Garden,
    thresholds: Thresholds,
    as_of: datetime,
    journal: Journal,
    forecasts: Sequence[Forecast],
    told: PlaceMean,
    memo: Memo,
) -> Outside:
    """All of it, whatever the beds will ask of it. The arguments are those of `sky_now` and `climate_of`."""
    place = garden.place
    climate = climate_of(timeline, told, place.latitude_deg, memo)
    sky = sky_now(timeline, place, thresholds, as_of, journal, forecasts, memo)
    fits = {
        one.key: season_fits(timeline, climate, place, Sown(garden.bed(one.bed), one), thresholds, journal)
        for one in garden.plantings
        if climate.years and (one.window_first - timeline.today).days == thresholds.seed.buy_ahead_days
    }
    weather = place_weather(timeline, place, climate, memo, own_years=True)
    return Outside(timeline, sky, weather, fits, frost_years(timeline, place, thresholds, memo))


def place_weather(timeline: Timeline, at: Place, climate: Climate, memo: Memo, *, own_years: bool) -> PlaceWeather:
    """The weather of a place, with its own years where they are asked for."""
    been = past(timeline, climate, _first_day(timeline.today))
    usual = ahead(timeline, climate, own_years=False)
    by_years = ahead(timeline, climate, own_years=True) if own_years and climate.years else usual
    evaporation = evaporation_of(
        timeline,
        at,
        been.since(timeline.today - EVAPORATION_BACK),
        usual.part(slice(0, EVAPORATION_AHEAD_DAYS)),
        dry=memo.kept("dry", (at, climate), lambda: is_dry(at, climate)),
    )
    return PlaceWeather(
        been,
        {False: usual, True: by_years},
        air_of(
            Daily(been.first, np.concatenate([been.air_min_c[0], usual.air_min_c[0]])),
            Daily(been.first, np.concatenate([been.air_max_c[0], usual.air_max_c[0]])),
        ),
        evaporation,
    )


def _first_day(today: date) -> date:
    """The soil is run from the first day of last year: long enough for its upper metres to forget the start."""
    return date(today.year - 1, 1, 1)
