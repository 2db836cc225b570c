"""What a morning has to think with when servers are down, caches gone, and stations differ."""

import gzip
import shutil
from datetime import UTC, date, datetime, timedelta
from json import dumps

import numpy as np
import pytest

from haulm.errors import Exit
from haulm.jobs.morning import morning, rehearse, think
from haulm.jobs.observe_file import forecasts_of_file
from haulm.jobs.state_folder import StateFolder
from haulm.settings.fill import filled
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.store.database import open_database
from haulm.store.weather import read_record
from haulm.weather import Mark, Origin

TODAY = date(2027, 5, 4)
NOW = datetime(2027, 5, 4, 5, 30, tzinfo=UTC)
NEAR = {"99901": (52.55, -3.05, "Brackenford Hill"), "99902": (52.51, -3.0, "Osier Mere")}


@pytest.fixture
def state(tmp_path):
    return StateFolder(tmp_path / "state", tmp_path / "cache")


@pytest.fixture
def two_stations(world):
    """The second lies nearer, and its gauge tells more; the first has lost the air of the last days."""
    usual = world.answer

    def answer(path):
        if path.startswith("/stations/"):
            key = path.split("/")[2].removesuffix(".json")
            latitude, longitude, name = NEAR[key]
            place = {"latitude": latitude, "longitude": longitude, "elevation": 180}
            return dumps({"id": key, "name": {"en": name}, "location": place}).encode()
        body = usual(path)
        if body and path.startswith("/daily/"):
            return _other(body) if "99902" in path else _without_air(body, TODAY - timedelta(days=4))
        return body

    world.answer = answer
    return world


def _lines(body):
    head, *rows = gzip.decompress(body).decode().splitlines()
    return head.split(","), [row.split(",") for row in rows]


def _packed(head, rows):
    return gzip.compress("\n".join(",".join(row) for row in [head, *rows]).encode() + b"\n")


def _other(body):
    head, rows = _lines(body)
    for row in rows:
        row[head.index("prcp")] = str(_more(float(row[head.index("prcp")]), int(row[2])))
        for name in ("tmin", "tmax"):
            row[head.index(name)] = f"{float(row[head.index(name)]) - 1.5:.1f}"
    return _packed(head, rows)


def _more(rain_mm, day_of_month):
    return round(rain_mm + day_of_month / 10.0, 1)


def _without_air(body, since):
    head, rows = _lines(body)
    for row in rows:
        if date(*map(int, row[:3])) >= since:
            for name in ("temp", "tmin", "tmax"):
                row[head.index(name)] = row[head.index(f"{name}_source")] = ""
    return _packed(head, rows)


@pytest.fixture
def settings_of(tmp_path, network):
    def write(*stations, forecasts='["met-norway"]'):
        values = {
            "place": {
                "name": '"Brackenford"', "latitude": "52.5", "longitude": "-3.0", "elevation": '"140 m"',
                "zone": '"Europe/London"', "units": '"metric"',
            },
            "beds.gatebed": {"length": '"2.4 m"', "width": '"1.2 m"', "texture": '"loam"'},
            "weather": {
                "source": '"stations"', "stations": dumps(stations), "forecasts": forecasts,
                "contact": '"grower@example.org"',
            },
            "post": {},
        }  # fmt: skip
        file = tmp_path / "haulm.toml"
        file.write_text(filled(values), encoding="utf-8")
        return load(file, network)

    return write


def text(done):
    return " ".join(done.letter.text.split())


def stored(state, key, day, quantity):
    with open_database(state.store) as database:
        held = read_record(database, Origin(key, key), timedelta(days=1), NOW + timedelta(days=9))
    return held.days.of(quantity).at(day)


def test_each_station_is_kept_under_its_own_name(settings_of, state, two_stations):
    done = morning(settings_of("meteostat:99901", "meteostat:99902"), state, NOW)
    day = TODAY - timedelta(days=10)
    own = two_stations.days.of("rain_mm").at(day)
    assert stored(state, "99901", day, "rain_mm") == pytest.approx(own)
    assert stored(state, "99902", day, "rain_mm") == pytest.approx(_more(own, day.day))
    assert np.isnan(stored(state, "99901", TODAY - timedelta(days=2), "air_min_c"))
    assert done.exit_code == Exit.PARTLY  # the first station is silent


def test_the_letter_names_who_stands_in(settings_of, state, two_stations):
    told = text(morning(settings_of("meteostat:99901", "meteostat:99902"), state, NOW))
    assert "Of the last 21 days, the rain of 21 is that of Osier Mere, 1.1 km away." in told
    assert "the lowest air temperature of 4 is that of Osier Mere" in told
    assert "4 filled" in told


def test_what_is_lent_is_no_observation_and_is_moved_by_the_mean_difference(settings_of, state, two_stations, tmp_path):
    settings = settings_of("meteostat:99901", "meteostat:99902")
    _, decision = think(settings, state, NOW, NOW)
    lent = TODAY - timedelta(days=2)
    assert decision.timeline.newest_observed == TODAY - timedelta(days=5)
    assert decision.timeline.air_mark[decision.timeline.today_index - 2] == Mark.FILLED
    own = two_stations.days.of("air_min_c").at(lent)  # the neighbour is 1.5 °C colder, and tells tenths
    assert decision.timeline.days.of("air_min_c").at(lent) == pytest.approx(own, abs=0.06)


def test_without_servers_and_without_a_cache_the_store_knows_the_days(settings_of, state, world):
    settings = settings_of("meteostat:99901")
    morning(settings, state, NOW)
    shutil.rmtree(state.spool)
    world.down = True
    done = morning(settings, state, NOW + timedelta(days=1))
    assert done.exit_code == Exit.PARTLY
    assert "Newest day observed: Mon 3 May" in text(done)
    assert "meteostat:99901 could not be had" in text(done)
    assert "No observation has come in" not in text(done)


def test_a_file_that_has_lost_a_column_takes_back_no_day_that_was_had(settings_of, state, world):
    settings = settings_of("meteostat:99901")
    morning(settings, state, NOW)
    usual = world.answer

    def answer(path):
        body = usual(path)
        return _without_air(body, date(TODAY.year, 1, 1)) if body and path.startswith("/daily/") else body

    world.answer = answer
    shutil.rmtree(state.spool)
    told = text(morning(settings, state, NOW + timedelta(days=1)))
    assert "Newest day observed: Mon 3 May" in told
    assert "silent" not in told


def test_an_earlier_morning_takes_nothing_for_the_future_and_forgets_nothing(settings_of, state, world):
    settings = settings_of("meteostat:99901")
    morning(settings, state, NOW)
    memory = next(state.spool.rglob("*.arrivals.npz")).read_bytes()
    told = text(rehearse(settings, state, NOW, NOW - timedelta(days=60)))
    assert "still to come" not in told
    assert "not ended yet" not in told
    assert next(state.spool.rglob("*.arrivals.npz")).read_bytes() == memory


def test_what_could_not_be_had_is_told_beside_many_broken_lines(settings_of, state, world):
    usual = world.answer

    def answer(path):
        body = usual(path)
        if path == "/forecast":
            return None
        if path.startswith("/daily/2027"):
            head, rows = _lines(body)
            for row in rows[:9]:
                row[head.index("tmin")] = "warm"
            return _packed(head, rows)
        return body

    world.answer = answer
    done = morning(settings_of("meteostat:99901"), state, NOW)
    assert "MET Norway Locationforecast gave no forecast: not there (404)" in text(done)
    assert "line 2: tmin is no number: left out" in text(done)
    assert "more like these" in text(done)
    assert done.exit_code == Exit.PARTLY


def test_a_service_that_stands_still_is_told_and_the_next_is_asked(settings_of, state, world):
    usual, asked = world.answer, []

    def answer(path):
        asked.append(path)
        if path != "/forecast":
            return usual(path)
        world.today = TODAY - timedelta(days=3)
        try:
            return usual(path)
        finally:
            world.today = TODAY

    world.answer = answer
    settings = settings_of("meteostat:99901", forecasts='["met-norway", "us-weather-service"]')
    told = text(morning(settings, state, NOW))
    assert "MET Norway Locationforecast still gives the forecast of 2027-05-01 03:00 UTC" in told
    assert "US National Weather Service gave no forecast: the service does not cover this place" in told
    assert any(path.startswith("/points/") for path in asked)
    assert "There is no forecast" in told


def test_the_last_good_forecast_is_used_and_its_age_told_until_it_is_too_old(settings_of, state, world):
    settings = settings_of("meteostat:99901")
    morning(settings, state, NOW)
    world.down = True
    next_day, fourth = (text(morning(settings, state, NOW + timedelta(days=days))) for days in (1, 4))
    assert "Forecast: MET Norway Locationforecast, 27 hours old" in next_day
    assert "gave no forecast: not asked again, since it failed 2 times: the server is in trouble (503)" in next_day
    assert "There is no forecast: coming frost, heat, rain and wind are not known" in fourth


def test_hours_are_had_and_what_is_lacking_comes_from_the_store(settings_of, state, world):
    settings, next_day = settings_of("meteostat:99901"), NOW + timedelta(days=1)
    morning(settings, state, NOW)
    first = think(settings, state, NOW, NOW)[1].timeline
    assert first.hours_seen.end == datetime(2027, 5, 4, 5, tzinfo=UTC)
    assert first.hours_ahead.first == datetime(2027, 5, 4, 3, tzinfo=UTC)
    shutil.rmtree(state.spool)
    world.down = True
    second = think(settings, state, next_day, next_day)[1].timeline
    assert np.array_equal(second.hours_seen.air_c, first.hours_seen.air_c)
    assert second.hours_ahead.first == first.hours_ahead.first
    assert second.hours_ahead.end == first.hours_ahead.end


def test_a_newer_forecast_keeps_the_hours_that_the_one_before_told_of_the_time_between(settings_of, state, world):
    settings, next_day = settings_of("meteostat:99901"), NOW + timedelta(days=1)
    morning(settings, state, NOW)
    world.today += timedelta(days=1)
    second = think(settings, state, next_day, next_day)[1].timeline
    assert second.hours_ahead.first == datetime(2027, 5, 4, 3, tzinfo=UTC)
    assert second.hours_ahead.end == datetime(2027, 5, 8, 3, tzinfo=UTC)
    assert np.isfinite(second.hours_ahead.humidity_pct).all()


def test_a_doubt_about_an_old_issue_of_the_forecast_file_is_not_told_for_ever(tmp_path):
    (tmp_path / "haulm.toml").write_text(sample_toml().replace("# forecast_file", "forecast_file"), encoding="utf-8")
    settings = load(tmp_path / "haulm.toml")
    rows = ["issued,date,air_min_c,air_max_c,rain_mm"]
    for back in (3, 0, -1):  # each has one day whose night is warmer than its day; the last is not issued yet
        day = TODAY - timedelta(days=back)
        rows += [f"{day}T03:00Z,{day},9,3,0", f"{day}T03:00Z,{day + timedelta(days=1)},3,9,0"]
    settings.weather.forecast_file.write_text("\n".join(rows) + "\n")
    issues, told = forecasts_of_file(settings, NOW)
    assert len(issues) == 3
    assert [str(TODAY) in str(one) for one in told] == [True]
    assert not np.isfinite(issues[0].days.of("air_max_c").at(TODAY - timedelta(days=3)))  # cleaned all the same
