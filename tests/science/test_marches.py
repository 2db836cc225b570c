"""Marches of several places as one: each answer is, bit for bit, that of the march alone."""

import numpy as np
import pytest

from haulm.science import soil_temperature as column
from haulm.science import water_balance as wb
from haulm.science.marches import SoilMarch, WaterMarch, march_soils, march_waters
from haulm.science.soil_freezing import Freezing

CHANCE = np.random.default_rng(11)


def soil_march(rows, days, freezing=True, depths=2):
    soil = column.SoilColumn(
        CHANCE.uniform(0.3, 1.6, rows),
        CHANCE.uniform(1.2, 2.8, rows),
        CHANCE.uniform(0.02, 0.4, (rows, depths)),
        freezing=Freezing(store_mj_m2=CHANCE.choice([0.0, 6.0], rows)) if freezing else None,
    )
    state = column.even_state(CHANCE.uniform(-1.0, 12.0, rows))
    forcing = 6.0 + 12.0 * np.sin(np.arange(days) / 9.0) + CHANCE.normal(0.0, 3.0, (rows, days))
    forcing[CHANCE.random((rows, days)) < 0.01] = np.nan
    return SoilMarch(
        column.with_ice(state) if freezing else state, forcing, CHANCE.uniform(0.0, 0.6, (rows, days)), soil
    )


def water_march(beds, days, holds=None):
    fields = {name: CHANCE.uniform(0.0, 5.0, (beds, days)) for name in wb.FORCING_NAMES}
    fields |= {"total_mm": np.full((beds, days), 60.0), "ready_mm": np.full((beds, days), 25.0)}
    fields |= {"top_mm": np.full((beds, days), 20.0), "kc": CHANCE.uniform(0.3, 1.1, (beds, days))}
    fields["rain_mm"][CHANCE.random((beds, days)) < 0.05] = np.nan
    state = wb.start_state(60.0, 20.0, driest_share=CHANCE.uniform(0.3, 0.9, beds), wettest_share=0.2)
    return WaterMarch(state, wb.WaterForcing(**fields), holds or wb.StrawWater())


@pytest.mark.parametrize("together", [1, 2, 5])
def test_soils_as_one_are_the_soils_alone(together):
    marches = [soil_march(rows, 90) for rows in (7, 4, 30, 12, 5)[:together]]
    for one, (after, found) in zip(marches, march_soils(marches), strict=True):
        alone_after, alone = column.advance(one.state, one.surface_c, one.resistance_m2k_w, one.soil)
        np.testing.assert_array_equal(after, alone_after)
        for name in column.Trajectory.__slots__:
            np.testing.assert_array_equal(getattr(found, name), getattr(alone, name))
    assert np.isfinite(found.soil_c).any()


def test_soils_that_go_otherwise_go_by_themselves():
    """Of other lengths, without freezing, at other depths: in whatever order they are asked."""
    marches = [
        soil_march(6, 40), soil_march(6, 25), soil_march(6, 40, freezing=False), soil_march(6, 40, depths=3),
        soil_march(8, 40), soil_march(8, 40, freezing=False),
    ]  # fmt: skip
    for one, (after, found) in zip(marches, march_soils(marches), strict=True):
        alone_after, alone = column.advance(one.state, one.surface_c, one.resistance_m2k_w, one.soil)
        np.testing.assert_array_equal(after, alone_after)
        np.testing.assert_array_equal(found.soil_c, alone.soil_c)


def test_waters_as_one_are_the_waters_alone():
    thick = wb.StrawWater(most_mm=4.0)
    marches = [water_march(9, 60), water_march(6, 60, thick), water_march(5, 60), water_march(7, 30)]
    for one, (after, found) in zip(marches, march_waters(marches), strict=True):
        alone_after, alone = wb.advance(one.state, one.forcing, one.holds)
        np.testing.assert_array_equal(after, alone_after)
        for name in wb.TRAJECTORY_NAMES:
            np.testing.assert_array_equal(getattr(found, name), getattr(alone, name))


def test_nothing_asked_is_nothing_marched():
    assert march_soils([]) == march_waters([]) == []
