"""Files as fetched, kept on disk with what the server said of them, so that nothing is asked for twice."""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path

from haulm.errors import SourceError
from haulm.files import explain, make_folder, write_together, write_whole
from haulm.sources.http import Ask, Endpoints, Http, NotThereError
from haulm.steps import Step

# A server that says "good for years" would stop the forecast for as long; a day is longer than any of ours says.
LONGEST_FRESH = timedelta(hours=24)


@dataclass(frozen=True, slots=True)
class Access:
    """What every fetch needs: the session, the addresses, the folder of fetched files, and the instant it is now."""

    http: Http
    endpoints: Endpoints
    spool: Path
    now: datetime


@dataclass(frozen=True, slots=True)
class Kept:
    """One fetched file on disk.

    `fetched` is when this content came, `checked` when the server last said that it holds; `last_modified` is kept
    to the letter; `status` is 203 where the server says that what it gives is to be withdrawn.
    """

    path: Path
    sha256: str
    fetched: datetime
    checked: datetime
    last_modified: str = ""
    expires: datetime | None = None
    status: int = 200

    @property
    def body(self) -> bytes:
        """The file's bytes."""
        return self.path.read_bytes()


@dataclass(frozen=True, slots=True)
class Wanted:
    """A file to be had: `check` returns the bytes to keep, or raises `SourceError` if they are not what they should be.

    It is asked for again only when it has expired and `not_within` has passed since the last time; one that was not
    there, when `absent_within` has passed.
    """

    name: str
    url: str
    what: str
    check: Callable[[bytes, str], bytes]
    params: Mapping[str, str] = field(default_factory=dict)
    not_within: timedelta = timedelta(0)
    absent_within: timedelta = timedelta(0)


def obtain(access: Access, wanted: Wanted) -> Kept:
    """The file, from the spool while it is fresh, else from the server if it has another.

    Raises
    ------
    SourceError
        It could not be had, or is damaged; what the spool held before is still there. `NotThereError` if there is none.
    """
    held = kept(access.spool, wanted.name)
    if held is None and _known_absent(access, wanted):
        raise NotThereError("not there", where=wanted.what)
    if held and _fresh(held, access.now, wanted.not_within):
        return held
    ask = Ask(wanted.url, wanted.what, wanted.params, held.last_modified if held else "")
    try:
        reply = access.http.get(ask)
    except NotThereError:
        if wanted.absent_within:
            _note_absent(access, wanted)
        raise
    if reply.unchanged and held:
        body, since, fetched = held.body, reply.last_modified or held.last_modified, held.fetched
        status = held.status
    else:
        body, since, fetched = wanted.check(reply.body, ask.where), reply.last_modified, access.now
        status = reply.status
    digest = hashlib.sha256(body).hexdigest()
    if held and digest == held.sha256:
        fetched = held.fetched
    new = Kept(access.spool / wanted.name, digest, fetched, access.now, since, reply.expires, status)
    _write(new, body, rewrite=not (held and digest == held.sha256))
    return new


def kept(spool: Path, name: str) -> Kept | None:
    """What the spool holds under a name; None if nothing, or if file and note do not belong together."""
    path = spool / name
    try:
        told = json.loads(_note(path).read_text(encoding="utf-8"))
        expires = datetime.fromisoformat(told["expires"]) if told["expires"] else None
        fetched, checked = (datetime.fromisoformat(told[key]) for key in ("fetched", "checked"))
        whole = hashlib.sha256(path.read_bytes()).hexdigest() == told["sha256"]
        held = Kept(path, told["sha256"], fetched, checked, told["last_modified"], expires, told["status"])
        return held if whole else None
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None  # a spool is only a help: what cannot be read there is fetched anew


def damaged_files(spool: Path) -> tuple[int, tuple[str, ...]]:
    """How many fetched files lie in the spool, and the names of those that are not what was noted of them."""
    ending = ".note.json"
    names = [str(note.relative_to(spool)).removesuffix(ending) for note in sorted(spool.rglob(f"*{ending}"))]
    return len(names), tuple(name for name in names if kept(spool, name) is None)


def save_beside(path: Path, data: bytes) -> None:
    """Write a file of our own beside a fetched one, whole or not at all.

    Raises
    ------
    SourceError
        The disk does not take it.
    """
    try:
        write_whole(path, data, Step.PARSED_KEPT)
    except OSError as fault:
        raise _disk(path, fault) from fault


def _known_absent(access: Access, wanted: Wanted) -> bool:
    try:
        asked = datetime.fromisoformat(_absence(access, wanted).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return False
    return asked <= access.now < asked + wanted.absent_within


def _note_absent(access: Access, wanted: Wanted) -> None:
    path = _absence(access, wanted)
    try:
        make_folder(path.parent)
        write_whole(path, access.now.astimezone(UTC).isoformat().encode(), Step.ABSENCE_KEPT)
    except OSError as fault:
        raise _disk(path, fault) from fault


def _absence(access: Access, wanted: Wanted) -> Path:
    return (access.spool / wanted.name).with_name(f"{Path(wanted.name).name}.absent")


def _fresh(held: Kept, now: datetime, not_within: timedelta) -> bool:
    if now < held.checked:
        return False  # the clock went back: nothing noted can be trusted to be recent
    until = held.checked + not_within
    if held.expires:
        until = max(until, min(held.expires, held.checked + LONGEST_FRESH))
    return now < until


def _note(path: Path) -> Path:
    return path.with_name(path.name + ".note.json")


def _write(new: Kept, body: bytes, *, rewrite: bool) -> None:
    told = asdict(new)
    told.pop("path")
    for key in ("fetched", "checked", "expires"):
        told[key] = told[key].astimezone(UTC).isoformat() if told[key] else ""
    note = {_note(new.path): json.dumps(told).encode()}
    try:
        make_folder(new.path.parent)
        write_together({new.path: body, **note} if rewrite else note, Step.FETCH_KEPT)
    except OSError as fault:
        raise _disk(new.path, fault) from fault


def _disk(path: Path, fault: OSError) -> SourceError:
    what, remedy = explain(fault)
    return SourceError(f"the file cannot be kept: {what}", where=str(path), remedy=remedy)
