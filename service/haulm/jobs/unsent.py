"""A letter that the store cannot take: worked out all the same, shown and told to the log, and not sent.

haulm sends only what it has written down, or a letter would go twice. But a full disk, or a store that cannot be opened
or mended, must not hide a frost from whoever looks: the letter is worked out with a copy of what haulm remembers, on a
disk with room, and without that memory where it cannot be read. Once the store takes it again, the next run sends it.
"""

import logging
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from datetime import date
from pathlib import Path

from haulm.errors import Exit, HaulmError, StoreError
from haulm.files import is_full, passing_folder
from haulm.garden import Garden
from haulm.jobs.deliver import MAIL, WEBHOOK
from haulm.jobs.state_folder import StateFolder
from haulm.post.log import tell_log
from haulm.store.database import open_database
from haulm.store.letters import Status, StoredLetter, deliveries_of, letter_of
from haulm.store.post_book import FOLDER as POST_BOOK
from haulm.store.post_book import read_book

SHARED_MEMORY = Path("/dev/shm")  # noqa: S108  a folder of our own is made in it
BY_POST = frozenset({MAIL, WEBHOOK})
ROOM_BYTES = 20_000_000  # judgement: for a day's fetched files, unpacked
_LOG = logging.getLogger("haulm")


class UnsentError(StoreError):
    """The store cannot be used; `letter` is what it could not take."""

    def __init__(self, fault: StoreError, letter: StoredLetter, code: Exit) -> None:
        what = f"{fault.what}. So this letter was not sent; it is only shown, and told to the log"
        super().__init__(what, where=fault.where, remedy=fault.remedy)
        self.letter = letter
        self.exit_code = code


def unsent(
    garden: Garden,
    state: StateFolder,
    day: date,
    kinds: Sequence[str],
    fault: StoreError,
    work: Callable[[StateFolder], StoredLetter | None],
) -> StoreError:
    """What to raise for a fault of the store: with the letter, where there is one that has reached nobody.

    Parameters
    ----------
    kinds
        Of the letters that the run may have written before the fault, the day's last one first; after that none comes.
    work
        Works the letter out with a state folder that is thrown away; None where there is nothing to say.
    """
    booked = [one for one in read_book(state.store, garden.key) if (one.kind, one.day) == (kinds[0], day)]
    if _has_gone((one.channel, one.status) for one in booked):
        return fault
    for whole in (True, False):
        try:
            with _elsewhere(state, garden, whole=whole) as copied:
                letter = _waiting(copied, garden.key, day, kinds) or work(copied)
        except _GoneError:
            return fault
        except (HaulmError, OSError) as second:
            _LOG.warning("%s", second)
            continue
        code = Exit.TRY_LATER if is_full(state.path) else Exit(fault.exit_code)
        return UnsentError(fault, letter, code) if letter is not None else fault
    return fault


def tell_unsent(fault: UnsentError) -> None:
    """The whole letter to the log: where haulm runs by itself, that is the only road it has."""
    letter = fault.letter
    _LOG.error("%s", fault)
    tell_log(letter.garden, letter.kind, letter.day, letter.subject, letter.text)


def _has_gone(deliveries: Iterable[tuple[str, str]]) -> bool:
    """Whether a letter has reached somebody, or may have: by post, or where none is asked for, in its folder."""
    known = list(deliveries)
    by_post = [one for one in known if one[0] in BY_POST]
    return any(status in {Status.SENDING, Status.SENT} for _, status in by_post or known)


class _GoneError(Exception):
    """The day's last letter has reached somebody, or may have."""


def _waiting(state: StateFolder, garden: str, day: date, kinds: Sequence[str]) -> StoredLetter | None:
    """The letter that the run had stored before its fault, if it has reached nobody."""
    if not state.store.exists():
        return None
    with open_database(state.store) as database:
        for kind in kinds:
            letter = letter_of(database, garden, kind, day)
            found = deliveries_of(database, garden, kind, day)
            gone = any(one.address.channel in BY_POST and one.status in {Status.SENDING, Status.SENT} for one in found)
            if gone and kind == kinds[0]:
                raise _GoneError
            if letter is not None and not gone:
                return letter
    return None


@contextmanager
def _elsewhere(state: StateFolder, garden: Garden, *, whole: bool) -> Iterator[StateFolder]:
    """A copy of a state folder where there is room; with its store if it is to be whole. It goes again afterwards."""
    journal, store = state.journal(garden), state.store
    files = [journal, *([store, store.with_name(f"{store.name}-wal")] if whole else [])]
    folders = [(state.spool, "spool"), *([(store.with_name(POST_BOOK), POST_BOOK)] if whole else [])]
    folders = [(path, name) for path, name in folders if path.is_dir()]
    size = sum(path.stat().st_size for path in files if path.is_file())
    size += sum(one.stat().st_size for path, _ in folders for one in path.rglob("*") if one.is_file())
    with room_for(size + ROOM_BYTES) as folder:
        for path in files:
            if path.is_file():
                shutil.copyfile(path, folder / path.name)
        for path, name in folders:
            shutil.copytree(path, folder / name)
        yield StateFolder(folder)


@contextmanager
def room_for(size_bytes: int) -> Iterator[Path]:
    """A folder for a while with so much room, in which other work finds room for its own passing files too."""
    usual = tempfile.tempdir
    for base in _bases():
        if shutil.disk_usage(base).free >= size_bytes:
            with passing_folder(base) as folder:
                tempfile.tempdir = str(folder)
                try:
                    yield folder
                finally:
                    tempfile.tempdir = usual
            return
    raise StoreError(f"no disk has {size_bytes / 1e6:.0f} MB of room to work a letter out without the store")


def _bases() -> Iterator[Path]:
    with suppress(FileNotFoundError):  # none of the usual ones can be written
        yield Path(tempfile.gettempdir())
    if SHARED_MEMORY.is_dir():
        yield SHARED_MEMORY
