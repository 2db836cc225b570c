"""`haulm mend` as a person meets it: what it says, what it does, and what it leaves alone."""

import json
import shutil
import sqlite3
import stat
from datetime import UTC, date, datetime, timedelta

import pytest

from haulm import cli
from haulm.errors import Exit
from haulm.jobs.mend import mend
from haulm.jobs.morning import morning
from haulm.jobs.state_folder import StateFolder
from haulm.settings.load import load
from haulm.settings.sample import sample_toml
from haulm.store.copies import copies_in
from haulm.store.database import copies_of, damaged_of, open_database
from haulm.store.journal_file import read_journal
from haulm.store.letters import headings
from haulm.store.lock import lock
from haulm.store.notes import read_notes

TODAY = date(2027, 5, 4)


@pytest.fixture
def garden(tmp_path, write_invented_days):
    (tmp_path / "haulm.toml").write_text(sample_toml(), encoding="utf-8")
    settings = load(tmp_path / "haulm.toml")
    write_invented_days(settings.weather.file, TODAY + timedelta(days=5), 500, date(2025, 1, 1))
    return settings


@pytest.fixture
def state(tmp_path):
    return StateFolder(tmp_path / "state")


@pytest.fixture
def run(garden, state, capsys):
    def go(*words):
        code = cli.main([*words, "--settings", str(garden.path), "--state", str(state.path)])
        shown = capsys.readouterr()
        return code, shown.out, shown.err

    return go


@pytest.fixture
def kept(garden, state, run):
    """A garden with notes, a letter and a copy."""
    for words in (("planted", "--on", "2026-04-20"), ("watered", "12", "mm"), ("soil", "9C")):
        assert run("note", "gatebed", *words)[0] == Exit.DONE
    morning(garden, state, datetime(2027, 5, 4, 6, 30, tzinfo=UTC))
    return state


def cut(path):
    with path.open("r+b") as file:
        file.truncate(path.stat().st_size // 2)


def snapshot(folder):
    return {path: path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file() and path.stat().st_size}


def test_where_all_is_well_it_says_so(run, kept):
    code, told, _ = run("mend")
    assert code == Exit.DONE
    assert "haulm.sqlite, 0.2 MB: sound." in " ".join(told.split())
    assert "1 copy in" in told
    assert "three notes" in told
    assert told.endswith("All is well.\n")


def test_it_restores_the_newest_copy_and_replays_the_journal(run, kept, garden):
    run("note", "gatebed", "watered", "8 mm")  # newer than the copy
    cut(kept.store)
    code, told, _ = run("mend")
    assert code == Exit.DONE
    assert "the store is damaged" in told or "damaged (" in told
    assert "took its place" in told
    assert "The journal's index holds four notes." in told
    assert "Weather: fetched anew." in told
    assert len(list(damaged_of(kept.store).glob("*.sqlite"))) == 1
    with open_database(kept.store) as database:
        assert len(read_notes(database, garden.garden.key, date.min, date.max)) == 4
        assert database.rows("SELECT COUNT(*) FROM weather")[0][0] > 1000
    assert run("mend")[0] == Exit.DONE
    assert len(list(damaged_of(kept.store).glob("*.sqlite"))) == 1


def test_without_a_copy_the_journal_alone_rebuilds_it(run, kept, garden):
    shutil.rmtree(copies_of(kept.store))
    kept.store.write_bytes(b"")
    report = mend(garden, kept, datetime(2027, 5, 4, 8, tzinfo=UTC))
    told = "\n".join(report.lines)
    assert report.exit_code == Exit.PARTLY  # what earlier letters said is gone, and no hand can bring it back
    assert "it begins anew" in told
    assert "one letter was read back from" in told
    with open_database(kept.store) as database:
        assert len(read_notes(database, garden.garden.key, date.min, date.max)) == 3
        assert [one.day for one in headings(database, garden.garden.key)] == [TODAY]
    assert run("mend")[0] == Exit.DONE


def test_with_nothing_but_the_journals_file_a_store_is_built_from_it(run, kept, garden):
    for path in kept.path.iterdir():
        if path != kept.journal(garden.garden):
            shutil.rmtree(path) if path.is_dir() else path.unlink()
    code, told, _ = run("mend")
    assert code == Exit.DONE
    assert "none yet" in told
    with open_database(kept.store) as database:
        assert len(read_notes(database, garden.garden.key, date.min, date.max)) == 3


@pytest.mark.parametrize("harm", ["damaged", "gone", "journal", "well"])
def test_a_dry_run_changes_nothing(run, kept, garden, harm):
    if harm == "damaged":
        cut(kept.store)
    elif harm == "gone":
        kept.store.unlink()
    elif harm == "journal":
        kept.journal(garden.garden).unlink()
    before = snapshot(kept.path)
    code, told, _ = run("mend", "--dry-run")
    assert code == (Exit.DONE if harm == "well" else Exit.PARTLY)
    assert snapshot(kept.path) == before
    wanted = {"damaged": "would take its place", "gone": "would take its place", "well": "Nothing was changed."}
    assert wanted.get(harm, "three notes that the journal's file has lost would be written back") in told


@pytest.mark.parametrize("harm", ["gone", "short", "spoiled"])
def test_notes_that_the_journals_file_lost_are_told_and_written_back(run, kept, garden, harm):
    file = kept.journal(garden.garden)
    before = read_journal(file)[0].entries
    lines = file.read_bytes().splitlines(keepends=True)
    if harm == "gone":
        file.unlink()
    else:
        file.write_bytes(b"".join(lines[:-1]) + (b"\x00" * 80 + b"\n" if harm == "spoiled" else lines[-1][:40]))
    done = morning(garden, kept, datetime(2027, 5, 5, 6, 30, tzinfo=UTC))
    assert "missing from the journal's file" in " ".join(done.letter.text.split())
    code, told, _ = run("mend")
    assert "written back from the index" in " ".join(told.split())
    assert code == (Exit.DONE if harm == "gone" else Exit.PARTLY)  # the spoiled line itself stays, and is told
    assert {one.id for one in read_journal(file)[0].entries} == {one.id for one in before}
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    again = morning(garden, kept, datetime(2027, 5, 6, 6, 30, tzinfo=UTC))
    assert "missing from the journal's file" not in " ".join(again.letter.text.split())


def test_unsound_copies_are_told_and_passed_over(run, kept):
    (copies_of(kept.store) / "haulm-20270505T063000Z.sqlite").write_bytes(b"\x00" * 9000)
    cut(kept.store)
    code, told, _ = run("mend")
    assert "The copy haulm-20270505T063000Z.sqlite is not sound (it is not a database)" in told
    assert code == Exit.DONE


def test_a_newer_store_is_told_and_left(run, kept):
    with sqlite3.connect(kept.store) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    before = kept.store.read_bytes()
    for words in (("mend",), ("mend", "--dry-run"), ("check",)):
        code, told, fault = run(*words)
        assert code == Exit.PARTLY
        assert "written by a newer haulm (version 99" in told + fault
    assert kept.store.read_bytes() == before
    assert len(copies_in(copies_of(kept.store))) == 1


def test_while_a_morning_is_at_work_it_is_told_to_try_later(run, kept, garden):
    with lock(kept.lock(garden.garden), datetime(2027, 5, 4, tzinfo=UTC)):
        code, _, fault = run("mend")
    assert code == Exit.TRY_LATER
    assert "holds the lock" in fault


def test_while_another_garden_has_the_store_open_a_damaged_one_stays(run, kept, monkeypatch):
    monkeypatch.setattr("haulm.store.mend._PATIENCE_S", 0.1)
    with open_database(kept.store):
        cut(kept.store)
        assert run("mend")[0] == Exit.TRY_LATER
    assert not damaged_of(kept.store).exists()


def test_damaged_files_of_the_spool_are_counted(run, kept):
    kept.spool.mkdir(exist_ok=True)
    for name in ("one", "two"):
        (kept.spool / name).write_bytes(b"what came")
        note = {"sha256": "0" * 64, "fetched": "2027-05-04T00:00:00+00:00", "checked": "2027-05-04T00:00:00+00:00"}
        (kept.spool / f"{name}.note.json").write_text(
            json.dumps(note | {"expires": "", "last_modified": "", "status": 200})
        )
    assert "spool: 2, 2 of them damaged: those are fetched anew" in " ".join(run("mend")[1].split())


@pytest.mark.parametrize("harm", ["none", "damaged", "gone"])
def test_check_says_whether_the_memory_is_sound(run, kept, harm):
    if harm == "damaged":
        cut(kept.store)
    elif harm == "gone":
        kept.store.unlink()
    code, told, _ = run("check")
    assert code == (Exit.DONE if harm == "none" else Exit.PARTLY)
    assert {"none": ": sound.", "damaged": ": damaged (", "gone": ": gone ("}[harm] in " ".join(told.split())
    assert ("haulm mend does so now" in told) is (harm != "none")


def test_check_before_the_first_morning(run, state):
    code, told, _ = run("check")
    assert code == Exit.DONE
    assert "none yet (the first morning makes it)" in told
    assert not state.path.exists()
