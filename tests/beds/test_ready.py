"""When the soil will have stood at its limit: runs of days, the window, and the place's own years."""

import numpy as np
import pytest

from haulm.beds.ready import NO_ERROR, errors_ahead_c, ready_by_year, ready_ranges, waits_of
from haulm.garden import Season
from haulm.science.soil_learning import learn
from haulm.weather import DAY

COLD, WARM = 8.0, 11.0


def ways(*warm_from, count=40):
    """One way for each day from which it stays warm; None stays cold."""
    day = np.arange(count)
    return np.array([np.where(day >= (count if start is None else start), WARM, COLD) for start in warm_from])


@pytest.fixture
def ready(make, thresholds, today):
    def asked(past, ahead, errors=NO_ERROR, **planting):
        known, days_ahead = {"first": today - 10 * DAY} | planting, len(ahead[0])
        waits = waits_of([make.planting(**known)], [thresholds], [days_ahead], today)
        return ready_ranges(np.array([past]), np.asarray([ahead]), waits, today, errors)[0]

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


def rising(count=60, years=5):
    """Soil that warms by a quarter of a degree a day, a little later from year to year."""
    day = np.arange(count)
    return np.array([6.0 + 0.25 * (day - late) for late in range(years + 1)])


def off_by(*errors_c, count=60):
    return np.array([[np.full(3 + count, error) for error in errors_c]])


def test_errors_of_the_estimate_widen_the_range_on_both_sides(ready):
    plain = ready([5.0] * 3, rising())
    wide = ready([5.0] * 3, rising(), off_by(-2.0, -1.0, 0.0, 1.0, 2.0))
    assert wide.early < plain.early
    assert wide.late > plain.late
    assert abs(wide.likely - plain.likely) <= DAY
    assert (wide.share, wide.years) == (1.0, 5)


def test_half_the_errors_are_no_word_that_it_is_ready(ready, today):
    """An estimate just short of its limit may well be there already, but is not called ready; one at it is."""
    later = np.tile(np.where(np.arange(40) < 30, 9.8, 12.0), (4, 1))
    short = ready([9.8] * 3, later, off_by(-1.0, 0.5, 0.6, count=40))
    assert short.early == today
    assert short.likely == today + DAY
    there = ready([10.2] * 3, np.full((4, 40), 10.2), off_by(-1.0, -0.5, -0.3, 1.0, count=40))
    assert (there.early, there.likely) == (today, today)


def test_errors_do_not_open_the_window(ready, today):
    first = today + 9 * DAY
    found = ready([11.0] * 3, rising() + 6.0, off_by(-1.0, 0.0, 1.0), first=first)
    assert (found.early, found.likely) == (first, first)


def test_a_limit_already_met_is_met_today_and_not_before(ready, today):
    found = ready([14.0] * 3, rising() + 8.0, off_by(-0.5, 0.0, 0.5))
    assert (found.early, found.likely, found.late) == (today, today, today)


def test_without_own_years_there_is_a_likely_day_and_no_range(ready):
    found = ready([5.0] * 3, rising(years=0), off_by(-2.0, 0.0, 2.0))
    assert found.likely is not None
    assert (found.early, found.late, found.years) == (None, None, 0)


def test_errors_work_on_an_autumn_too(ready):
    falling = 30.0 - rising()[:, :] + 6.0
    plain = ready([30.0] * 3, falling, season=Season.AUTUMN)
    wide = ready([30.0] * 3, falling, off_by(-2.0, -1.0, 0.0, 1.0, 2.0), season=Season.AUTUMN)
    assert wide.early < plain.early < plain.late < wide.late


def test_what_own_years_show_of_the_weather_is_not_drawn_twice(ready):
    series, places = np.ones((1, 4, 63)), learn(np.array([]), np.zeros((4, 0)), np.array([])).covariance[None]
    doubt_c = np.concatenate([np.zeros(3), np.full(60, 2.0)])
    alike, apart = np.full((6, 60), 12.0), 12.0 + 5.0 * np.linspace(-1.0, 1.0, 6)[:, None] * np.ones(60)
    soil_c = np.full((1, 63), 12.0)
    drawn = [errors_ahead_c(series, places, soil_c, doubt_c, ways[None]).std() for ways in (alike, apart)]
    assert drawn[0] > 1.1 * drawn[1]


def test_each_own_year_gives_its_own_day(make, thresholds, today):
    waits = waits_of([make.planting(first=today - 10 * DAY)], [thresholds], [40], today)
    known = (np.array([[COLD] * 3]), ways(30, 4, None, 8)[None])
    (found,) = ready_by_year(*known, (2020, 2021, 2022), waits, today)
    assert [(one.year, one.day) for one in found] == [(2020, today + 7 * DAY), (2021, None), (2022, today + 11 * DAY)]
    assert ready_by_year(*known, (2020, 2021), waits, today) == [()]  # the ways are not these years'


def test_each_planting_has_its_own_limit_window_and_end(make, thresholds, today):
    """What is told of a planting among others is what is told of it alone."""
    warm, cold = (
        thresholds,
        thresholds.model_copy(update={"planting": thresholds.planting.model_copy(update={"soil_ready_spring_c": 7.0})}),
    )
    asked = [(warm, today - 10 * DAY, 40), (cold, today + 9 * DAY, 40), (warm, today - 10 * DAY, 6), (warm, today, 7)]
    plantings = [make.planting(first=first) for _, first, _ in asked]
    past, ahead = np.full((4, 3), COLD), np.repeat(ways(4)[None], 4, axis=0)
    waits = waits_of(plantings, [one for one, _, _ in asked], [days for _, _, days in asked], today)
    together = ready_ranges(past, ahead, waits, today, off_by(0.0, 0.1, count=40))
    assert [one.likely for one in together] == [today + 7 * DAY, today + 9 * DAY, None, today + 7 * DAY]
    for row, (own, _, days) in enumerate(asked):
        alone = waits_of([plantings[row]], [own], [days], today)
        errors = off_by(0.0, 0.1, count=days)
        assert ready_ranges(past[:1], ahead[:1, :, :days], alone, today, errors) == [together[row]]
