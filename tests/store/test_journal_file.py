"""The journal's file: only added to, read whatever happened to it, and its index."""

import json
import os
import resource
import signal
import stat
import string
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import asdict, replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.errors import BusyError, JournalError
from haulm.garden import Cause, Entry, What
from haulm.store.database import Database
from haulm.store.journal_file import append_entry, entry_of, line_of, new_id, read_journal
from haulm.store.lock import lock
from haulm.store.notes import read_notes, reindex

NOW = datetime(2027, 4, 12, 17, 5, tzinfo=UTC)
PLANTED = Entry("a1", NOW, date(2027, 4, 12), "gatebed", "gate-early", What.PLANTED)
WATERED = Entry("a2", NOW, date(2027, 4, 13), "gatebed", "gate-early", What.WATERED, "0.5in", 12.7)
WITHDRAWN = Entry("a3", NOW, date(2027, 4, 13), "gatebed", "gate-early", None, withdraws="a2")

APPEND_FOR_EVER = """
import sys, pathlib
from datetime import date, datetime, timezone
from haulm.garden import Entry, What
from haulm.store.journal_file import append_entry
now = datetime(2027, 4, 12, tzinfo=timezone.utc)
path = pathlib.Path(sys.argv[1])
for number in range(100000):
    append_entry(path, Entry(f"n{number}", now, now.date(), "gatebed", "", What.WATERED, "x" * 900))
    if number == 3:
        print("here", flush=True)
"""
ADD_FIVE = """
import sys, pathlib
from datetime import date, datetime, timezone
from haulm.garden import Entry, What
from haulm.store.journal_file import append_entry
now = datetime(2027, 4, 12, tzinfo=timezone.utc)
path, letter = pathlib.Path(sys.argv[1]), sys.argv[2]
for number in range(5):
    append_entry(path, Entry(f"{letter}{number}", now, now.date(), "gatebed", "", What.PLANTED))
"""

Second = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "journal" / "brackenford.jsonl"


def ids(file: Path) -> list[str]:
    return [entry.id for entry in read_journal(file)[0].entries]


texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)
named = texts.filter(bool)
entries = st.builds(
    Entry,
    id=named,
    instant=st.datetimes(
        datetime(1900, 1, 1),  # noqa: DTZ001 -- hypothesis adds the zone
        datetime(2200, 1, 1),  # noqa: DTZ001
        timezones=st.sampled_from([UTC, timezone(timedelta(hours=-7)), timezone(timedelta(hours=5, minutes=45))]),
    ),
    day=st.dates(),
    bed=named,
    planting=texts,
    what=st.none() | st.sampled_from(What),
    written=texts,
    value=st.none() | st.floats(allow_nan=False, allow_infinity=False),
    cause=st.none() | st.sampled_from(Cause),
    origin=named,
    withdraws=texts,
)


@given(entries)
def test_an_entry_survives_its_line(entry: Entry) -> None:
    line = line_of(entry)
    assert "\n" not in line
    assert entry_of(line) == entry


@given(st.lists(entries, max_size=6, unique_by=lambda entry: entry.id), st.data())
def test_a_file_cut_off_anywhere_keeps_the_lines_before(
    tmp_path_factory: pytest.TempPathFactory, written: list[Entry], data: st.DataObject
) -> None:
    file = tmp_path_factory.mktemp("cut") / "journal.jsonl"
    whole = b"".join(line_of(entry).encode() + b"\n" for entry in written)
    cut = data.draw(st.integers(0, len(whole)))
    file.write_bytes(whole[:cut])
    journal, complaints = read_journal(file)
    # A line whose last byte alone is missing is whole.
    ended = whole[: cut + 1].count(b"\n")
    assert journal.entries == tuple(written[:ended])
    is_torn = cut not in {0, len(whole)} and whole[cut - 1 : cut] != b"\n" and whole[cut : cut + 1] != b"\n"
    assert [complaint.line for complaint in complaints] == ([ended + 1] if is_torn else [])


def test_entries_are_added_and_read_in_order(file: Path) -> None:
    for entry in (PLANTED, WATERED, WITHDRAWN):
        assert append_entry(file, entry)
    journal, complaints = read_journal(file)
    assert journal.entries == (PLANTED, WATERED, WITHDRAWN)
    assert complaints == ()
    assert [entry.id for entry in journal.known(NOW, date(2027, 4, 30)).entries] == ["a1"]
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert stat.S_IMODE(file.parent.stat().st_mode) == 0o700


def test_the_form_of_a_line(file: Path) -> None:
    append_entry(file, WATERED)
    assert json.loads(file.read_text(encoding="utf-8")) == {
        "version": 1,
        "id": "a2",
        "instant": "2027-04-12T17:05:00.000000Z",
        "day": "2027-04-13",
        "bed": "gatebed",
        "planting": "gate-early",
        "what": "watered",
        "written": "0.5in",
        "value": 12.7,
        "cause": None,
        "origin": "command",
        "withdraws": "",
    }
    assert {"version", *asdict(WATERED)} == set(json.loads(file.read_text(encoding="utf-8")))


def test_no_file_is_an_empty_journal(file: Path) -> None:
    assert read_journal(file)[0].entries == ()
    assert not file.exists()


def test_an_id_is_taken_once(file: Path) -> None:
    assert append_entry(file, PLANTED)
    assert not append_entry(file, replace(PLANTED, day=date(2027, 4, 20)))
    assert read_journal(file)[0].entries == (PLANTED,)


def test_bad_lines_are_told_with_their_number_and_the_rest_is_read(file: Path) -> None:
    good = line_of(PLANTED)
    bad = [
        "planted the early ones",
        good.replace('"version": 1', '"version": 7'),
        good.replace("2027-04-12T", "yesterday T"),
        good.replace("17:05:00.000000Z", "17:05:00"),
        good.replace('"what": "planted"', '"what": "danced"'),
        good.replace('"value": null', '"value": NaN'),
        good.replace('"value": null', f'"value": 1{"0" * 400}'),
        good.replace('"bed": "gatebed"', '"bed": 3'),
        good.replace("gatebed", "\\ud800"),
        good.replace('"id": "a1"', '"id": ""'),
        "[" * 100_000,
        "[]",
        good,
    ]
    file.parent.mkdir()
    file.write_bytes(
        b"\n".join([good.encode(), *(line.encode() for line in bad), b"\xff\xfe", line_of(WATERED).encode()])
    )
    journal, complaints = read_journal(file)
    assert journal.entries == (PLANTED, WATERED)
    assert [complaint.line for complaint in complaints] == list(range(2, 2 + len(bad) + 1))
    assert all(complaint.where == str(file) and complaint.what for complaint in complaints)
    assert all(len(complaint.given) <= 61 for complaint in complaints)


def test_a_last_line_that_is_whole_but_wrong_is_not_called_cut_off(file: Path) -> None:
    file.parent.mkdir()
    file.write_text(line_of(PLANTED).replace('"what": "planted"', '"what": "danced"'), encoding="utf-8")
    _, (complaint,) = read_journal(file)
    assert "danced" in complaint.what


def test_a_hand_edited_file_is_read(file: Path) -> None:
    file.parent.mkdir()
    lines = [line_of(PLANTED), "", line_of(WATERED).replace('"version"', '"later field": [1], "version"'), ""]
    file.write_bytes(b"\xef\xbb\xbf" + "\r\n".join(lines).encode())
    journal, complaints = read_journal(file)
    assert journal.entries == (PLANTED, WATERED)
    assert complaints == ()


def test_a_torn_line_is_ended_before_the_next(file: Path) -> None:
    append_entry(file, PLANTED)
    with file.open("ab") as stream:
        stream.write(line_of(WATERED).encode()[:40])
    _, (complaint,) = read_journal(file)
    assert complaint.line == 2
    assert "cut off" in complaint.what
    append_entry(file, WITHDRAWN)
    journal, complaints = read_journal(file)
    assert journal.entries == (PLANTED, WITHDRAWN)
    assert [complaint.line for complaint in complaints] == [2]


def test_a_kill_while_appending_leaves_a_readable_journal(file: Path, second_process: Second) -> None:
    process = second_process(APPEND_FOR_EVER, str(file))
    process.send_signal(signal.SIGKILL)
    process.wait(timeout=10)
    before = ids(file)
    assert before == [f"n{number}" for number in range(len(before))]
    assert len(before) >= 4
    assert append_entry(file, PLANTED)
    assert ids(file) == [*before, "a1"]


def test_several_processes_append_at_once(file: Path) -> None:
    started = [subprocess.Popen([sys.executable, "-c", ADD_FIVE, str(file), letter]) for letter in "pqr"]
    assert [process.wait(timeout=60) for process in started] == [0, 0, 0]
    assert sorted(ids(file)) == [f"{letter}{number}" for letter in "pqr" for number in range(5)]
    assert read_journal(file)[1] == ()


def test_a_note_does_not_wait_for_a_running_morning(file: Path, tmp_path: Path) -> None:
    with lock(tmp_path / "run.lock", NOW, holder="haulm morning"):
        assert append_entry(file, PLANTED)


def test_a_note_waits_for_another_note(file: Path) -> None:
    file.parent.mkdir()
    taken, go = threading.Event(), threading.Event()

    def hold() -> None:
        with lock(file.with_name(".brackenford.jsonl.lock"), NOW):
            taken.set()
            go.wait(5)

    holder = threading.Thread(target=hold)
    holder.start()
    assert taken.wait(5)
    threading.Timer(0.1, go.set).start()
    try:
        assert append_entry(file, PLANTED)
    except BusyError:
        pytest.fail("it did not wait")
    assert go.is_set()
    holder.join()


def test_a_disk_that_takes_no_more_leaves_the_journal_whole(file: Path) -> None:
    append_entry(file, PLANTED)
    before = file.read_bytes()
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    try:  # the system cuts the write short after some bytes of the line, as a full disk does
        resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 50, hard))
        with pytest.raises(JournalError, match="could not be written"):
            append_entry(file, WATERED)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert file.read_bytes() == before


def test_a_folder_in_its_place_is_told(file: Path) -> None:
    file.mkdir(parents=True)
    with pytest.raises(JournalError, match="a folder stands"):
        append_entry(file, PLANTED)
    with pytest.raises(JournalError, match="cannot be read"):
        read_journal(file)


def test_a_file_in_the_folders_place_is_told(tmp_path: Path) -> None:
    (tmp_path / "journal").write_text("", encoding="utf-8")
    with pytest.raises(JournalError, match="not a folder"):
        append_entry(tmp_path / "journal" / "brackenford.jsonl", PLANTED)


def test_ids_sort_by_time_and_differ() -> None:
    made = [new_id(NOW + timedelta(milliseconds=number)) for number in range(50)]
    assert made == sorted(made)
    assert len({new_id(NOW) for _ in range(1000)}) == 1000
    number = UUID(made[0])
    assert (number.version, number.variant) == (7, "specified in RFC 4122")
    assert number.int >> 80 == int(NOW.timestamp() * 1000)
    assert set(made[0]) <= set(string.hexdigits + "-")


def test_the_index_is_made_from_the_file(file: Path, database: Database) -> None:
    for entry in (PLANTED, WATERED, WITHDRAWN):
        append_entry(file, entry)
    journal, _ = read_journal(file)
    assert reindex(database, "brackenford", journal) == 0
    assert reindex(database, "brackenford", journal) == 0
    assert read_notes(database, "brackenford", date(2027, 4, 1), date(2027, 4, 30)) == (PLANTED, WATERED, WITHDRAWN)
    assert read_notes(database, "brackenford", date(2027, 4, 13), date(2027, 4, 13), "gatebed") == (WATERED, WITHDRAWN)
    assert read_notes(database, "brackenford", date(2027, 4, 1), date(2027, 4, 30), "otherbed") == ()
    assert read_notes(database, "sallow-wells", date(2027, 4, 1), date(2027, 4, 30)) == ()


def test_a_file_that_may_not_be_read_is_told(file: Path) -> None:
    append_entry(file, PLANTED)
    file.chmod(0)
    program = (
        "import os, sys, pathlib\nfrom haulm.store.journal_file import read_journal\n"
        "os.setuid(int(sys.argv[2])) if os.getuid() == 0 else None\nread_journal(pathlib.Path(sys.argv[1]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(file), "65534"], capture_output=True, text=True, check=False
    )
    assert os.name == "posix"
    assert "JournalError" in done.stderr
    assert "permission denied" in done.stderr
