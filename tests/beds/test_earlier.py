"""What earlier crops teach: a small, damped move, from noted days only."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from haulm.beds.crop import shoots_range
from haulm.beds.earlier import crops_noted, earlier_crops
from haulm.beds.noted import Noted
from haulm.condition import EarlierCrops
from haulm.weather import DAY, Daily, unknown_days

LAST_YEAR = date(2026, 4, 10)


@pytest.fixture
def learn(make, today):
    """What a journal teaches the planting of this spring, in soil of 12 °C: bounds 19 and 45 days after planting."""

    def taught(*entries, soil_c=12.0, first=date(2026, 1, 1), air=(10.0, 20.0), plantings=None):
        count = (today - first).days + 240
        soil = Daily(first, np.full(count, soil_c))
        weather = unknown_days(first, count, air_min_c=np.full(count, air[0]), air_max_c=np.full(count, air[1]))
        one = make.planting()
        garden = make.garden(make.bed(), *(plantings or (one, make.planting("old"))))
        journal = make.journal(*sorted(entries, key=lambda entry: entry.day))
        return earlier_crops(crops_noted(journal), garden, one, today, soil, weather)

    return taught


def crop(make, planted, shoots_after=None, *, planting="old", chitted=False, **going_down):
    entries = [make.entry(planted, "planted", planting=planting)]
    if chitted:
        entries.append(make.entry(planted - 30 * DAY, "chitting begun", planting=planting))
    if shoots_after is not None:
        entries.append(make.entry(planted + timedelta(days=shoots_after), "shoots out", planting=planting))
    for cause, after in going_down.items():
        entries.append(make.entry(planted + timedelta(days=after), "dying back", planting=planting, cause=cause))
    return entries


def test_nothing_noted_teaches_nothing(make, learn):
    assert learn() == EarlierCrops()
    assert learn(*crop(make, LAST_YEAR)) == EarlierCrops()


@pytest.mark.parametrize(
    ("after", "moved"),
    [(29, 0.0), (19, -0.5 / 3), (45, 0.5 / 3), (10, -0.5 / 3), (80, 0.5 / 3)],  # none moves more than half the range
)
def test_one_crop_counts_a_third(make, learn, after, moved):
    """450 °C·d over 2 °C: day 45 (Sale 1979); 170 over 3 °C: day 19; their geometric mean is day 29."""
    found = learn(*crop(make, LAST_YEAR, after))
    assert found.shoots_crops == 1
    assert found.shoots_later_share == pytest.approx(moved, abs=0.01)


def test_crops_that_agree_move_more_and_crops_that_do_not_move_less(make, learn):
    years = [LAST_YEAR, LAST_YEAR + 100 * DAY, LAST_YEAR + 200 * DAY]
    agree = [entry for year in years for entry in crop(make, year, 22)]
    found = learn(*agree)
    assert found.shoots_crops == 3
    assert learn(*crop(make, years[0], 22)).shoots_later_share > found.shoots_later_share > -0.5
    differ = learn(*crop(make, years[0], 22), *crop(make, years[1], 39))
    assert abs(differ.shoots_later_share) < 0.02


def test_chitted_crops_are_set_against_what_is_usual_for_chitted_seed(make, learn):
    plain = learn(*crop(make, LAST_YEAR, 23))
    chitted = learn(*crop(make, LAST_YEAR, 23, chitted=True))
    assert plain.shoots_later_share < -0.05
    assert chitted.shoots_later_share == pytest.approx(0.0, abs=0.02)  # a quarter of the way is day 23.4


def test_a_crop_from_before_the_soil_was_run_tells_of_warmth_only(make, learn):
    """7.3885 P-days a day from day 32 to day 130 are 724 of the 800 that early kinds need: nine tenths."""
    entries = crop(make, LAST_YEAR, 32, age=130)
    found = learn(*entries)
    assert (found.shoots_crops, found.ripe_crops) == (1, 1)
    assert found.ripe_warmth_share == pytest.approx((2.0 + 98 * 7.3885 / 800.0) / 3.0, abs=1e-3)
    assert learn(*crop(make, date(2025, 12, 1), 32, age=130)).shoots_crops == 0


@pytest.mark.parametrize("cause", ["frost", "thirst", "blight", "unknown"])
def test_only_tops_that_went_down_of_age_tell_of_ripeness(make, learn, cause):
    assert learn(*crop(make, LAST_YEAR, 32, **{cause: 120})).ripe_crops == 0


def test_this_crop_itself_is_no_earlier_one(make, learn, today):
    assert learn(*crop(make, today, 20, planting="gate-early")) == EarlierCrops()
    assert learn(*crop(make, LAST_YEAR, 20, planting="gate-early")).shoots_crops == 1  # the same key, a year before


def test_a_key_used_again_keeps_its_years_apart(make, learn):
    """Shoots of the second planting are not taken for those of the first."""
    entries = [*crop(make, LAST_YEAR), *crop(make, LAST_YEAR + 60 * DAY, 29)]
    found = learn(*entries)
    assert found.shoots_crops == 1
    assert found.shoots_later_share == pytest.approx(0.0, abs=0.01)


def test_unknown_weather_tells_no_warmth(make, learn):
    assert learn(*crop(make, LAST_YEAR, 32, age=130), air=(float("nan"), 20.0)).ripe_crops == 0


@given(st.lists(st.integers(1, 120), max_size=12))
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_was_noted_the_likely_day_stays_between_the_ends_and_the_early_end_stays(make, learn, today, noted):
    entries = [
        e for at, after in enumerate(noted) for e in crop(make, LAST_YEAR + at * DAY, after, planting=f"crop {at}")
    ]
    found = learn(*entries)
    soil = Daily(today - 60 * DAY, np.full(300, 12.0))
    plain, moved = (shoots_range(Noted(planted=today), soil, today, one) for one in (EarlierCrops(), found))
    assert (moved.early, moved.late) == (plain.early, plain.late)
    assert moved.early < moved.likely <= moved.late
    assert abs((moved.likely - plain.likely).days) <= 0.5 * (plain.late - plain.early).days + 1


def test_shoots_noted_win_over_what_earlier_crops_taught(today):
    soil = Daily(today - 60 * DAY, np.full(300, 12.0))
    late = EarlierCrops(5, 0.4, 0, 1.0)
    noted = Noted(planted=today - 20 * DAY, shoots=today - DAY)
    assert shoots_range(noted, soil, today, late).likely == today - DAY
    assert shoots_range(replace(noted, shoots=None), soil, today, late).likely > today
