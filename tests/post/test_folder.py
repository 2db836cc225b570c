"""A letter in a folder: every form or none, and never outside it."""

import os
import resource
import stat
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from haulm.errors import DeliveryError, Exit
from haulm.post.folder import letter_stem, put_in_folder, safe_name

DAY = date(2027, 4, 12)
FORMS = {"txt": b"Plant today.\n", "html": b"<p>Plant today.</p>", "json": b"{}", "png": b"\x89PNG"}


def files_in(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def test_each_form_is_a_file_named_by_day_garden_and_kind(tmp_path: Path) -> None:
    written = put_in_folder(tmp_path / "letters", "brackenford", "morning", DAY, FORMS)
    place = tmp_path / "letters" / "2027" / "04"
    assert written == tuple(place / f"2027-04-12-brackenford-morning.{form}" for form in FORMS)
    assert [path.read_bytes() for path in written] == list(FORMS.values())
    assert {path.stem for path in written} == {letter_stem("brackenford", "morning", DAY)}
    assert files_in(tmp_path) == sorted(written)
    assert {stat.S_IMODE(path.stat().st_mode) for path in written} == {0o600}
    assert stat.S_IMODE((tmp_path / "letters").stat().st_mode) == 0o700


def test_what_the_last_run_of_a_month_left_unfinished_goes_with_the_next_letter(tmp_path: Path) -> None:
    left = tmp_path / "2027" / "03" / f".haulm-{'0' * 16}.part"
    left.parent.mkdir(parents=True)
    left.write_bytes(b"half")
    os.utime(left, (left.stat().st_mtime - 7200,) * 2)
    put_in_folder(tmp_path, "brackenford", "morning", DAY, FORMS)
    assert not left.exists()


def test_the_same_letter_again_takes_its_place(tmp_path: Path) -> None:
    put_in_folder(tmp_path, "brackenford", "morning", DAY, FORMS)
    (text,) = put_in_folder(tmp_path, "brackenford", "morning", DAY, {"txt": b"Wait.\n"})
    assert text.read_bytes() == b"Wait.\n"
    assert len(files_in(tmp_path)) == len(FORMS)


def test_an_unknown_form_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="exe"):
        put_in_folder(tmp_path, "brackenford", "morning", DAY, {"exe": b""})


@pytest.mark.parametrize("name", ["../../etc/passwd", "/etc", "..", ".", "a\\b", "a\x00b", "C:", "", "ä b", "x" * 500])
def test_no_name_leads_out_of_the_folder(tmp_path: Path, name: str) -> None:
    written = put_in_folder(tmp_path / "letters", name, name, DAY, FORMS)
    assert {path.resolve().parent for path in written} == {(tmp_path / "letters" / "2027" / "04").resolve()}
    assert files_in(tmp_path) == sorted(written)


@given(st.text(max_size=80), st.text(max_size=80))
def test_two_names_never_share_a_file(one: str, other: str) -> None:
    assert (safe_name(one) == safe_name(other)) == (one == other)
    assert safe_name(one).replace("-", "").replace("_", "").isascii()
    assert 0 < len(safe_name(one)) < 80


def test_a_disk_that_takes_no_more_leaves_nothing(tmp_path: Path) -> None:
    put_in_folder(tmp_path, "brackenford", "morning", DAY, FORMS)
    newer = {"txt": b"Wait.\n", "png": b"x" * 100_000}
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    try:  # the system refuses to let the picture grow beyond this
        resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, hard))
        with pytest.raises(DeliveryError) as caught:
            put_in_folder(tmp_path, "brackenford", "morning", DAY, newer)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    assert caught.value.where
    assert caught.value.remedy
    assert caught.value.exit_code == Exit.TRY_LATER
    left = files_in(tmp_path)
    assert sorted(path.read_bytes() for path in left) == sorted(FORMS.values())


def test_a_file_in_the_folders_place_is_told(tmp_path: Path) -> None:
    (tmp_path / "letters").write_text("", encoding="utf-8")
    with pytest.raises(DeliveryError, match="not a folder") as caught:
        put_in_folder(tmp_path / "letters", "brackenford", "morning", DAY, FORMS)
    assert "letters" in caught.value.where


def test_a_folder_in_a_files_place_is_told_and_nothing_written(tmp_path: Path) -> None:
    (tmp_path / "2027" / "04" / "2027-04-12-brackenford-morning.json").mkdir(parents=True)
    with pytest.raises(DeliveryError, match="a folder stands"):
        put_in_folder(tmp_path, "brackenford", "morning", DAY, FORMS)
    assert files_in(tmp_path) == []


def test_a_folder_that_may_not_be_written_is_told(tmp_path: Path) -> None:
    folder = tmp_path / "letters"
    folder.mkdir(mode=0o500)
    program = (
        "import os, sys, pathlib, datetime\nfrom haulm.post.folder import put_in_folder\n"
        "os.setuid(65534) if os.getuid() == 0 else None\n"
        "put_in_folder(pathlib.Path(sys.argv[1]), 'g', 'morning', datetime.date(2027, 4, 12), {'txt': b'x'})"
    )
    done = subprocess.run([sys.executable, "-c", program, str(folder)], capture_output=True, text=True, check=False)
    assert "DeliveryError" in done.stderr
    assert "permission denied" in done.stderr
    assert os.listdir(folder) == []  # noqa: PTH208 -- names alone
