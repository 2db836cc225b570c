"""How a store is, looked at without changing anything: for `haulm check`, and before it is mended."""

import math
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from haulm.errors import DamagedError
from haulm.store.copies import Copy, copies_in
from haulm.store.database import connect, copies_of, is_there, lock_of, traces
from haulm.store.lock import hold_with_others, let_go
from haulm.store.readable import check_whole


class Health(StrEnum):
    """What was found."""

    SOUND = "sound"
    NONE_YET = "none yet"
    DAMAGED = "damaged"
    GONE = "gone"


@dataclass(frozen=True, slots=True)
class Looked:
    """What was found, in a few words beside, and the copies there are, newest first."""

    health: Health
    told: str
    size_bytes: int
    copies: tuple[Copy, ...]

    @property
    def is_well(self) -> bool:
        """Whether there is nothing to mend."""
        return self.health in {Health.SOUND, Health.NONE_YET}


def look(path: Path, *, patience_s: float = math.inf) -> Looked:
    """Look at a store; it may be of an older version, and stays so.

    Raises
    ------
    StoreError
        It was written by a newer haulm, is not one of haulm's, or cannot be read.
    BusyError
        Another file is just being put in its place.
    """
    copies = copies_in(copies_of(path))
    if not is_there(path):
        left = traces(path)
        told = f"{' and '.join(left)} beside it show that there was one" if left else "the first morning makes it"
        return Looked(Health.GONE if left else Health.NONE_YET, told, 0, copies)
    size = path.stat().st_size
    held = hold_with_others(lock_of(path))
    try:
        with connect(path) as database:
            done = check_whole(database, patience_s=patience_s)
    except DamagedError as fault:
        return Looked(Health.DAMAGED, fault.what.removeprefix("the store is damaged: "), size, copies)
    finally:
        let_go(held)
    return Looked(Health.SOUND, "" if done else f"as far as {patience_s:.0f} s of checking went", size, copies)
