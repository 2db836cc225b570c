"""Weather as it was known at any instant, whatever came later."""

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from haulm.store.database import Database
from haulm.store.weather import keep_forecast, keep_record, read_brief_issues, read_forecast, read_issues, read_record
from haulm.weather import QUANTITIES, Days, FloatArray, Forecast, Origin, Record, unknown_days

STATION = Origin("br1", "Brackenford", "invented", 3.2, 12.0)
OTHER = Origin("sw1", "Sallow Wells")
ISSUER = Origin("own", "own file")
DELAY = timedelta(hours=12)
FIRST = date(2027, 4, 1)
UNKNOWN = float("nan")


def record(days: Days, received: FloatArray | None = None, origin: Origin = STATION) -> Record:
    return Record(origin, days, np.full(len(days), np.nan) if received is None else received, DELAY)


def days(air_min_c: list[float], rain_mm: list[float] | None = None, first: date = FIRST) -> Days:
    rain = [UNKNOWN] * len(air_min_c) if rain_mm is None else rain_mm
    return unknown_days(first, len(air_min_c), air_min_c=np.array(air_min_c), rain_mm=np.array(rain))


def known(database: Database, as_of: datetime, origin: Origin = STATION) -> Record:
    found = read_record(database, origin, DELAY, as_of)
    assert found is not None
    return found


def test_days_come_back_as_they_went_in(database: Database, now: datetime) -> None:
    generator = np.random.default_rng(3)
    values = {name: np.where(generator.random(40) < 0.2, np.nan, generator.normal(size=40)) for name in QUANTITIES}
    values["air_min_c"][[0, -1]] = 1.5
    assert keep_record(database, record(Days(FIRST, **values)), now) == FIRST
    found = known(database, now)
    assert (found.origin, found.usual_delay, found.days.first) == (STATION, DELAY, FIRST)
    for name in QUANTITIES:
        np.testing.assert_array_equal(getattr(found.days, name), values[name])


def test_a_revised_value_is_read_as_it_was_known(database: Database, now: datetime) -> None:
    keep_record(database, record(days([1.0, 2.0, 3.0], [0.0, 4.0, 0.0])), now)
    later = now + timedelta(days=1)
    assert keep_record(database, record(days([1.0, 2.5, 3.0], [0.0, 4.0, 0.0])), later) == date(2027, 4, 2)
    assert known(database, now).days.air_min_c.tolist() == [1.0, 2.0, 3.0]
    assert known(database, later - timedelta(microseconds=1)).days.air_min_c.tolist() == [1.0, 2.0, 3.0]
    assert known(database, later).days.air_min_c.tolist() == [1.0, 2.5, 3.0]
    assert known(database, later).received[1] == later.timestamp()


def test_a_value_that_goes_back_to_an_older_one_is_a_revision_too(database: Database, now: datetime) -> None:
    for day, value in enumerate([2.0, 2.5, 2.0]):
        keep_record(database, record(days([value])), now + timedelta(days=day))
    read = [known(database, now + timedelta(days=day)).days.air_min_c[0] for day in range(3)]
    assert read == [2.0, 2.5, 2.0]


def test_the_same_record_again_adds_nothing(database: Database, now: datetime) -> None:
    keep_record(database, record(days([1.0, 2.0])), now)
    before = len(database.rows("SELECT * FROM weather"))
    assert keep_record(database, record(days([1.0, 2.0])), now + timedelta(days=1)) is None
    assert len(database.rows("SELECT * FROM weather")) == before == 2


def test_what_is_missing_today_takes_nothing_back(database: Database, now: datetime) -> None:
    keep_record(database, record(days([1.0, 2.0], [5.0, 6.0])), now)
    assert keep_record(database, record(days([1.0, UNKNOWN])), now + timedelta(days=1)) is None
    assert known(database, now + timedelta(days=1)).days.rain_mm.tolist() == [5.0, 6.0]


def test_nothing_received_later_is_seen(database: Database, now: datetime) -> None:
    recent = (now - timedelta(days=1)).date()
    keep_record(database, record(days([1.0], first=recent)), now)
    assert read_record(database, STATION, DELAY, now - timedelta(seconds=1)) is None
    assert known(database, now).received.tolist() == [now.timestamp()]


def test_history_of_a_first_import_has_no_arrival(database: Database, now: datetime) -> None:
    first = now.date() - timedelta(days=10)
    keep_record(database, record(days([float(n) for n in range(10)], first=first)), now)
    received = known(database, now).received
    assert np.isnan(received[:6]).all()
    assert received[-2:].tolist() == [now.timestamp()] * 2
    before = read_record(database, STATION, DELAY, now - timedelta(days=5))
    assert before is not None
    assert before.days.last < now.date() - timedelta(days=2)


def test_an_inner_gap_that_is_filled_late_counts_from_its_arrival(database: Database, now: datetime) -> None:
    keep_record(database, record(days([1.0, UNKNOWN, 3.0])), now)
    keep_record(database, record(days([1.0, 2.0, 3.0])), now + timedelta(days=1))
    assert np.isnan(known(database, now).days.air_min_c[1])
    assert known(database, now + timedelta(days=1)).days.air_min_c[1] == 2.0


def test_an_older_stretch_of_a_longer_file_is_history(database: Database, now: datetime) -> None:
    keep_record(database, record(days([3.0])), now)
    earlier = days([1.0, 2.0, 3.0], first=FIRST - timedelta(days=2))
    assert keep_record(database, record(earlier), now + timedelta(days=1)) == FIRST - timedelta(days=2)
    assert known(database, now).days.air_min_c.tolist() == [1.0, 2.0, 3.0]


def test_an_arrival_that_was_noted_is_kept(database: Database, now: datetime) -> None:
    noted = datetime(2027, 4, 2, 6, tzinfo=UTC)
    keep_record(database, record(days([1.0]), np.array([noted.timestamp()])), now)
    assert known(database, noted).received.tolist() == [noted.timestamp()]
    assert read_record(database, STATION, DELAY, noted - timedelta(seconds=1)) is None


def test_days_without_a_row_are_unknown(database: Database, now: datetime) -> None:
    keep_record(database, record(days([1.0])), now)
    keep_record(database, record(days([4.0], first=FIRST + timedelta(days=3))), now)
    np.testing.assert_array_equal(known(database, now).days.air_min_c, [1.0, UNKNOWN, UNKNOWN, 4.0])


def test_stations_are_apart(database: Database, now: datetime) -> None:
    keep_record(database, record(days([1.0])), now)
    keep_record(database, record(days([9.0]), origin=OTHER), now)
    assert known(database, now).days.air_min_c.tolist() == [1.0]
    assert known(database, now, OTHER).days.air_min_c.tolist() == [9.0]


def test_an_instant_without_a_zone_is_refused(database: Database) -> None:
    with pytest.raises(ValueError, match="time zone"):
        keep_record(database, record(days([1.0])), datetime(2027, 4, 12, 5, 30))  # noqa: DTZ001
    assert database.rows("SELECT * FROM weather") == []


def forecast(issued: datetime, air_min_c: list[float], received: datetime | None = None) -> Forecast:
    return Forecast(ISSUER, issued, days(air_min_c, first=issued.date()), received)


def test_the_newest_known_issue_is_read(database: Database, now: datetime) -> None:
    for hours in (0, 6, 12):
        issued = now + timedelta(hours=hours)
        keep_forecast(database, "br", forecast(issued, [float(hours), 1.0], issued + timedelta(hours=1)), issued)
    assert read_forecast(database, ISSUER, "br", now) is None
    found = read_forecast(database, ISSUER, "br", now + timedelta(hours=12, minutes=59))
    assert found is not None
    assert found.issued == now + timedelta(hours=6)
    assert found.received == now + timedelta(hours=7)
    assert found.days.air_min_c.tolist() == [6.0, 1.0]
    assert read_forecast(database, ISSUER, "elsewhere", now + timedelta(days=1)) is None


def test_an_issue_without_a_noted_arrival_counts_from_its_issue(database: Database, now: datetime) -> None:
    assert keep_forecast(database, "br", forecast(now, [1.0]), now + timedelta(days=3))
    found = read_forecast(database, ISSUER, "br", now)
    assert found is not None
    assert found.received is None
    assert found.known_since == now


def test_a_corrected_issue_stands_beside_the_first(database: Database, now: datetime) -> None:
    later = now + timedelta(hours=3)
    assert keep_forecast(database, "br", forecast(now, [1.0]), now)
    assert not keep_forecast(database, "br", forecast(now, [1.0]), later)
    assert keep_forecast(database, "br", forecast(now, [1.5]), later)
    issues = read_issues(database, ISSUER, "br", now, now)
    assert [issue.days.air_min_c.tolist() for issue in issues] == [[1.0], [1.5]]
    before, after = (read_forecast(database, ISSUER, "br", instant) for instant in (now, later))
    assert before is not None
    assert after is not None
    assert (before.days.air_min_c[0], after.days.air_min_c[0]) == (1.0, 1.5)


def test_a_forecast_is_never_in_the_record(database: Database, now: datetime) -> None:
    keep_forecast(database, "br", Forecast(STATION, now, days([1.0]), now), now)
    assert read_record(database, STATION, DELAY, now + timedelta(days=1)) is None


def test_two_years_of_issues_in_brief(database: Database, now: datetime) -> None:
    """The last issue of each day, some quantities, whatever their number: one look."""
    for ahead in range(4):
        for hours in (0, 6):
            issued = now + timedelta(days=ahead, hours=hours)
            keep_forecast(database, "br", forecast(issued, [float(ahead), float(hours)]), issued)
    corrected = now + timedelta(days=2, hours=6)
    keep_forecast(database, "br", forecast(corrected, [2.5, 6.5]), corrected + timedelta(hours=1))
    until = now + timedelta(days=2, hours=8)
    issues = read_brief_issues(database, ISSUER, "br", now, until, ["air_min_c", "cloud"])
    assert [issue.issued for issue in issues] == [now + timedelta(days=k, hours=6) for k in range(3)]
    assert [issue.days.air_min_c.tolist() for issue in issues] == [[0.0, 6.0], [1.0, 6.0], [2.5, 6.5]]
    assert issues[0].days.first == now.date()
    assert read_brief_issues(database, ISSUER, "br", now, until, ["cloud"]) == ()
