"""Files whole or not at all."""

import errno
import os
import stat
from pathlib import Path

import pytest

from haulm.files import explain, make_folder, write_together, write_whole
from haulm.steps import Step


def test_a_file_is_written_and_replaced(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    write_whole(path, b"old", Step.PICTURE_WRITTEN)
    write_whole(path, b"new", Step.PICTURE_WRITTEN, mode=0o640)
    assert path.read_bytes() == b"new"
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert list(tmp_path.iterdir()) == [path]


def test_a_reader_of_the_old_file_keeps_it_whole(tmp_path: Path) -> None:
    path = tmp_path / "page.html"
    write_whole(path, b"old" * 10_000, Step.PICTURE_WRITTEN)
    with path.open("rb") as reader:
        assert reader.read(3) == b"old"
        write_whole(path, b"new", Step.PICTURE_WRITTEN)
        assert reader.read() == b"old" * 9_999


def test_of_several_files_none_is_replaced_when_one_cannot_be(tmp_path: Path) -> None:
    first, second = tmp_path / "a", tmp_path / "missing" / "b"
    write_whole(first, b"old", Step.PICTURE_WRITTEN)
    with pytest.raises(FileNotFoundError):
        write_together({first: b"new", second: b"new"}, Step.FOLDER_FILLED)
    assert first.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [first]


def test_a_folder_that_is_there_keeps_its_mode(tmp_path: Path) -> None:
    tmp_path.chmod(0o755)
    make_folder(tmp_path / "a" / "b")
    make_folder(tmp_path)
    modes = [stat.S_IMODE(folder.stat().st_mode) for folder in (tmp_path, tmp_path / "a", tmp_path / "a" / "b")]
    assert modes == [0o755, 0o700, 0o700]


@pytest.mark.parametrize("code", sorted(errno.errorcode))
def test_every_fault_has_words_and_a_remedy(code: int) -> None:
    what, remedy = explain(OSError(code, os.strerror(code)))
    assert what
    assert remedy.endswith(".")


def test_a_full_disk_is_called_one() -> None:
    assert explain(OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)))[0] == "the disk is full"
    assert explain(OSError())[0] == "OSError"


def test_what_a_run_cut_off_left_goes_when_it_is_hours_old(tmp_path: Path) -> None:
    left, fresh, other = (tmp_path / name for name in (f".haulm-{'0' * 16}.part", f".haulm-{'1' * 16}.part", ".a.part"))
    for path in (left, fresh, other):
        path.write_bytes(b"half")
    for path in (left, other):
        os.utime(path, (path.stat().st_mtime - 3601,) * 2)
    write_whole(tmp_path / "page.html", b"new", Step.PICTURE_WRITTEN)
    assert sorted(tmp_path.iterdir()) == sorted([fresh, other, tmp_path / "page.html"])
