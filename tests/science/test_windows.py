"""Windows from the fates of years: shares, runs round the year, the class that fits, what must not change them."""

from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.science.crop_fates import Fate
from haulm.science.windows import RING_DAYS, Limits, YearFates, closest, shares, windows

LIMITS = Limits(good_share=0.7, chancy_share=0.3)


def years_of(young, ripe=None, first_year=2010):
    """Years whose early class comes to something on given days, (years, 365), and ripens on others (none)."""
    young = np.asarray(young, dtype=np.int8)
    count = len(young)
    frozen = np.full((3, count, RING_DAYS), Fate.FROST_TOO_SOON, dtype=np.int8)
    ripe = frozen if ripe is None else np.asarray(ripe, dtype=np.int8)
    true = np.ones((count, RING_DAYS), dtype=bool)
    days = np.broadcast_to(np.arange(count)[:, None], (count, RING_DAYS))
    every = np.broadcast_to(days, (3, count, RING_DAYS))
    return YearFates(
        years=first_year + np.arange(count),
        young=np.stack([young, young, young]),
        ripe=ripe,
        soil=true,
        shoots=true,
        nights=true,
        warmth=young == Fate.GROWN,
        early_days=days + 15,
        late_days=days + 30,
        young_days=every + 90,
        lift_days=every + 110,
    )


def good_on(*spans, years=10, wrong=Fate.SOIL_COLD):
    """All years good on the same spans of days, first and last included; a span may run over New Year."""
    day = np.full(RING_DAYS, wrong, dtype=np.int8)
    for first, last in spans:
        day[(first + np.arange((last - first) % RING_DAYS + 1)) % RING_DAYS] = Fate.GROWN
    return np.broadcast_to(day, (years, RING_DAYS)).copy()


def spans(found):
    return [(window.first, window.last) for window in found]


def test_one_window():
    (window,) = windows(years_of(good_on((90, 120))), LIMITS)
    assert window.good
    assert window.share == 1.0
    assert (window.first, window.last) == (91, 119)  # a day needs 5 of the 7 about it: the week smooths the ends
    assert window.first <= window.best <= window.last
    assert window.length == 29
    assert window.holds(100)
    assert not window.holds(130)
    assert window.failed == ()
    assert (window.shoots_days, window.young_day) == ((20, 34), 94)
    assert window.lift_days == (111, 118)


def test_two_windows_in_the_order_of_the_year():
    found = windows(years_of(good_on((20, 60), (240, 270))), LIMITS)
    assert spans(found) == [(21, 59), (241, 269)]


def test_a_window_may_cross_new_year():
    (window,) = windows(years_of(good_on((340, 20))), LIMITS)
    assert (window.first, window.last) == (341, 19)
    assert window.length == 44
    assert window.holds(364)
    assert window.holds(0)
    assert not window.holds(100)


def test_a_whole_year_is_one_window():
    (window,) = windows(years_of(good_on((0, 364))), LIMITS)
    assert window.whole_year
    assert window.length == RING_DAYS
    assert window.holds(0)


def test_no_window_still_names_the_best_day():
    young = good_on()
    young[0, 150] = Fate.GROWN
    found = years_of(young)
    assert windows(found, LIMITS) == ()
    best = closest(found, LIMITS)
    assert abs(best.best - 150) <= 3
    assert not best.good


def test_short_gaps_are_closed_and_short_windows_dropped():
    assert len(windows(years_of(good_on((90, 110), (114, 140))), LIMITS)) == 1
    chancy_between = good_on((90, 110), (124, 140))
    chancy_between[:4, 111:124] = Fate.GROWN
    assert len(windows(years_of(chancy_between), LIMITS)) == 1
    assert len(windows(years_of(good_on((90, 110), (124, 140))), LIMITS)) == 2
    assert [window.length for window in windows(years_of(good_on((90, 95))), LIMITS)] == [4]
    assert not any(window.good for window in windows(years_of(good_on((90, 93))), LIMITS))
    assert windows(years_of(good_on((90, 91))), LIMITS) == ()


def test_what_only_some_years_bring_is_chancy_and_lies_about_a_good_window():
    young = good_on((100, 120))
    young[:5, 80:140] = Fate.GROWN
    young[:5, 200:230] = Fate.GROWN
    first, second = windows(years_of(young), LIMITS)
    assert first.good
    assert (first.first, first.last) == (99, 121)  # half the years about it: 3 days of 7 are enough
    assert first.about[0] < 90
    assert first.about[1] > 130
    assert not second.good
    assert second.about == (second.first, second.last)
    assert second.share == 0.5
    assert [year for year, _ in second.failed] == [2015, 2016, 2017, 2018, 2019]
    assert {why for _, why in second.failed} == {Fate.SOIL_COLD}


def test_a_year_that_does_not_tell_is_left_out_and_counted():
    young = good_on((90, 130))
    young[3, :] = Fate.NOT_KNOWN
    young[4, 90:131] = Fate.SHOOTS_FROZEN
    (window,) = windows(years_of(young), LIMITS)
    assert window.years == 9
    assert window.left_out == (2013,)
    assert window.failed == ((2014, Fate.SHOOTS_FROZEN),)
    assert window.share == pytest.approx(8 / 9)


def test_days_of_which_no_year_tells_belong_to_no_window():
    young = good_on((0, 364))
    young[:, 100:200] = Fate.NOT_KNOWN
    found = years_of(young)
    assert np.isnan(shares(found).young[0, 150])
    assert not any(window.holds(150) for window in windows(found, LIMITS))
    assert closest(years_of(np.full((3, RING_DAYS), Fate.NOT_KNOWN)), LIMITS) is None


def test_the_latest_class_that_ripens_in_enough_years_fits():
    young = good_on((90, 130))
    ripe = np.full((3, 10, RING_DAYS), Fate.FROST_TOO_SOON, dtype=np.int8)
    ripe[0, :, 90:131] = Fate.GROWN
    ripe[1, :7, 90:131] = Fate.GROWN
    ripe[2, :6, 90:131] = Fate.GROWN
    (window,) = windows(years_of(young, ripe), LIMITS)
    assert (window.maturity, window.ripens) == ("mid", True)
    assert window.ripe_shares == pytest.approx((1.0, 0.7, 0.6))
    (young_only,) = windows(years_of(young), LIMITS)
    assert (young_only.maturity, young_only.ripens) == ("early", False)


def test_a_window_is_that_of_the_first_class_whatever_becomes_of_later_ones():
    """Mid and late come to something on other days, and later: neither moves the best day or what is told of it."""
    early, mid = good_on((90, 120)), good_on((90, 104))
    early[:2, 90:104] = Fate.SOIL_COLD
    found = years_of(early)
    young_days = found.young_days + np.array([0, 15, 30])[:, None, None]
    found = replace(found, young=np.stack([early, mid, good_on()]), young_days=young_days)
    (window,) = windows(found, LIMITS)
    assert 107 <= window.best <= 117  # where all years bring the first class
    assert (window.share, window.failed, window.young_day) == (1.0, (), 94)


def test_a_record_that_tells_of_half_the_year_still_names_its_best_day():
    young = good_on()
    young[:, :200] = Fate.NOT_KNOWN
    young[0, 250] = Fate.GROWN
    assert abs(closest(years_of(young), LIMITS).best - 250) <= 3


def test_the_best_day_is_the_likeliest_and_then_the_ripest():
    young = good_on((90, 130))
    ripe = np.full((3, 10, RING_DAYS), Fate.FROST_TOO_SOON, dtype=np.int8)
    ripe[:, :, 90:100] = Fate.GROWN
    (window,) = windows(years_of(young, ripe), LIMITS)
    assert 93 <= window.best <= 97


def drawn(seed, count=9):
    """Years whose good days begin and end by chance, with some unknown."""
    draw = np.random.default_rng(seed)
    young = np.full((count, RING_DAYS), Fate.SOIL_COLD, dtype=np.int8)
    for row in young:
        first, length = draw.integers(340, 400), draw.integers(20, 250)
        row[(first + np.arange(length)) % RING_DAYS] = Fate.GROWN
        row[draw.integers(0, RING_DAYS, 5)] = Fate.NOT_KNOWN
    return years_of(young)


def shuffled(found, order):
    moved = {}
    for field in fields(YearFates):
        values = getattr(found, field.name)
        moved[field.name] = values[:, order] if values.ndim == 3 else values[order]
    return YearFates(**moved)


@given(st.integers(0, 2**32 - 1), st.permutations(range(9)))
def test_windows_do_not_depend_on_the_order_of_the_years(seed, order):
    found = drawn(seed)
    assert windows(shuffled(found, list(order)), LIMITS) == windows(found, LIMITS)


@given(st.integers(0, 2**32 - 1), st.integers(0, 8), st.integers(0, 364), st.integers(1, 60))
def test_more_frost_never_widens_a_window(seed, year, first, length):
    before = drawn(seed)
    young = before.young.copy()
    lost = (first + np.arange(length)) % RING_DAYS
    young[:, year, lost] = np.where(young[:, year, lost] == Fate.GROWN, Fate.SHOOTS_FROZEN, young[:, year, lost])
    after = replace(before, young=young)
    assert not (held(after) & ~held(before)).any()
    assert not (about(after) & ~about(before)).any()


def held(found):
    """Days of good windows."""
    listed = [window for window in windows(found, LIMITS) if window.good]
    return np.array([any(window.holds(day) for window in listed) for day in range(RING_DAYS)])


def about(found):
    """Days that are at least chancy."""
    listed = [window.about for window in windows(found, LIMITS)]
    return np.array([any((day - a) % RING_DAYS <= (b - a) % RING_DAYS for a, b in listed) for day in range(RING_DAYS)])
