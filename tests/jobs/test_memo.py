"""What a morning takes over from the one before changes nothing: field by field, whatever happened in between.

To 1e-9 °C and mm: a march that goes on from a kept state rounds it once more than one that never stopped.
"""

from dataclasses import fields, is_dataclass, replace
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from haulm.beds import conditions
from haulm.beds.forcing import PlaceMean
from haulm.beds.memo import Memo
from haulm.garden import Entry, Journal, What
from haulm.jobs import demo
from haulm.jobs.decide import decide, outside_now
from haulm.settings.thresholds import Thresholds
from haulm.sources.invented import invented_forecasts, invented_record
from haulm.weather import DAY, QUANTITIES

FIRST, LAST = date(2023, 3, 1), date(2027, 12, 31)
ROUNDING = 1e-9


def assert_alike(one, other, where=""):
    """Every number, day and word that a decision holds."""
    assert type(one) is type(other), where
    if isinstance(one, np.ndarray):
        assert one.shape == other.shape, where
        np.testing.assert_allclose(one, other, rtol=0, atol=ROUNDING, err_msg=where)
    elif is_dataclass(one):
        for field in fields(one):
            assert_alike(getattr(one, field.name), getattr(other, field.name), f"{where}.{field.name}")
    elif isinstance(one, (tuple, list)):
        assert len(one) == len(other), where
        for at, pair in enumerate(zip(one, other, strict=True)):
            assert_alike(*pair, f"{where}[{at}]")
    elif isinstance(one, dict):
        assert one.keys() == other.keys(), where
        for key in one:
            assert_alike(one[key], other[key], f"{where}[{key}]")
    elif isinstance(one, float):
        assert one == pytest.approx(other, abs=ROUNDING, nan_ok=True), where
    else:
        assert one == other, where


def test_the_comparison_sees_a_difference():
    scene = demo.scenes(2027)[0]
    decision = demo.decided(scene, date(2027, 5, 11))
    changed = decision.conditions[0]
    other = replace(changed, crop=replace(changed.crop, p_days=changed.crop.p_days + 1e-6))
    assert_alike(decision, decision)
    with pytest.raises(AssertionError, match="p_days"):
        assert_alike(changed, other)


class Years:
    """An invented place over some years, and its mornings thought both ways."""

    def __init__(self, at):
        self.scene = demo.scenes(2027)[at]
        self.garden = self.scene.garden
        self.record = invented_record(self.garden.key, FIRST, LAST, demo.SEED)
        self.journal = demo.journal_of(self.scene, 2027)
        self.thresholds = Thresholds()
        self.memo, self.said = Memo(), ()

    def at(self, day):
        return datetime.combine(day, time(6, 30), ZoneInfo(self.garden.place.zone))

    def forecasts(self, mornings):
        return invented_forecasts(self.garden.key, self.record.days, mornings, demo.SEED)

    def compare(self, mornings):
        issues = self.forecasts(mornings)
        for day in mornings:
            given = (self.garden, self.thresholds, self.at(day), self.record, issues, self.journal, self.said)
            with_memo, without = decide(*given, memo=self.memo), decide(*given)
            assert_alike(with_memo, without, f"{day}")
            self.said = without.memory

    def note(self, day, what, value=None, *, written=None, planting="", number=0, **more):
        bed = self.garden.beds[0].key
        entry = Entry(f"more-{number}", self.at(written or day), day, bed, planting, what, "", value, **more)
        self.journal = Journal((*self.journal.entries, entry))


def test_what_is_known_outside_may_be_worked_out_ahead():
    years, mornings = Years(0), days(date(2027, 4, 18), 4, step=12)
    issues, memo = years.forecasts(mornings), Memo()
    years.note(date(2027, 4, 20), What.NIGHT_READ, -3.0)
    for day in mornings:
        given = (years.garden, years.thresholds, years.at(day), years.record, issues, years.journal)
        outside = outside_now(*given, PlaceMean(), memo)
        assert_alike(decide(*given, (), outside=outside), decide(*given, ()), f"{day}")


def test_what_kind_of_seed_fits_may_be_worked_out_ahead_too(monkeypatch):
    years, day = Years(0), date(2027, 1, 10)
    opens = day + years.thresholds.seed.buy_ahead_days * DAY
    one = replace(years.garden.plantings[0], key="next", window_first=opens, window_last=opens + 40 * DAY)
    years.garden = replace(years.garden, plantings=(one,))
    given = (years.garden, years.thresholds, years.at(day), years.record, years.forecasts([day]), years.journal)
    outside, alone = outside_now(*given, PlaceMean(), Memo()), decide(*given, ())
    assert [key for key, fits in outside.fits.items() if fits is not None] == ["next"]
    monkeypatch.setattr(conditions, "season_fits", lambda *_: pytest.fail("asked again"))
    assert_alike(decide(*given, (), outside=outside), alone)


def days(first, count, step=1):
    return [first + k * step * DAY for k in range(count)]


@pytest.mark.parametrize("at", [0, 1])
def test_through_a_year_with_its_notes(at):
    years = Years(at)
    years.compare(days(date(2026, 12, 20), 40, step=9))


def test_day_by_day_through_planting_shoots_and_straw():
    Years(0).compare(days(date(2027, 4, 10), 35))


def test_over_new_year_when_the_mean_year_and_the_first_day_change():
    Years(1).compare(days(date(2026, 12, 27), 12))


def test_late_and_patchy_data():
    """A row that comes three days late, rows that never come, a gap long past that is filled one morning."""
    years = Years(0)
    received = np.array([years.at(day + DAY).timestamp() - 7200.0 for day in days(FIRST, len(years.record.days))])
    place = {day: (day - FIRST).days for day in days(date(2027, 1, 1), 300)}
    received[place[date(2027, 4, 20)]] = years.at(date(2027, 4, 24)).timestamp()
    received[place[date(2027, 4, 3)] : place[date(2027, 4, 15)]] = years.at(date(2027, 4, 28)).timestamp()
    values = {name: getattr(years.record.days, name).copy() for name in QUANTITIES}
    for column in values.values():
        column[place[date(2027, 4, 22)]] = np.nan
    values["rain_mm"][place[date(2027, 4, 18)]] = np.nan
    years.record = replace(years.record, days=replace(years.record.days, **values), received=received)
    years.compare(days(date(2027, 4, 14), 18))


def test_a_record_too_short_for_a_mean_year():
    years = Years(0)
    years.record = invented_record("brackenford", date(2027, 3, 1), LAST, demo.SEED)
    years.compare(days(date(2027, 4, 12), 8))


def test_notes_written_late_and_taken_back():
    years = Years(0)
    first = date(2027, 5, 12)
    years.note(first - 30 * DAY, What.SOIL_READ, 9.0, written=first + 2 * DAY, number=1)
    years.note(first - 20 * DAY, What.STRAW_LAID, 0.15, written=first + 4 * DAY, number=2)
    years.note(first - 3 * DAY, What.WATERED, 12.0, written=first + 1 * DAY, number=3)
    years.note(first - 20 * DAY, None, written=first + 6 * DAY, number=4, withdraws="more-2")
    years.note(first - 4 * DAY, What.RAIN_READ, 30.0, written=first + 3 * DAY, number=5)
    years.compare(days(first, 9))


def test_another_garden_or_other_thresholds_may_take_the_same_memo():
    """Nobody does so; if somebody did, it would be slow, not wrong."""
    years, other = Years(0), Years(1)
    other.memo = years.memo
    for day in days(date(2027, 3, 1), 3):
        years.compare([day])
        other.compare([day])
    years.thresholds = Thresholds(planting={"straw_at_planting": "12 cm"})
    years.compare([date(2027, 3, 5)])


def test_going_back_to_an_earlier_morning():
    years = Years(0)
    years.compare([date(2027, 6, 1), date(2027, 5, 1), date(2026, 5, 20), date(2027, 6, 2)])


def test_it_saves_most_of_the_work():
    """Counted, not timed: of the days of the soil's past only the new ones are walked."""
    years, walked = Years(0), []

    class Counting(Memo):
        def march(self, name, given, inputs, start, run):
            def counted(state, some):
                walked.append(some.stop - some.start)
                return run(state, some)

            return super().march(name, given, inputs, start, counted)

        def under(self, key):
            return self

    years.memo = Counting()
    mornings = days(date(2027, 5, 1), 3)
    years.compare(mornings[:1])
    first = sum(walked)
    walked.clear()
    years.compare(mornings[1:])
    assert sum(walked) < first / 20
    assert timedelta(days=first) > timedelta(days=365)
