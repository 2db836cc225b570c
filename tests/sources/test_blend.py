"""Several stations as one record: each value's own origin, corrected neighbours apart, rain never an average."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.sources.blend import Blending, blend
from haulm.sources.readings import Reading
from haulm.weather import QUANTITIES, Origin, Record, unknown_days

LONDON = ZoneInfo("Europe/London")
FIRST = date(2024, 3, 1)
COUNT = 60


def reading(key: str, distance_km: float | None = 5.0, first: date = FIRST, **values: np.ndarray) -> Reading:
    count = len(next(iter(values.values())))
    days = unknown_days(first, count, **values)
    record = Record(Origin(key, key.title(), distance_km=distance_km), days, np.full(count, np.nan), timedelta(days=1))
    ids = {name: np.where(np.isfinite(column), f"{key} gauge", "") for name, column in values.items()}
    return Reading(record, ids)


def waves(shift: float = 0.0, count: int = COUNT) -> np.ndarray:
    return 5.0 + 4.0 * np.sin(np.arange(count) / 3.0) + shift


def gaps(values: np.ndarray, *at: int) -> np.ndarray:
    holed = values.copy()
    holed[list(at)] = np.nan
    return holed


def test_one_station_alone_is_itself() -> None:
    own = reading("hill", air_min_c=gaps(waves(), 3), air_max_c=waves(9.0), rain_mm=gaps(waves(2.0), 7))
    result = blend([own], LONDON)
    for name in QUANTITIES:
        np.testing.assert_array_equal(getattr(result.record.days, name), getattr(own.record.days, name))
    assert result.record.origin.key == "hill"
    assert np.isnan(result.fills.air_min_c).all()
    assert result.provenance("air_min_c", FIRST + timedelta(days=3)) is None
    assert result.provenance("air_min_c", FIRST - timedelta(days=1)) is None


def test_a_neighbour_fills_a_gap_after_correction_and_never_stands_among_the_observed() -> None:
    own = reading("hill", air_min_c=gaps(waves(), 10, 11), air_max_c=waves(9.0))
    neighbour = reading("mere", 20.0, air_min_c=waves(2.5), air_max_c=waves(9.0 - 1.5))
    result = blend([own, neighbour], LONDON)
    assert np.isnan(result.record.days.air_min_c[10:12]).all()
    assert result.fills.air_min_c[10:12] == pytest.approx(waves()[10:12])
    assert np.flatnonzero(np.isfinite(result.fills.air_min_c)).tolist() == [10, 11]
    assert np.isnan(result.fills.air_max_c).all()
    came = result.provenance("air_min_c", FIRST + timedelta(days=10))
    assert came is not None
    assert (came.origin.key, came.origin.distance_km, came.source_id) == ("mere", 20.0, "mere gauge")
    assert came.correction_c == pytest.approx(-2.5)
    assert result.corrections_c["air_max_c"].tolist() == pytest.approx([0.0, 1.5])
    own_value = result.provenance("air_min_c", FIRST)
    assert own_value is not None
    assert (own_value.origin.key, own_value.correction_c) == ("hill", 0.0)


@pytest.mark.parametrize(("common", "used"), [(29, False), (30, True)])
def test_a_neighbour_with_too_few_common_days_does_not_fill(common: int, *, used: bool) -> None:
    low = waves()
    low[common:] = np.nan
    own = reading("hill", air_min_c=low, air_max_c=waves(9.0))
    neighbour = reading("mere", air_min_c=waves(1.0), air_max_c=waves(9.0))
    result = blend([own, neighbour], LONDON)
    assert np.isfinite(result.fills.air_min_c[common]) == used
    assert np.isfinite(result.corrections_c["air_min_c"][1]) == used


def test_the_nearer_preference_fills_first_and_the_next_where_it_has_none() -> None:
    own = reading("hill", air_min_c=gaps(waves(), 10, 11), air_max_c=waves(9.0))
    second = reading("mere", air_min_c=gaps(waves(1.0), 11), air_max_c=waves(9.0))
    third = reading("far", air_min_c=waves(3.0), air_max_c=waves(9.0))
    result = blend([own, second, third], LONDON)
    assert result.chosen["air_min_c"][9:12].tolist() == [0, 1, 2]
    assert result.fills.air_min_c[10:12] == pytest.approx(waves()[10:12])


def test_rain_comes_from_the_nearest_good_gauge() -> None:
    dry, wet = np.zeros(COUNT), np.full(COUNT, 8.0)
    own = reading("hill", 30.0, air_min_c=waves(), rain_mm=wet)
    near = reading("mere", 3.0, rain_mm=gaps(dry, 5))
    result = blend([own, near], LONDON)
    expected = gaps(dry, 5)
    expected[5] = 8.0
    assert result.record.days.rain_mm.tolist() == expected.tolist()
    came = result.provenance("rain_mm", FIRST + timedelta(days=5))
    assert came is not None
    assert (came.origin.key, came.correction_c) == ("hill", 0.0)


def test_a_neighbours_gauge_with_many_gaps_or_far_away_is_no_good_gauge() -> None:
    patchy = np.where(np.arange(COUNT) % 4 == 0, 3.0, np.nan)
    own = reading("hill", 30.0, rain_mm=np.full(COUNT, 1.0))
    nearer = reading("mere", 3.0, rain_mm=patchy)
    far = reading("far", 41.0, rain_mm=np.full(COUNT, 9.0))
    assert set(blend([own, nearer, far], LONDON).record.days.rain_mm) == {1.0}
    alone = blend([reading("hill", 3.0, rain_mm=patchy), far], LONDON)
    np.testing.assert_array_equal(alone.record.days.rain_mm, patchy)  # the grower's own choice, for want of a better
    lenient = blend([own, nearer, far], LONDON, Blending(gauge_share=0.2))
    assert set(lenient.record.days.rain_mm) == {1.0, 3.0}


def test_a_gauge_that_stopped_hands_over() -> None:
    stopped = np.full(COUNT, 2.0)
    stopped[20:] = np.nan
    near = reading("mere", 3.0, rain_mm=stopped)
    other = reading("hill", 9.0, rain_mm=np.full(COUNT, 1.0))
    how = Blending(gauge_trial_days=10)
    assert blend([near, other], LONDON, how).record.days.rain_mm.tolist() == [2.0] * 20 + [1.0] * 40


@given(st.lists(st.booleans(), min_size=70, max_size=70), st.integers(30, 69))
def test_days_that_follow_do_not_change_which_gauge_a_day_was_given(told: list[bool], count: int) -> None:
    """After the trial days; else a gauge that falls silent would rewrite the rain of the whole past."""
    rain = np.where(told, 2.0, np.nan)
    other = np.full(70, 1.0)
    whole = blend([reading("hill", 9.0, rain_mm=other), reading("mere", 3.0, rain_mm=rain)], LONDON)
    part = blend([reading("hill", 9.0, rain_mm=other[:count]), reading("mere", 3.0, rain_mm=rain[:count])], LONDON)
    first = told.index(True) if True in told else 0
    if count >= first + 30:
        assert part.chosen["rain_mm"].tolist() == whole.chosen["rain_mm"][:count].tolist()


def test_a_gauge_that_begins_is_judged_from_its_first_day() -> None:
    rain = np.full(COUNT, 2.0)
    rain[:25] = np.nan
    result = blend([reading("hill", 9.0, rain_mm=np.full(COUNT, 1.0)), reading("mere", 3.0, rain_mm=rain)], LONDON)
    assert result.record.days.rain_mm.tolist() == [1.0] * 25 + [2.0] * 35


@given(
    st.lists(st.lists(st.sampled_from([0.0, 1.0, 4.0, float("nan")]), min_size=30, max_size=30), min_size=1, max_size=4)
)
def test_rain_is_always_the_very_value_of_one_gauge(fallen: list[list[float]]) -> None:
    readings = [reading(f"g{i}", float(i), rain_mm=np.array(one)) for i, one in enumerate(fallen)]
    result = blend(readings, LONDON, Blending(gauge_share=0.0))
    for at, value in enumerate(result.record.days.rain_mm):
        told = [one[at] for one in fallen if not np.isnan(one[at])]
        assert value == told[0] if told else np.isnan(value)


def test_other_quantities_come_from_the_first_station_that_has_them() -> None:
    own = reading("hill", air_min_c=waves(), wind_ms=gaps(waves(), 4))
    other = reading("mere", wind_ms=waves(1.0), humidity_pct=np.full(COUNT, 80.0))
    result = blend([own, other], LONDON)
    assert result.record.days.wind_ms[4] == pytest.approx(waves(1.0)[4])
    assert set(result.record.days.humidity_pct) == {80.0}
    came = result.provenance("humidity_pct", FIRST)
    assert came is not None
    assert came.origin.key == "mere"


def test_stations_that_begin_and_end_on_other_days_are_laid_side_by_side() -> None:
    own = reading("hill", first=FIRST + timedelta(days=5), air_min_c=waves(count=50), rain_mm=np.full(50, 1.0))
    other = reading("mere", air_min_c=waves(count=70), rain_mm=np.full(70, 2.0))
    result = blend([own, other], LONDON, Blending(gauge_share=0.5))
    assert (result.record.days.first, len(result.record.days)) == (FIRST, 70)
    assert np.isnan(result.record.days.air_min_c[:5]).all()
    assert np.isfinite(result.fills.air_min_c[:5]).all()
    assert result.ids["rain_mm"][[0, 5, 54, 55]].tolist() == ["mere gauge", "hill gauge", "hill gauge", "mere gauge"]


def test_a_day_counts_as_come_when_the_last_of_its_values_came() -> None:
    end = datetime(2024, 3, 2, tzinfo=UTC).timestamp()  # of the first day, in winter time
    own = reading("hill", 9.0, air_min_c=waves(), wind_ms=waves())
    other = reading("mere", 3.0, rain_mm=np.zeros(COUNT), air_min_c=waves())
    noted = replace(own, record=replace(own.record, received=np.full(COUNT, end + 3600.0)))
    late = replace(other, record=replace(other.record, received=np.full(COUNT, end + 90000.0)))
    assert blend([noted, late], LONDON).record.received[0] == end + 90000.0
    # Not noted counts as after its own usual delay of a day.
    assert blend([noted, other], LONDON).record.received[0] == end + 86400.0
    assert np.isnan(blend([own, other], LONDON, Blending(gauge_limit_km=1.0)).record.received).all()
    # What only fills is no part of the observed row.
    holed = replace(noted, record=replace(noted.record, days=replace(noted.record.days, air_min_c=gaps(waves(), 2))))
    only_air = replace(late, record=replace(late.record, days=unknown_days(FIRST, COUNT, air_min_c=waves())))
    filled = blend([holed, only_air], LONDON)
    assert filled.record.received[2] == end + 3600.0
    assert filled.fills_received[2] == end + 90000.0
    assert np.isnan(filled.fills_received[3])


def test_nothing_to_blend_is_a_fault_of_the_caller() -> None:
    with pytest.raises(ValueError, match="no reading"):
        blend([], LONDON)
