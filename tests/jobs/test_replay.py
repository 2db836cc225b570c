"""Past mornings again: without foresight, the same each time, and with thresholds changed beside."""

import csv
import io
import json
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from haulm import cli
from haulm.beds.memo import Memo
from haulm.errors import Exit, SettingsError, SourceError, UsageError
from haulm.garden import Entry, What
from haulm.jobs import replay as replaying
from haulm.jobs import replay_outside
from haulm.jobs.engine import Here, WorkerLostError
from haulm.jobs.replay import replay
from haulm.jobs.replay_lines import as_csv, as_json, as_lines, picture
from haulm.jobs.replay_trace import Trace, garden_on
from haulm.jobs.state_folder import state_folder
from haulm.settings.load import load
from haulm.sources.invented import invented_record
from haulm.store.journal_file import append_entry
from haulm.weather import DAY, QUANTITIES

NOW = datetime(2027, 10, 1, 12, tzinfo=UTC)
SPRING = (date(2027, 3, 20), date(2027, 6, 20))
SETTINGS = """
version = 1
[place]
name = "Brackenford"
latitude = 52.5
longitude = -3.0
elevation = "230 m"
zone = "Europe/London"
units = "metric"
[beds.gatebed]
length = "2.4 m"
width = "1.2 m"
texture = "loam"
soil_depth = "30 cm"
[plantings.early]
bed = "gatebed"
maturity = "early"
season = "spring"
spacing = "30 cm"
window_first = 2025-03-20
window_last = 2025-05-31
[recipients.me]
name = "Me"
address = "me@example.org"
[weather]
file = "days.csv"
"""


def write_days(path, days):
    rows = ["date,air_min_c,air_max_c,rain_mm"]
    for k in range(len(days)):
        values = (days.air_min_c[k], days.air_max_c[k], days.rain_mm[k])
        told = ["" if np.isnan(value) else f"{value:.1f}" for value in values]
        rows.append(",".join([(days.first + k * DAY).isoformat(), *told]))
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


@pytest.fixture(scope="module")
def days():
    return invented_record("brackenford", date(2023, 1, 1), date(2027, 9, 30), 2027).days


@pytest.fixture
def place(tmp_path, days):
    write_days(tmp_path / "days.csv", days)
    (tmp_path / "garden.toml").write_text(SETTINGS, encoding="utf-8")
    return tmp_path / "garden.toml", state_folder(tmp_path / "state", {})


@pytest.fixture
def run(place):
    def made(span=SPRING, *changes, simulated=True, step=lambda: None, helpers=None):
        path, state = place
        variants = [(some, load(path, {}, some)) for some in ({}, *changes)]
        return replay(variants, state, span, NOW, simulated=simulated, step=step, helpers=helpers)

    return made


def said(variant):
    return [(line.day, line.alert.rule, line.alert.verdict, line.sentence) for line in variant.lines]


@pytest.fixture(scope="module")
def season(days, tmp_path_factory):
    """One whole simulated season, and the same with warmer soil asked for."""
    folder = tmp_path_factory.mktemp("season")
    write_days(folder / "days.csv", days)
    path = folder / "garden.toml"
    path.write_text(SETTINGS, encoding="utf-8")
    warmer = {"thresholds.planting.soil_ready_spring": "13 C", "thresholds.planting.soil_off_spring": "12 C"}
    variants = [(some, load(path, {}, some)) for some in ({}, warmer)]
    span = (date(2026, 1, 1), date(2026, 12, 31))
    return replay(variants, state_folder(folder / "state", {}), span, NOW, simulated=True)


def test_the_same_each_time_and_nothing_is_left_behind(run, place):
    one, other = run(), run()
    assert said(one.variants[0]) == said(other.variants[0])
    assert one.variants[0].years == other.variants[0].years
    assert not Path(place[1].store).exists()
    assert not list(place[0].parent.glob("state*"))


@pytest.mark.parametrize("grown", [True, False])
def test_weather_beyond_the_hindcasts_reach_does_not_change_earlier_mornings(run, place, days, grown):
    before = run((SPRING[0], date(2027, 5, 20)), simulated=grown)
    changed = {name: getattr(days, name).copy() for name in QUANTITIES}
    beyond = (date(2027, 5, 20) - days.first).days + 10
    changed["air_min_c"][beyond:] -= 15.0
    changed["air_max_c"][beyond:] -= 12.0
    changed["rain_mm"][beyond:] = 40.0
    write_days(place[0].parent / "days.csv", replace(days, **changed))
    assert said(run((SPRING[0], date(2027, 5, 20)), simulated=grown).variants[0]) == said(before.variants[0])


def test_a_longer_replay_says_the_same_of_the_days_they_share(run):
    short, longer = run((SPRING[0], date(2027, 4, 30))), run((SPRING[0], date(2027, 5, 31)))
    shared = [line for line in said(longer.variants[0]) if line[0] <= date(2027, 4, 30)]
    assert said(short.variants[0]) == shared


def test_a_whole_season_is_followed_from_seed_to_store(season):
    (spring,) = [one for one in season.variants[0].seasons if one.year == 2026]
    assert spring.ready == spring.planted
    assert date(2026, 3, 20) <= spring.planted < spring.shoots < spring.lifted
    spoken = [rule for _, rule, _, _ in said(season.variants[0])]
    for rule in ("start-chitting", "planting-time", "second-straw", "water", "stop-watering", "skins-set", "cure"):
        assert rule in spoken, rule
    (year,) = season.variants[0].years
    assert year.waterings > 0
    assert 5.0 < year.litres / year.waterings < 100.0


def test_warmer_soil_asked_for_is_met_later(season):
    as_set, warmer = (next(one for one in v.seasons if one.year == 2026) for v in season.variants)
    assert as_set.ready < warmer.ready
    assert as_set.shoots < warmer.shoots


def test_what_it_rests_on_is_named_in_the_output(season):
    text = "\n".join(as_lines(season, said=True))
    words = " ".join(text.split())
    assert "Simulated: a grower who does each evening what the letter asked for" in words
    assert "365 mornings have no forecast that was kept; hindcasts stand in" in words
    assert "learned here from those of the last 8 days; a letter learns from a year of them" in words
    assert "thresholds.planting.soil_ready_spring = 13 C" in words
    assert max(map(len, text.splitlines())) < 80


def test_a_change_that_changes_nothing_is_told(run):
    span = (date(2027, 4, 1), date(2027, 4, 6))
    text = " ".join(" ".join(as_lines(run(span, {"thresholds.skins.days": "15"}), said=False)).split())
    assert "A: thresholds.skins.days = 15: no letter would have said anything else" in text


def test_the_forms_for_programs(season):
    told = json.loads(as_json(season))
    assert (told["version"], told["grower"], told["forecasts"]) == (1, "simulated", {"kept": 0, "hindcast": 365})
    assert [one["name"] for one in told["variants"]] == ["as set", "A"]
    assert told["variants"][0]["years"][0]["year"] == 2026
    rows = list(csv.DictReader(io.StringIO(as_csv(season))))
    assert {row["variant"] for row in rows} == {"as set", "A"}
    assert len(rows) == sum(len(variant.lines) for variant in season.variants)
    assert picture(season).startswith(b"\x89PNG")


def test_frost_calls_are_set_against_what_the_nights_did(run, place):
    """A garden in a hollow: the more is called, the less is missed; and every night falls in one place."""
    hollow = SETTINGS.replace('units = "metric"', 'units = "metric"\nclear_night_offset = "6 C"')
    place[0].write_text(hollow, encoding="utf-8")
    eager = {"thresholds.frost.act_chance": "0.05", "thresholds.frost.off_chance": "0.02"}
    found = run((date(2027, 4, 1), date(2027, 6, 20)), eager)
    as_set, more = (variant.years[0] for variant in found.variants)
    assert as_set.hit + as_set.missed == more.hit + more.missed > 0
    assert more.hit >= as_set.hit
    assert more.false > as_set.false


def test_what_came_of_a_frost_is_told_once_and_never_against_what_was_called(run, place, days):
    """Nights well below freezing on leaves: each was called, or is told once, on the morning after, as not called."""
    lows = days.air_min_c.copy()
    for night in (date(2027, 5, 28), date(2027, 5, 31), date(2027, 6, 6)):
        lows[(night - days.first).days] = -3.0
    write_days(place[0].parent / "days.csv", replace(days, air_min_c=lows))
    (variant,) = run((date(2027, 3, 20), date(2027, 6, 20))).variants
    called = {line.day + DAY for line in variant.lines if line.alert.rule == "frost" and line.alert.level >= 2}
    told = [line.alert for line in variant.lines if line.alert.rule == "frost-outcome"]
    assert called
    assert called.isdisjoint(date.fromisoformat(one.episode) for one in told if one.verdict == "came-unwarned")
    assert len(told) == len({(one.bed, one.episode) for one in told})


def test_without_a_simulated_grower_the_journal_speaks_as_it_was_known(run, place):
    settings, state = load(place[0]), place[1]
    journal = state.journal(settings.garden)
    journal.parent.mkdir(parents=True)
    late = datetime(2027, 4, 25, 18, tzinfo=UTC)
    append_entry(journal, Entry("a", late, date(2027, 4, 20), "gatebed", "early", What.PLANTED))
    found = run((date(2027, 4, 15), date(2027, 5, 5)), simulated=False).variants[0]
    watched = [line.day for line in found.lines if line.alert.rule in {"water", "shoots-due", "planted-too-cold"}]
    assert min(watched) == date(2027, 4, 26)  # noted on the evening of the 25th
    assert "With the notes of your journal" in " ".join(as_lines(run(simulated=False), said=False))


def test_gaps_in_the_record_are_told_and_not_filled_with_foresight(run, place, days):
    holes = {name: getattr(days, name).copy() for name in QUANTITIES}
    gone = slice((date(2027, 5, 1) - days.first).days, (date(2027, 5, 12) - days.first).days)
    for column in holes.values():
        column[gone] = np.nan
    write_days(place[0].parent / "days.csv", replace(days, **holes))
    found = run((date(2027, 4, 1), date(2027, 6, 1)))
    assert "station-silent" in {rule for _, rule, _, _ in said(found.variants[0])}


def test_each_morning_is_counted_for_the_bar(run):
    ticks = []
    run((date(2027, 4, 1), date(2027, 4, 5)), {"thresholds.water.weekly_target": "30 mm"}, step=lambda: ticks.append(1))
    assert len(ticks) == 10


def test_days_in_the_wrong_order_or_to_come(run):
    with pytest.raises(UsageError, match="comes before the first"):
        run((date(2027, 5, 2), date(2027, 5, 1)))
    with pytest.raises(UsageError, match="still to come"):
        run((date(2027, 5, 2), date(2027, 12, 1)))


def test_a_place_without_a_record(run, place):
    (place[0].parent / "days.csv").unlink()
    with pytest.raises(SourceError, match="no record"):
        run()


def test_a_change_that_is_no_setting_or_cannot_be(place):
    with pytest.raises(SettingsError, match="soil_ready_spring"):
        load(place[0], {}, {"thresholds.planting.soil_redy_spring": "9 C"})
    with pytest.raises(SettingsError, match="changed value of"):
        load(place[0], {}, {"thresholds.planting.soil_ready_spring": "90 C"})


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["--with", "thresholds.planting.soil_ready_spring"], "changes nothing"),
        (["--with", "thresholds.nothing=1"], "no value has this name"),
        (["--with", "a=1", "--with", "b=1", "--with", "c=1", "--with", "d=1"], "3 columns"),
    ],
)
def test_the_command_refuses_in_plain_words(place, capsys, words, told):
    asked = ["replay", "--settings", str(place[0]), "--from", "2027-04-01", "--to", "2027-04-02", *words]
    assert cli.main(asked) == Exit.SETTINGS
    assert told in capsys.readouterr().err


def test_the_command_prints_a_table_and_writes_what_is_asked_for(place, capsys, tmp_path):
    files = ["--picture", str(tmp_path / "p.png"), "--csv", str(tmp_path / "s.csv")]
    where = ["--settings", str(place[0]), "--state", str(tmp_path / "state")]
    changed = ["--with", "thresholds.planting.soil_ready_spring=9 C", "thresholds.planting.soil_off_spring=8 C"]
    asked = ["replay", *where, "--from", "2025-04-01", "--to", "2025-04-20", "--follow", *changed, *files]
    assert cli.main(asked) == Exit.DONE
    out = capsys.readouterr()
    assert "First told to plant" in out.out
    assert "mornings/s" not in out.err  # the bar is for a terminal
    assert (tmp_path / "p.png").stat().st_size > 1000
    assert (tmp_path / "s.csv").read_text(encoding="utf-8").startswith("variant,changes,day")


def test_a_planting_stands_in_the_year_of_the_morning(place):
    garden = load(place[0]).garden
    journal_kept = garden_on(garden, date(2020, 2, 1), a_key_a_year=False).plantings
    assert [(one.key, one.window_first) for one in journal_kept] == [("early", date(2020, 3, 20))]
    autumn = garden_on(garden, date(2020, 10, 1), a_key_a_year=False).plantings
    assert [one.window_first for one in autumn] == [date(2020, 3, 20)]
    simulated = garden_on(garden, date(2020, 2, 1), a_key_a_year=True).plantings
    assert [one.key for one in simulated] == ["early-2019", "early-2020", "early-2021"]


def test_forecasts_that_were_kept_go_before_hindcasts(place, days, tmp_path):
    rows = ["issued,date,air_min_c,air_max_c,rain_mm"]
    for k in range(5):
        day = date(2027, 4, 10) + k * DAY
        rows += [
            f"{day}T03:00:00Z,{day + ahead * DAY},{1 + (k + ahead) % 3}.5,{11 + ahead % 4}.2,0.0" for ahead in range(8)
        ]
    (tmp_path / "ahead.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    text = SETTINGS + 'forecast_file = "ahead.csv"\n'
    place[0].write_text(text, encoding="utf-8")
    found = replay([({}, load(place[0]))], place[1], (date(2027, 4, 8), date(2027, 4, 20)), NOW, simulated=True)
    assert (found.kept, found.drawn) == (7, 6)  # the last of five is young enough for two mornings more
    assert "Seven mornings have a forecast that was kept" in " ".join(" ".join(as_lines(found, said=False)).split())
    assert not {"forecast-missing"} & {rule for _, rule, _, _ in said(found.variants[0])}


def test_the_mornings_take_over_what_has_not_changed_and_say_the_same_without(place):
    settings = load(place[0])
    span = [date(2027, 4, 25) + k * DAY for k in range(12)]
    world, _ = replaying._world(settings, place[1], tuple(span), NOW, simulated=True)
    one, other = Trace(settings, world), Trace(settings, world)
    for day in span:
        other._memo = Memo()
        one.morning(day)
        other.morning(day)
    assert [(line.day, line.sentence) for line in one.lines] == [(line.day, line.sentence) for line in other.lines]
    assert one.seasons() == other.seasons()


@pytest.mark.parametrize("simulated", [True, False])
def test_another_process_that_works_ahead_changes_no_word(run, place, monkeypatch, simulated):
    settings, state = load(place[0]), place[1]
    journal = state.journal(settings.garden)
    journal.parent.mkdir(parents=True)
    read = datetime(2027, 4, 5, 18, tzinfo=UTC)
    append_entry(journal, Entry("night", read, date(2027, 4, 5), "", "", What.NIGHT_READ, "", -7.0))
    append_entry(journal, Entry("a", read, date(2027, 4, 4), "gatebed", "early", What.PLANTED))
    monkeypatch.setattr(replay_outside, "STRETCH", 10)
    monkeypatch.setattr(replay_outside, "LEAD", 10)
    given, think = [], Trace.morning

    def morning(trace, day, outside=None):
        given.append(outside is not None)
        think(trace, day, outside)

    monkeypatch.setattr(Trace, "morning", morning)
    span = (date(2027, 4, 1), date(2027, 4, 25))
    changes = {"thresholds.frost.act_chance": "0.05", "thresholds.frost.off_chance": "0.02"}
    alone, helped = (run(span, changes, simulated=simulated, helpers=helpers) for helpers in (0, 1))
    assert given == 50 * [False] + 2 * (10 * [False] + 15 * [True])
    assert as_json(helped) == as_json(alone)
    assert as_csv(helped) == as_csv(alone)


def test_mornings_whose_weather_is_lost_with_the_other_process_find_it_themselves(place, monkeypatch):
    class Lost(Here):
        ahead = 1

        def submit(self, work, task):
            return super().submit(work, task) if date(2027, 4, 21) not in task.days else self.gone

        def gone(self):
            raise WorkerLostError("gone")

    monkeypatch.setattr(replay_outside, "STRETCH", 10)
    monkeypatch.setattr(replay_outside, "LEAD", 10)
    settings = load(place[0])
    span = tuple(date(2027, 4, 1) + k * DAY for k in range(35))
    world, _ = replaying._world(settings, place[1], span, NOW, simulated=True)
    found = list(replay_outside.outsides(settings, world, span, Lost()))
    held = [None if one is None else one.sky.recent.last + DAY for one in found]
    assert held == [day if 10 <= k < 20 else None for k, day in enumerate(span)]


def test_a_short_replay_starts_no_other_process():
    assert replay_outside.usual_helpers(120) == 0
