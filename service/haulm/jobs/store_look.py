"""How the store is, in plain words: for `haulm check` and `haulm mend`."""

from collections.abc import Iterator
from pathlib import Path

from haulm.errors import BusyError, Exit, StoreError
from haulm.files import is_open
from haulm.jobs.state_folder import StateFolder
from haulm.store.database import copies_of
from haulm.store.health import Looked, look
from haulm.store.post_book import FOLDER as POST_BOOK

RESTORES_ITSELF = "The next morning restores it by itself; haulm mend does so now."
LONGEST_S = 60.0  # judgement: so long a person waits for an answer


def told_open(state: StateFolder) -> Iterator[str]:
    """What of all that is kept stands open to other users of the machine; it holds addresses, letters and a key.

    What lies in a folder that is closed is not looked at: nobody comes so far.
    """
    inside = (state.store, state.path / POST_BOOK, copies_of(state.store))
    reached = (state.path, *inside) if is_open(state.path) else ()
    spool = () if state.spool.is_relative_to(state.path) and not reached else (state.spool,)
    for path in (*reached, *spool):
        if is_open(path):
            mode = "600" if path == state.store else "700"
            yield f"Others on this machine can read {path}: run chmod {mode} on it."


def check_store(state: StateFolder) -> tuple[list[str], Exit]:
    """Lines that say whether the store is sound, and an exit code that says so too. Nothing is changed."""
    try:
        found = look(state.store, patience_s=LONGEST_S)
    except BusyError as fault:
        return [f"Memory: {fault}"], Exit.DONE  # a morning at work is no fault
    except StoreError as fault:
        return [f"Memory: {fault}"], Exit.PARTLY
    lines = list(store_lines(state.store, found))
    if found.is_well:
        return lines, Exit.DONE
    return [*lines, RESTORES_ITSELF], Exit.PARTLY


def store_lines(path: Path, found: Looked) -> Iterator[str]:
    """How the store is, and which copies there are."""
    beside = f" ({found.told})" if found.told else ""
    size = f", {_size(found.size_bytes)}" if found.size_bytes else ""
    yield f"Memory: {path}{size}: {found.health}{beside}."
    if found.copies:
        newest, whole = found.copies[0].made, sum(copy.size_bytes for copy in found.copies)
        many = "1 copy" if len(found.copies) == 1 else f"{len(found.copies)} copies"
        yield f"Copies: {many} in {copies_of(path)}, {_size(whole)}, the newest of {newest:%a %-d %b %Y, %H:%M} UTC."
    elif found.size_bytes:
        yield "Copies: none yet; the first is made after a morning's letter."


def _size(count: int) -> str:
    return f"{count / 1e6:.1f} MB"
