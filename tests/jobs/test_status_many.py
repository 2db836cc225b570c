"""One verdict for many gardens: how many are well, and what is amiss with which, each matter once."""

import json
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine

from haulm.cli import main
from haulm.errors import Exit
from haulm.jobs.engine import Here
from haulm.jobs.gardens import morning_of_gardens
from haulm.jobs.office import Wishes
from haulm.jobs.status import status_of
from haulm.jobs.status_many import as_json, as_lines, status_of_many
from haulm.settings.gardens import gardens_in

ZONE = ZoneInfo("Europe/London")
KEYS = tuple(f"grower{number:06d}" for number in range(5))


@pytest.fixture
def at(office):
    return lambda hour, days=0: datetime.combine(office.morning + timedelta(days=days), time.fromisoformat(hour), ZONE)


@pytest.fixture
def written(office, at):
    """An office whose letters of the day are written."""

    def make(common=""):
        folder, state = office(common)
        run(folder, state, at("06:45"))
        return folder, state

    return make


def run(folder, state, now):
    return morning_of_gardens(gardens_in(folder, {}), state, now, Here(), Wishes())


def look(folder, state, now):
    return status_of_many(gardens_in(folder, {}), state, now)


def test_all_is_well_after_a_good_morning(written, at):
    folder, state = written()
    status = look(folder, state, at("08:00"))
    lines = list(as_lines(status))
    assert lines[1:] == ["Gardens:   5, of which 5 are well", "", "All is well."]
    assert lines[0].startswith("Memory:    sound")
    assert (status.well, status.exit_code) == (True, Exit.DONE)


def test_before_the_first_morning_and_for_who_has_just_joined_nothing_is_amiss(office, written, at):
    folder, state = office(name="new")
    assert look(folder, state, at("08:00")).exit_code is Exit.DONE
    assert not state.store.exists()
    folder, state = written()
    for name, row in (("growers.csv", "zoe,station00000,Zoe,zoe@example.org"), ("beds.csv", "zoe,bed,2 m,1 m,loam")):
        with (folder / name).open("a", encoding="utf-8") as file:
            file.write(row + "\n")
    status = look(folder, state, at("08:00"))
    assert (status.gardens, status.well_gardens, status.exit_code) == (6, 6, Exit.DONE)


def test_what_is_amiss_with_all_is_told_once_and_as_for_one(written, at):
    folder, state = written()
    now = at("09:00", 1)
    status = look(folder, state, now)
    (missing,) = status.amiss
    assert sorted(missing.gardens) == list(KEYS)
    assert (status.well_gardens, status.exit_code) == (0, Exit.PARTLY)
    told = "\n".join(as_lines(status))
    assert told.count("There is no letter of") == 1
    assert "All 5 gardens: Morning: " in told
    assert max(map(len, told.splitlines())) <= 80
    (one,) = [settings for _, settings in gardens_in(folder, {}).settings(KEYS[:1])]
    assert [line for line in status_of(one, state, now).lines if not line.well] == [missing.line]


def test_what_is_amiss_with_one_names_it(written, at):
    folder, state = written()
    (state.path / f"{KEYS[2]}.journal.jsonl").write_text("{this is no note}\n", encoding="utf-8")
    rows = (folder / "beds.csv").read_text()
    (folder / "beds.csv").write_text(rows.replace(" m,", " miles,", 1))
    status = look(folder, state, at("08:00"))
    assert (status.well_gardens, status.exit_code) == (3, Exit.PARTLY)
    told = "\n".join(as_lines(status))
    assert f"{KEYS[2]}: Journal: " in told
    assert "Mend that line of the file, or delete it." in told
    assert "beds.csv, line 2, length" in told
    assert told.endswith("Two things need a hand.")
    whole = json.loads(as_json(status))
    assert [(one["about"], one["gardens"]) for one in whole["amiss"]] == [("Journal", [KEYS[2]])]
    assert (whole["version"], whole["gardens"], whole["well_gardens"], whole["well"]) == (1, 5, 3, False)
    assert whole["memory"]["well"] is True
    assert len(whole["unusable"]) == 1


def test_where_no_settings_can_be_used(written, at):
    folder, state = written("[backups]\ndays = 1\n")
    common = folder / "common.toml"
    common.write_text(common.read_text().replace("days = 1", "dais = 1"))
    status = look(folder, state, at("08:00"))
    assert (status.well_gardens, status.exit_code) == (0, Exit.SETTINGS)
    assert "\n".join(as_lines(status)).count("backups.dais") == 1


def test_a_store_that_cannot_be_read_is_told_once(written, at):
    folder, state = written()
    state.store.write_bytes(b"\xff" * 20_000)
    status = look(folder, state, at("08:00"))
    assert status.exit_code is Exit.PARTLY
    assert not status.memory.well
    assert "\n".join(as_lines(status)).count("Memory") == 1


def test_from_the_command_line(written, at, capsys):
    folder, state = written()
    words = ["status", "--gardens", str(folder), "--state", str(state.path)]
    with time_machine.travel(at("08:00").astimezone(UTC)):
        assert main(words) == Exit.DONE
        assert capsys.readouterr().out.endswith("All is well.\n")
        assert main([*words, "--json"]) == Exit.DONE
        assert json.loads(capsys.readouterr().out)["well"] is True
        assert main([*words, "--tell"]) == Exit.SETTINGS
