"""When the soil will have stood at its limit: runs of days, the window, and the place's own years."""

import numpy as np
import pytest

from haulm.beds.soil import ready_range
from haulm.garden import Season
from haulm.weather import DAY

COLD, WARM = 8.0, 11.0


def ways(*warm_from, count=40):
    """One way for each day from which it stays warm; None stays cold."""
    day = np.arange(count)
    return np.array([np.where(day >= (count if start is None else start), WARM, COLD) for start in warm_from])


@pytest.fixture
def ready(make, thresholds, today):
    def asked(past, ahead, **planting):
        known = {"first": today - 10 * DAY} | planting
        return ready_range(np.array(past), np.asarray(ahead), make.planting(**known), thresholds, today)

    return asked


def test_three_warm_days_running_make_the_morning_after_them_the_day(ready, today):
    found = ready([COLD] * 5, ways(4))
    assert found.likely == today + 7 * DAY  # days 4, 5 and 6 are warm
    assert (found.early, found.late) == (None, None)  # one way is no range
    assert found.years == 0


@pytest.mark.parametrize(
    ("past", "waits"), [([WARM] * 3, 0), ([COLD, WARM, WARM], 1), ([WARM, COLD, WARM], 2), ([WARM, WARM, COLD], 3)]
)
def test_warm_days_that_were_count_towards_the_run(ready, today, past, waits):
    assert ready(past, ways(0)).likely == today + waits * DAY


def test_exactly_at_the_limit_is_warm_enough(ready, today):
    assert ready([10.0] * 3, np.full((1, 40), 10.0)).likely == today
    assert ready([9.99] * 3, np.full((1, 40), 9.99)).likely is None


def test_no_day_before_the_window_opens(ready, today):
    assert ready([WARM] * 3, ways(0), first=today + 12 * DAY).likely == today + 12 * DAY


def test_own_years_give_the_range_and_the_mean_year_is_left_out_of_it(ready, today):
    found = ready([COLD] * 3, ways(30, 4, 6, 8, 10, 12))
    assert found.likely == today + 11 * DAY
    assert today + 7 * DAY <= found.early < found.likely < found.late <= today + 15 * DAY
    assert (found.years, found.share) == (5, 1.0)


def test_years_in_which_it_never_came_are_told_as_a_share(ready):
    found = ready([COLD] * 3, ways(None, 4, 6, None, None))
    assert (found.years, found.share) == (4, 0.5)
    never = ready([COLD] * 3, ways(None, None, None))
    assert (never.likely, never.share, never.years) == (None, 0.0, 2)


def test_in_autumn_the_soil_must_have_fallen_to_its_limit(ready, today):
    falling = np.linspace(30.0, 20.0, 41)[None, :]  # 24 °C on the 25th day
    found = ready([31.0] * 3, falling, season=Season.AUTUMN)
    assert found.likely == today + 27 * DAY
    assert ready([24.0] * 3, falling[:, 24:], season=Season.AUTUMN).likely == today
