"""Files that are there whole or not at all, and what a fault of the disk means to a person."""

import errno
import os
import re
import secrets
import shutil
import stat
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from haulm.steps import Step, marked

# What a person reads for the faults that a disk commonly has: what went wrong, and what to do.
_WORDS = {
    errno.ENOSPC: ("the disk is full", "Make room on that disk, then try again."),
    errno.EDQUOT: ("the disk quota is used up", "Make room, or ask for a larger quota, then try again."),
    errno.EACCES: ("permission denied", "Give the user that runs haulm the right to write there."),
    errno.EPERM: ("permission denied", "Give the user that runs haulm the right to write there."),
    errno.EROFS: ("that disk can only be read", "Choose a folder on a disk that can be written."),
    errno.ENOENT: ("there is no such file or folder", "Check how the path is written."),
    errno.ENOTDIR: ("a part of the path is a file, not a folder", "Choose another folder, or move that file away."),
    errno.EEXIST: ("a part of the path is a file, not a folder", "Choose another folder, or move that file away."),
    errno.EISDIR: ("a folder stands where the file should be", "Choose another name, or move that folder away."),
    errno.ENAMETOOLONG: ("the path is too long", "Choose a shorter path."),
}

# A file is written in seconds: one that is unfinished and so much older than a new one was left by a run cut off.
_LEFT_S = 3600.0
_PASSING = "haulm-passing-"
_NO_ROOM_BYTES = 65_536  # SQLite wants 32 KiB beside a store only to read it
_UNFINISHED = re.compile(r"\.haulm-[0-9a-f]{16}\.part")


def explain(fault: OSError) -> tuple[str, str]:
    """What went wrong with a file, in plain words, and what to do about it."""
    unknown = (fault.strerror or type(fault).__name__, "Check the disk and the path, then try again.")
    return _WORDS.get(fault.errno or 0, unknown)


def is_full(folder: Path) -> bool:
    """Whether a folder's disk has no room left, to speak of; False where that cannot be told."""
    with suppress(OSError):
        return shutil.disk_usage(folder).free < _NO_ROOM_BYTES
    return False


def is_open(path: Path) -> bool:
    """Whether other users of this machine may read or change what is there; False where that cannot be told."""
    with suppress(OSError):
        return os.name == "posix" and bool(path.stat().st_mode & 0o077)
    return False


def make_folder(folder: Path, mode: int = 0o700) -> None:
    """Make a folder and those above it, closed to others; one that is there already is left as it is.

    Raises
    ------
    OSError
        It cannot be made, or a file stands in its place.
    """
    if folder.is_dir():
        return
    make_folder(folder.parent, mode)
    folder.mkdir(mode=mode, exist_ok=True)


def write_whole(path: Path, data: bytes, step: Step, mode: int = 0o600) -> None:
    """Write one file so that a reader, or a power cut, finds the old one or the new one whole.

    Raises
    ------
    OSError
        It cannot be written; what stood there before still does.
    """
    write_together({path: data}, step, mode)


def write_together(files: Mapping[Path, bytes], step: Step, mode: int = 0o600, *, tidy: bool = True) -> None:
    """Write several files of one disk: all are written down under other names before the first takes its place.

    A full disk therefore leaves none of them. Only a power cut in the last instant can leave some new, each whole.
    `tidy` is to look through the folder for what runs that were cut off have left there.

    Raises
    ------
    OSError
        One cannot be written; those that stood there before still do.
    """
    staged: dict[Path, Path] = {}
    try:
        for path, data in files.items():
            staged[path] = _name_beside(path)
            _write_down(staged[path], data, mode)
        for path, temporary in staged.items():
            with marked(step):
                temporary.replace(path)
    finally:
        for temporary in staged.values():
            temporary.unlink(missing_ok=True)
    for path in {path.parent: path for path in files}.values():
        settle_folder(path.parent)
        if tidy:
            sweep(path.parent, path)


@contextmanager
def passing_folder(base: Path | None = None) -> Iterator[Path]:
    """A folder for a while, closed to others; those that this user's runs left behind when they were killed go first.

    `base` is where it lies, by default where passing files usually do.
    """
    place = base or Path(tempfile.gettempdir())
    with tempfile.TemporaryDirectory(prefix=_PASSING, dir=place) as folder:
        _sweep_passing(place, Path(folder))
        yield Path(folder)


def _sweep_passing(place: Path, new: Path) -> None:
    """Take away passing folders of our own, an hour or more older than a new one: no clock but the disk's is asked.

    A link, or what others put there under such a name, is left alone.
    """
    with suppress(OSError):
        before = new.lstat().st_mtime - _LEFT_S
        for path in place.glob(f"{_PASSING}*"):
            found = path.lstat()
            if stat.S_ISDIR(found.st_mode) and found.st_uid == os.geteuid() and found.st_mtime < before:
                shutil.rmtree(path, ignore_errors=True)


def sweep(folder: Path, written: Path) -> None:
    """Remove what runs that were cut off left unfinished in a folder, an hour or more before a file was written."""
    with suppress(OSError):  # it is only in the way, and the next run tries again
        left = [path for path in folder.iterdir() if _UNFINISHED.fullmatch(path.name)]
        for path in left:
            if path.stat().st_mtime <= written.stat().st_mtime - _LEFT_S:
                path.unlink(missing_ok=True)


def append_line(path: Path, line: bytes, step: Step) -> None:
    """Add a line, its end included, to a file that is only ever added to, and have it on the disk.

    A line that was cut off before it is ended first, so that it spoils nothing but itself.

    Raises
    ------
    OSError
        It cannot be written; what the file held is still there, and nothing else.
    """
    make_folder(path.parent)
    is_new = not path.exists()
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600)
    try:
        size = os.fstat(descriptor).st_size
        whole = b"" if size == 0 or _last_byte(descriptor, size) == b"\n" else b"\n"
        with marked(step):
            _write_all(descriptor, whole + line, size)
    finally:
        os.close(descriptor)
    if is_new:
        settle_folder(path.parent)


def settle_folder(folder: Path) -> None:
    """Have the folder's list of names on the disk; where folders cannot be opened (Windows) there is nothing to do."""
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _name_beside(path: Path) -> Path:
    if path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    return path.with_name(f".haulm-{secrets.token_hex(8)}.part")


def _write_down(path: Path, data: bytes, mode: int) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode)
    with os.fdopen(descriptor, "wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())


def _write_all(descriptor: int, data: bytes, size: int) -> None:
    """Write down to the disk, and where that fails take back what was written."""
    try:
        done = 0
        while done < len(data):
            done += os.write(descriptor, data[done:])
        os.fsync(descriptor)
    except OSError:
        os.ftruncate(descriptor, size)
        raise


def _last_byte(descriptor: int, size: int) -> bytes:
    os.lseek(descriptor, size - 1, os.SEEK_SET)
    return os.read(descriptor, 1)
