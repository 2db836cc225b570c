"""A morning as the command runs it: letters once, files, exit codes, and what a person reads when it goes wrong."""

import json
from datetime import UTC, date, datetime, timedelta

import pytest

from haulm import cli
from haulm.errors import BusyError, Exit
from haulm.jobs import morning as job
from haulm.jobs.notes import note
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.sources.invented import invented_forecasts, invented_record
from haulm.steps import Step
from haulm.store.database import open_database
from haulm.store.letters import Status, deliveries_of
from haulm.store.lock import lock
from haulm.store.runs import read_runs

TODAY = date(2027, 5, 4)
NOW = datetime(2027, 5, 4, 11, 40, tzinfo=UTC)


def csv_of(days, first, last, extra=""):
    names = ("air_min_c", "air_max_c", "rain_mm")
    lines = [f"date,{','.join(names)}{',issued' if extra else ''}"]
    for k in range((last - first).days + 1):
        day = first + timedelta(days=k)
        lines.append(
            ",".join([day.isoformat(), *(str(days.of(n).at(day)) for n in names), *([extra] if extra else [])])
        )
    return "\n".join(lines) + "\n"


@pytest.fixture
def garden(tmp_path):
    """The sample settings with their weather beside them: invented days to yesterday, and the forecast of today."""
    record = invented_record("brackenford", date(2025, 1, 1), TODAY + timedelta(days=12), 7)
    issue = invented_forecasts("brackenford", record.days, [TODAY], 7)[0]
    (tmp_path / "haulm.toml").write_text(sample_toml().replace("# forecast_file", "forecast_file"), encoding="utf-8")
    settings = load(tmp_path / "haulm.toml")
    settings.weather.file.write_text(csv_of(record.days, date(2025, 1, 1), TODAY - timedelta(days=1)))
    issued = issue.issued.astimezone(UTC).strftime("%Y-%m-%dT%H:%MZ")
    settings.weather.forecast_file.write_text(csv_of(issue.days, TODAY, issue.days.last, issued))
    return tmp_path


@pytest.fixture
def run(garden, capsys):
    def go(*words):
        code = cli.main([*words, "--settings", str(garden / "haulm.toml"), "--state", str(garden / "state")])
        shown = capsys.readouterr()
        return code, shown.out, shown.err

    return go


def test_a_morning_writes_its_letter_once(garden, run):
    code, first, _ = run("morning", "--today", TODAY.isoformat())
    again_code, again, _ = run("morning", "--today", TODAY.isoformat())
    assert (code, again_code) == (Exit.DONE, Exit.DONE)
    assert first == again
    assert "Tue 4 May 2027" in first
    with open_database(garden / "state" / "haulm.sqlite") as database:
        runs = read_runs(database, load(garden / "haulm.toml").garden.key, TODAY)
    assert [(r.outcome, r.exit_code) for r in runs] == [("done", 0)]


def test_the_letter_lies_in_the_dated_folder_in_all_its_forms(garden, run):
    run("morning", "--today", TODAY.isoformat())
    files = sorted((garden / "letters").rglob("*.*"))
    assert [file.suffix for file in files] == [".html", ".json", ".png", ".txt"]
    html = files[0].read_text(encoding="utf-8")
    assert files[2].name in html
    assert json.loads(files[1].read_text(encoding="utf-8"))["version"] == 1


def test_a_dry_run_leaves_nothing_behind(garden, run):
    code, told, _ = run("morning", "--today", TODAY.isoformat(), "--dry-run")
    assert code == Exit.DONE
    assert "Brackenford" in told
    assert not (garden / "state").exists()
    assert not (garden / "letters").exists()


def test_a_dry_run_after_the_letter_says_the_same(run):
    _, stored, _ = run("morning", "--today", TODAY.isoformat())
    _, afresh, _ = run("morning", "--today", TODAY.isoformat(), "--dry-run")
    assert stored == afresh


def test_json_is_the_letter_in_its_one_form(run):
    _, shown, _ = run("morning", "--today", TODAY.isoformat(), "--json")
    letter = json.loads(shown)
    assert (letter["version"], letter["day"]) == (1, TODAY.isoformat())


def test_without_fresh_observations_the_letter_goes_and_the_exit_code_tells(garden, run):
    settings = load(garden / "haulm.toml")
    lines = settings.weather.file.read_text().splitlines()
    settings.weather.file.write_text("\n".join(lines[:-5]) + "\n")
    code, told, _ = run("morning", "--today", TODAY.isoformat())
    assert code == Exit.PARTLY
    assert "Keep an eye on" in told


def test_a_missing_weather_file_is_told_in_the_letter(garden, run):
    load(garden / "haulm.toml").weather.file.unlink()
    code, told, _ = run("morning", "--today", TODAY.isoformat())
    assert code == Exit.PARTLY
    assert "The weather record could not be used" in " ".join(told.split())
    assert "not known" in told


def test_broken_lines_are_told_with_their_numbers_and_the_rest_is_used(garden, run):
    file = load(garden / "haulm.toml").weather.file
    lines = file.read_text().splitlines()
    lines[100] = "2025-04-10,warm,12,0"
    file.write_text("\n".join(lines) + "\n")
    code, told, _ = run("morning", "--today", TODAY.isoformat())
    assert code == Exit.DONE
    assert "line 101" in " ".join(told.split())


def test_a_held_lock_means_try_later(garden, run):
    settings = load(garden / "haulm.toml")
    state = StateFolder(garden / "state")
    state.path.mkdir()
    with lock(state.lock(settings.garden), NOW, holder="another morning"):
        code, _, told = run("morning", "--today", TODAY.isoformat())
    assert code == Exit.TRY_LATER
    assert "another morning" in told
    assert not state.store.exists()


def test_wrong_settings_are_exit_2_with_every_fault(garden, run):
    file = garden / "haulm.toml"
    file.write_text(file.read_text(encoding="utf-8").replace('zone = "America/Chicago"', 'zone = "America/Chicagoo"'))
    code, _, told = run("morning", "--today", TODAY.isoformat())
    assert code == Exit.SETTINGS
    assert "America/Chicago" in told
    assert "line " in told


def test_a_folder_that_cannot_be_written_loses_no_letter(garden, run):
    (garden / "letters").write_text("a file in the way")
    code, told, _ = run("morning", "--today", TODAY.isoformat())
    assert code in {Exit.PARTLY, Exit.TRY_LATER}
    assert "Brackenford" in told
    (garden / "letters").unlink()
    assert run("morning", "--today", TODAY.isoformat())[0] == Exit.DONE
    assert len(list((garden / "letters").rglob("*.txt"))) == 1


def test_what_a_killed_run_left_on_its_way_goes_once_more(garden, run):
    settings = load(garden / "haulm.toml")
    run("morning", "--today", TODAY.isoformat())
    with open_database(garden / "state" / "haulm.sqlite") as database, database.transaction(Step.DELIVERY_SETTLED):
        database.rows("UPDATE deliveries SET status = ? WHERE channel = 'folder'", (Status.SENDING,))
    for file in [*(garden / "letters").rglob("*.*"), *(garden / "state" / "post-book").iterdir()]:
        file.unlink()  # the post book would tell that it has gone
    assert run("morning", "--today", TODAY.isoformat())[0] == Exit.DONE
    with open_database(garden / "state" / "haulm.sqlite") as database:
        after = deliveries_of(database, settings.garden.key, "morning", TODAY)
    assert {d.status for d in after} == {Status.SENT}
    assert len(list((garden / "letters").rglob("*.txt"))) == 1


def test_the_second_of_two_runs_at_once_is_told_to_come_back(garden):
    settings, state = load(garden / "haulm.toml"), StateFolder(garden / "state")
    state.path.mkdir()
    with lock(state.lock(settings.garden), NOW), pytest.raises(BusyError):
        job.morning(settings, state, NOW)


def test_a_file_of_hours_tells_the_night_and_the_blight_weather(garden, run):
    code, without, _ = run("morning", "--today", TODAY.isoformat(), "--dry-run")
    assert (code, "last night" in without) == (Exit.DONE, False)
    settings_file = garden / "haulm.toml"
    settings_file.write_text(settings_file.read_text(encoding="utf-8").replace("# hours_file", "hours_file"))
    first = datetime(2027, 5, 3, 0, tzinfo=UTC)
    lines = [f"{first + timedelta(hours=hour):%Y-%m-%dT%H:%MZ},{11 if hour < 30 else 10.5},95" for hour in range(35)]
    file = load(settings_file).weather.hours_file
    file.write_text("instant,air_c,humidity_pct\n" + "\n".join(lines) + "\n")
    code, told, _ = run("morning", "--today", TODAY.isoformat(), "--dry-run")
    assert code == Exit.DONE
    assert "Lowest: 51 °F at the station" in " ".join(told.split())  # 10.5 °C
    file.write_text("instant,air_c\n")
    code, told, _ = run("morning", "--today", TODAY.isoformat(), "--dry-run")
    assert code == Exit.PARTLY
    assert "The file of hours could not be used" in " ".join(told.split())


def test_the_evening_by_command(garden, run):
    """The garden's shoots are not out: a quiet look, as a line and as JSON, and none before a morning of its own."""
    code, told, _ = run("evening", "--today", TODAY.isoformat(), "--dry-run")
    assert (code, told.splitlines()[0][:32]) == (Exit.DONE, "Lowest at leaf height tonight: a")
    assert not (garden / "state").exists()
    code, shown, _ = run("evening", "--today", TODAY.isoformat(), "--json")
    assert (code, json.loads(shown)["version"], json.loads(shown)["letter"]) == (Exit.DONE, 1, None)
    with open_database(garden / "state" / "haulm.sqlite") as database:
        assert [r.kind for r in read_runs(database, load(garden / "haulm.toml").garden.key, TODAY)] == ["evening"]


def test_an_evenings_letter_brings_the_pages_up_to_date_too(garden, run):
    file = garden / "haulm.toml"
    file.write_text(file.read_text(encoding="utf-8").replace("# pages =", "pages ="), encoding="utf-8")
    settings, state = load(file), StateFolder(garden / "state")
    for what, day in (("planted", date(2027, 4, 11)), ("shoots out", date(2027, 5, 1))):
        note(settings.garden, state, "gatebed", what, now=datetime(day.year, day.month, day.day, 12, tzinfo=UTC))
    tomorrow = (TODAY + timedelta(days=1)).isoformat()
    lines = settings.weather.forecast_file.read_text().splitlines()
    low = lines[0].split(",").index("air_min_c")
    cells = [line.split(",") for line in lines]
    colder = [",".join([*row[:low], "-6.0", *row[low + 1 :]]) if row[0] == tomorrow else ",".join(row) for row in cells]
    settings.weather.forecast_file.write_text("\n".join(colder) + "\n")
    _, told, _ = run("evening", "--dry-run", "--today", TODAY.isoformat())
    assert "Cover" in told
    assert not settings.post.pages.exists()
    run("evening", "--today", TODAY.isoformat())
    assert "A word between letters" in (settings.post.pages / "index.html").read_text(encoding="utf-8")
