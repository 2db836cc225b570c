"""The store as a run that writes letters uses it: checked when a check is due, mended when it is damaged, copied after.

A morning mends a damaged store by itself. haulm runs unattended, in a cupboard: a store that waited for a hand would
mean silence for weeks, in which frost comes. What speaks against it is answered:

- It might send a letter twice. It does not: what has gone is in the post book (`haulm.store.post_book`), which is
  brought in before anything is handed over. Letters that the copy does not know are read back from the dated folder;
  where the book is lost too, one that lies there is taken for sent (`haulm.jobs.read_back`).
- It might take a sound store for damaged. It is then set aside, not deleted, at most a day older one works on, and the
  next letter says where it lies. Only what SQLite itself calls damage counts: a store of a newer haulm, a stranger's
  file, a missing right or a full disk are told and left alone.
- It might mend a store that others are using. It cannot: whoever has it open holds a lock that mending needs alone.
"""

import logging
from collections.abc import Callable, Iterator
from datetime import date, datetime, timedelta
from pathlib import Path
from time import monotonic
from typing import TypeVar

from haulm.errors import DamagedError, HaulmError
from haulm.settings.load import Settings
from haulm.store.copies import Copy, copies_in, thin_out
from haulm.store.database import Database, copies_of, open_database
from haulm.store.mend import Restored, restore
from haulm.store.post_book import drop_before
from haulm.store.readable import check_whole
from haulm.store.runs import events, first_run, keep_event
from haulm.store.upkeep import CHECKED, COPIED, FAILED_COPY, is_checked, last_copied
from haulm.weather import DAY

# The whole check reads the file through. It takes the first run of a day a fraction of a second, so there is no quicker
# one beside it; figures are in DEVELOPERS.md.
LONGEST_S = 60.0  # judgement: no letter waits longer for a check; what is left of it is left
SLACK = timedelta(days=9)  # a week's copy may be the oldest of the last week kept

_LOG = logging.getLogger("haulm")
_T = TypeVar("_T")


def use_store(path: Path, now: datetime, work: Callable[[Database], _T]) -> _T:
    """Do some work with the store. Where it is damaged it is mended, and the work is done from the beginning again.

    Raises
    ------
    StoreError
        It cannot be used, or mended.
    BusyError
        It is damaged, and others have it open.
    """
    try:
        return _work(path, now, work)
    except DamagedError as fault:
        _LOG.error("%s", fault)
        restored = restore(path, now)
        if restored is None:
            raise
        _tell(restored)
    return _work(path, now, work)


def keep_copy(settings: Settings, database: Database, now: datetime, *, anew: bool = False) -> Copy | None:
    """After a morning: copy the store if this local day has no copy, and let go of old ones. What fails is logged.

    After an evening's letter it is copied anew: a later look at the same night goes by what that letter said.
    """
    place, folder = settings.garden.place, copies_of(database.path)
    if not anew and place.day_of(now) in _days_copied(settings, database):
        return None
    begun = monotonic()
    try:
        copy = database.copy(folder, now)
        keep_event(database, COPIED, now, copy.path.name, newest_only=True)
        thin_out(folder, settings.backups.days, settings.backups.weeks, now)
        thin_book(settings, database, now)
        _LOG.info("The store was copied: %.1f MB in %.1f s.", copy.size_bytes / 1e6, monotonic() - begun)
    except (HaulmError, OSError) as fault:
        _LOG.warning("%s", fault)
        _note_failure(database, now, fault)
        return None
    return copy


def thin_book(settings: Settings, database: Database, now: datetime) -> None:
    """Drop from a garden's post book the letters that no copy of the store reaches back to."""
    reach = timedelta(days=settings.backups.days, weeks=settings.backups.weeks) + SLACK
    drop_before(database.path, settings.garden.key, settings.garden.place.day_of(now - reach))


def _days_copied(settings: Settings, database: Database) -> set[date]:
    """The day of the newest copy: as the store noted it, or, where it never has, those that the files are named by.

    A name alone does not count: a clock that once was days ahead has left one that its own day would take for done.
    """
    place, noted = settings.garden.place, last_copied(database)
    if noted is not None:
        return {place.day_of(noted)}
    return {place.day_of(copy.made) for copy in copies_in(copies_of(database.path)) if not copy.version}


def copies_told(settings: Settings, database: Database, now: datetime) -> tuple[str, ...]:
    """One sentence for the letter where the newest copy is too old."""
    newest = max((copy.made for copy in copies_in(copies_of(database.path)) if copy.made <= now), default=None)
    since = newest or first_run(database)
    if since is None or now - since <= settings.backups.tell_after_days * DAY:
        return ()
    failed = events(database, FAILED_COPY)
    if newest is None and not failed:
        return ()  # a store from before there were copies: its first is made after this letter
    why = f": {failed[-1].note}" if failed and failed[-1].started >= since else ""
    told = f"haulm's memory has had no copy since {since:%A %-d %B}" if newest else "haulm's memory has no copy yet"
    return (f"{told}{why}.",)


def _work(path: Path, now: datetime, work: Callable[[Database], _T]) -> _T:
    with open_database(path) as database:
        _check_when_due(database, now)
        return work(database)


def _check_when_due(database: Database, now: datetime) -> None:
    if is_checked(database, now):
        return
    begun = monotonic()
    done = check_whole(database, patience_s=LONGEST_S)
    took = f"{monotonic() - begun:.2f} s"
    if not done:
        _LOG.warning("%s: the check was not at its end after %s.", database.path, took)
    keep_event(database, CHECKED, now, took, newest_only=True)


def _note_failure(database: Database, now: datetime, fault: Exception) -> None:
    try:
        keep_event(database, FAILED_COPY, now, str(fault).splitlines()[0], newest_only=True)
    except HaulmError as second:
        _LOG.warning("%s", second)


def _tell(restored: Restored) -> None:
    for line in as_lines(restored):
        _LOG.warning("%s", line)


def as_lines(restored: Restored) -> Iterator[str]:
    """What was done, for the log and the terminal."""
    for copy, why in restored.unsound:
        yield f"The copy {copy.path.name} is not sound ({why}); it was passed over and left where it is."
    yield restored.told
