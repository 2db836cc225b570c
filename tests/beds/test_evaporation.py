"""Which way a day's evapotranspiration is found by, and that what is known is used."""

import numpy as np
import pytest
import refet

from haulm.bed_water import EtoWay
from haulm.beds.evaporation import evaporation_of, is_dry
from haulm.beds.forcing import PlaceMean, ahead, climate_of, past
from haulm.science import evapotranspiration as et
from haulm.science import sun
from haulm.weather import DAY

NAN = float("nan")


@pytest.fixture
def found(make, today):
    """Evaporation of 30 past days and eight ahead; arrays are the newest days of the record before today."""

    def worked_out(**newest):
        whole = {}
        for name, values in newest.items():
            plain = make.timeline().days
            run = getattr(plain, name).copy()
            at = make.timeline().today_index
            run[at - len(values) : at] = values
            whole[name] = run
        timeline = make.timeline(**whole)
        climate = climate_of(timeline, PlaceMean(), 52.5)
        been, coming = past(timeline, climate, today - 30 * DAY), ahead(timeline, climate, own_years=False, count=8)
        return evaporation_of(timeline, make.place(), been, coming, dry=is_dry(make.place(), climate)), timeline

    return worked_out


def test_each_day_goes_by_the_most_that_is_known_of_it(found):
    evaporation, _ = found(
        air_min_c=[8.0, 8.0, 8.0, 8.0, NAN],
        humidity_pct=[70.0, NAN, 70.0, NAN, 70.0],
        dew_point_c=[NAN, 9.0, NAN, NAN, NAN],
        wind_ms=[3.0, 3.0, NAN, 3.0, 3.0],
    )
    assert evaporation.ways(5, 30) == (EtoWay.WHOLE, EtoWay.WHOLE, EtoWay.BY_RULE, EtoWay.BY_RULE, EtoWay.MEAN_YEAR)
    assert np.isfinite(evaporation.eto_mm.values).all()


def test_a_day_of_which_all_is_known_is_penman_monteith_of_an_independent_library(found, make, today):
    """refet, ASCE-EWRI 2005 with FAO's constants for grass; wind at 10 m; the sun from the day's range (eq 50)."""
    evaporation, _ = found(air_min_c=[9.0], air_max_c=[23.0], humidity_pct=[62.0], wind_ms=[4.0])
    day = (today - DAY).timetuple().tm_yday
    radiation = sun.radiation_from_range_mj(9.0, 23.0, sun.top_radiation_mj(52.5, day), elevation_m=140.0)
    vapour = 0.62 * (et.saturation_vapour_kpa(9.0) + et.saturation_vapour_kpa(23.0)) / 2.0
    theirs = refet.Daily(
        tmin=9.0, tmax=23.0, rs=radiation, uz=4.0, zw=10, elev=make.place().elevation_m, lat=52.5, doy=day, ea=vapour
    ).eto()
    assert evaporation.eto_mm.at(today - DAY) == pytest.approx(float(theirs[0]), rel=0.01)


def test_dry_windy_air_takes_more_than_the_rule_supposes(found, today):
    by_rule, _ = found(air_min_c=[9.0], air_max_c=[23.0])
    dry, _ = found(air_min_c=[9.0], air_max_c=[23.0], humidity_pct=[25.0], wind_ms=[6.0])
    damp, _ = found(air_min_c=[9.0], air_max_c=[23.0], humidity_pct=[95.0], wind_ms=[1.0])
    yesterday = today - DAY
    assert damp.eto_mm.at(yesterday) < by_rule.eto_mm.at(yesterday) < dry.eto_mm.at(yesterday)


def test_in_a_dry_place_the_dew_point_is_taken_below_the_minimum(found, make, today):
    """The made-up place without rain is dry; with 3 mm a day it is not."""
    dry, timeline = found()
    wet = make.timeline(rain_mm=np.full(len(timeline.days), 3.0))
    climate = climate_of(wet, PlaceMean(), 52.5)
    been, coming = past(wet, climate, today - 30 * DAY), ahead(wet, climate, own_years=False, count=8)
    humid = evaporation_of(wet, make.place(), been, coming, dry=is_dry(make.place(), climate))
    assert (dry.eto_mm.values > humid.eto_mm.values).all()
    yesterday, row = today - DAY, -1
    low, high = been.air_min_c[0, row], been.air_max_c[0, row]
    top = sun.top_radiation_mj(52.5, been.day_of_year[row])
    for one, lower_c in ((dry, 2.5), (humid, 0.0)):
        vapour = et.saturation_vapour_kpa(low - lower_c)
        assert one.eto_mm.at(yesterday) == pytest.approx(float(et.grass_et_mm(low, high, vapour, 2.0, top, 140.0)))


def test_the_mean_year_goes_by_hargreaves(found, today):
    evaporation, timeline = found(air_max_c=[NAN] * 5)
    climate = climate_of(timeline, PlaceMean(), 52.5)
    been = past(timeline, climate, today - 5 * DAY)
    expected = et.hargreaves_et_mm(been.air_min_c[0], been.air_max_c[0], sun.top_radiation_mj(52.5, been.day_of_year))
    for back in (1, 2):  # the fill of short gaps is not at work here: these days follow the mean year
        assert evaporation.eto_mm.at(today - back * DAY) == pytest.approx(float(expected[-back]))


def test_the_crop_s_coefficient_follows_dry_and_windy_weeks(found, today):
    """FAO-56 eq 62 for a crop of 0.6 m: dew point 5 °C under 25 °C is 27.5 % of humidity; 5 m/s at 10 m, 3.74."""
    month = {"air_min_c": [12.0] * 30, "air_max_c": [25.0] * 30}
    known, _ = found(**month, dew_point_c=[5.0] * 30, wind_ms=[5.0] * 30)
    humidity = 100.0 * 0.8721 / 3.1671  # e°(5), e°(25): FAO-56 Table 2.3
    expected = (0.04 * (5.0 * 0.748 - 2.0) - 0.004 * (humidity - 45.0)) * (0.6 / 3.0) ** 0.3
    assert known.kc_moved.at(today - DAY) == pytest.approx(expected, abs=0.001)
    half, _ = found(**month, dew_point_c=[NAN] * 15 + [5.0] * 15, wind_ms=[NAN] * 15 + [5.0] * 15)
    assert half.kc_moved.at(today - DAY) == pytest.approx(expected / 2.0, abs=0.002)
    unknown, _ = found(**month)
    assert unknown.kc_moved.values.tolist() == [0.0] * len(unknown.kc_moved.values)
