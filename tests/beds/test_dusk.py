"""When it gets dark: published sunsets, far north and south, evenings past midnight, and days of 23 and 25 hours.

Sunset and twilight of the first test: U.S. Naval Observatory tables, from memory to within some minutes; the tolerance
of ten minutes holds that much.
"""

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from haulm.beds.dusk import Darkness, evening_of, look_at, second_look_at, sunrise_after, sunset_of
from haulm.garden import Place
from haulm.units import Display

TWO_HOURS = timedelta(hours=2)
DAY = timedelta(days=1)


def place(latitude_deg, longitude_deg, zone):
    return Place("Brackenford", latitude_deg, longitude_deg, 0.0, zone, Display.METRIC, 1.5)


GREENWICH = place(51.48, 0.0, "Europe/London")
QUITO = place(-0.2, -78.5, "America/Guayaquil")
HELSINKI = place(60.2, 24.9, "Europe/Helsinki")
REYKJAVIK = place(64.1, -21.9, "Atlantic/Reykjavik")
TROMSO = place(69.65, 18.95, "Europe/Oslo")
HOBART = place(-42.9, 147.3, "Australia/Hobart")


def clock(instant, where):
    return instant.astimezone(ZoneInfo(where.zone))


@pytest.mark.parametrize(
    ("where", "day", "hour"),
    [
        (GREENWICH, date(2027, 6, 21), time(21, 21)),
        (GREENWICH, date(2027, 12, 21), time(15, 53)),
        (QUITO, date(2027, 3, 21), time(18, 25)),
        (HOBART, date(2027, 12, 21), time(20, 49)),
    ],
)
def test_sunset_is_near_the_tables(where, day, hour):
    told = clock(sunset_of(where, day), where)
    assert told.date() == day
    assert abs(datetime.combine(day, told.time()) - datetime.combine(day, hour)) <= timedelta(minutes=10)


def test_dusk_comes_after_sunset_soon_in_the_tropics_late_in_the_north():
    for where, least, most in ((QUITO, 19, 25), (GREENWICH, 33, 52)):
        evening = evening_of(where, date(2027, 6, 21))
        lag = (evening.dark - sunset_of(where, date(2027, 6, 21))) / timedelta(minutes=1)
        assert evening.by is Darkness.DUSK
        assert least <= lag <= most


@pytest.mark.parametrize(
    ("where", "day", "by"),
    [
        (TROMSO, date(2027, 6, 21), Darkness.CLOCK),  # the sun does not set
        (TROMSO, date(2027, 12, 21), Darkness.DUSK),  # it does not rise, but there is a twilight about noon
        (place(-77.8, 166.7, "Antarctica/McMurdo"), date(2027, 6, 21), Darkness.CLOCK),  # neither sun nor twilight
        (REYKJAVIK, date(2027, 6, 21), Darkness.SUNSET),  # civil twilight all night, and a sunset past midnight
        (HELSINKI, date(2027, 6, 21), Darkness.DUSK),  # past midnight, but it is that evening's
    ],
)
def test_what_tells_the_evening_far_from_the_equator(where, day, by):
    evening = evening_of(where, day)
    assert evening.by is by
    noon = datetime.combine(day, time(12), ZoneInfo(where.zone))
    assert noon <= evening.dark < noon + DAY


def test_evenings_that_end_past_midnight_are_looked_at_before():
    evening = evening_of(HELSINKI, date(2027, 6, 21))
    assert clock(evening.dark, HELSINKI).date() == date(2027, 6, 22)
    look = clock(look_at(HELSINKI, date(2027, 6, 21), TWO_HOURS), HELSINKI)
    assert (look.date(), look.time()) == (date(2027, 6, 21), time(22))


@pytest.mark.parametrize("where", [GREENWICH, QUITO, HELSINKI, REYKJAVIK, TROMSO, HOBART])
def test_each_day_of_a_year_has_one_look_on_its_own_afternoon(where):
    for ahead in range(0, 366, 3):
        day = date(2027, 1, 1) + ahead * DAY
        look, again = look_at(where, day, TWO_HOURS), second_look_at(where, day)
        assert clock(look, where).date() == day
        assert time(12) <= clock(look, where).time() <= time(22)
        assert again is None or (clock(again, where).date() == day and again >= look)


@pytest.mark.parametrize(("day", "offset"), [(date(2027, 3, 28), 1), (date(2027, 10, 31), 0), (date(2027, 3, 27), 0)])
def test_days_on_which_the_clocks_change_keep_their_evening(day, offset):
    look = look_at(GREENWICH, day, TWO_HOURS)
    assert clock(look, GREENWICH).utcoffset() == timedelta(hours=offset)
    assert abs((evening_of(GREENWICH, day).dark - look) - TWO_HOURS) < timedelta(seconds=1)


def test_the_sunrise_after_ends_that_night():
    for where in (GREENWICH, HOBART, HELSINKI):
        set_at, rise_at = sunset_of(where, date(2027, 5, 4)), sunrise_after(where, date(2027, 5, 4))
        assert timedelta(hours=5) < rise_at - set_at < timedelta(hours=15)
        assert clock(rise_at, where).date() == date(2027, 5, 5)
    assert sunset_of(TROMSO, date(2027, 6, 21)) is None
    assert sunrise_after(TROMSO, date(2027, 6, 21)) is None
    assert second_look_at(TROMSO, date(2027, 6, 21)) is None
    assert look_at(TROMSO, date(2027, 6, 21), TWO_HOURS) == datetime(2027, 6, 21, 16, tzinfo=UTC)
