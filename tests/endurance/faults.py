"""The faults of a simulated year: a row for each kind, with how it is injected and what must be so afterwards.

A fault is a context around one call of the program. It gives back whether it was met; only those are counted.
"""

import json
import sqlite3
import threading
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from random import Random
from typing import Literal

import answerbox
import garden
import letterbox
import services
from world import Call, World

Struck = list[bool]
Inject = Callable[[World, Call, Random], AbstractContextManager[Struck]]
Slot = Literal["morning", "evening", "look", "note", "any"]
DAY_S = 86400.0
PAGE = 4096


@dataclass(frozen=True)
class Kind:
    """One kind of fault.

    Attributes
    ----------
    slot
        Which calls it can strike: "look" is a morning or an evening.
    stops
        Whether it can keep a letter from being written or sent while it lasts.
    a_year
        How often a year has it.
    source
        The weather service that fails, where one does.
    wants_mail
        Whether it needs an answer in the mailbox to strike.
    after
        What must be so afterwards, in words; the checks that hold it are in `checks.py`.
    """

    name: str
    slot: Slot
    inject: Inject
    after: str
    stops: bool = True
    a_year: int = 6
    source: str = ""
    wants_mail: bool = False


def kinds(steps: tuple[str, ...] = (), *, small_disk: bool = True) -> tuple[Kind, ...]:
    """All kinds that can be injected here."""
    found = [*_of_sources(), *_of_mail(), *_of_mailbox(), *_of_processes(steps), *_of_store(), *_of_machine()]
    return tuple(one for one in found if small_disk or not one.name.startswith("disk full"))


# --- weather services


def _of_sources() -> Iterator[Kind]:
    for source, told in services.SOURCES.items():
        for way in services.WAYS:
            if way in {"stale", "future"} and source in {"stations", "points"}:
                continue  # these have no date
            yield Kind(
                f"{told}: {way}", "look", _source(source, way), "the letter comes, and says what could not be had",
                stops=False, a_year=5, source=source,
            )  # fmt: skip
    yield Kind("no name service", "look", _no_names, "the letter waits, and goes later under the same id")


def _source(source: str, way: str) -> Inject:
    @contextmanager
    def inject(world: World, call: Call, rng: Random) -> Iterator[Struck]:
        if source in {"points", "grid"}:
            call.environ["HAULM_WEATHER__FORECASTS"] = "us-weather-service,met-norway"
            _forget(world, "nws", "*.json*")
        if source == "stations":
            _forget(world, "meteostat/stations", "*")
        before, struck = world.services.struck[source, way], [False]
        world.services.faults[source] = way
        try:
            yield struck
        finally:
            del world.services.faults[source]
            struck[0] = world.services.struck[source, way] > before

    return inject


def _forget(world: World, folder: str, names: str) -> None:
    """What lies in the spool would be good for weeks; it may be thrown away at any time."""
    for path in (world.state / "spool" / folder).glob(names):
        path.unlink()


@contextmanager
def _no_names(world: World, call: Call, rng: Random) -> Iterator[Struck]:
    call.environ["YEAR_OF_NO_NAMES"] = "1"
    yield [True]


# --- mail


def _of_mail() -> Iterator[Kind]:
    for way in letterbox.WAYS:
        yield Kind(way, "morning", _mail(way), "the letter comes later, or the next one tells that it did not come")
    yield Kind(letterbox.TAKEN_UNANSWERED, "morning", _mail(letterbox.TAKEN_UNANSWERED), "at most once more, same id")


def _mail(way: str) -> Inject:
    @contextmanager
    def inject(world: World, call: Call, rng: Random) -> Iterator[Struck]:
        box = world.letterbox
        before, struck = box.struck[way], [False]
        whose = "*" if way in {"mail server shut", "login refused", "greets with 421"} else garden.OTHER
        box.faults[whose] = way
        try:
            yield struck
        finally:
            del box.faults[whose]
            struck[0] = box.struck[way] > before

    return inject


def _of_mailbox() -> Iterator[Kind]:
    for way in answerbox.WAYS:
        yield Kind(
            way, "morning", _box(way), "the letter comes; answers are read by a later run, once", stops=False,
            wants_mail=way == "mailbox breaks off mid-fetch",
        )  # fmt: skip


def _box(way: str) -> Inject:
    @contextmanager
    def inject(world: World, call: Call, rng: Random) -> Iterator[Struck]:
        before, struck = world.mailbox.struck[way], [False]
        world.mailbox.way = way
        try:
            yield struck
        finally:
            world.mailbox.way = ""
            struck[0] = world.mailbox.struck[way] > before

    return inject


# --- processes

# Steps that an ordinary morning, or a note, comes to; the others are killed at in tests/jobs/test_kill_points.py.
STEPS = (
    "run begun", "weather kept", "hours kept", "place in the mailbox kept", "notes indexed", "letter stored",
    "delivery claimed", "delivery settled", "run ended", "post book entered", "fetched file kept", "store copied",
    "what happened to the store noted", "letter put in the folder", "mailbox read", "log told", "mail taken",
    "note written", "errand started",
)  # fmt: skip
ONCE_A_RUN = {
    "run begun",
    "letter stored",
    "run ended",
    "store copied",
    "mailbox read",
    "note written",
    "errand started",
    "hours kept",
    "weather kept",
    "notes indexed",
    "log told",
    "place in the mailbox kept",
    "what happened to the store noted",
}
ONCE_MORE = "one letter, but for the one window; nothing half done"


def _of_processes(steps: tuple[str, ...]) -> Iterator[Kind]:
    yield Kind("killed at a random instant", "any", _killed, ONCE_MORE, a_year=40)
    yield Kind("the timer's process killed", "look", _timer_killed, ONCE_MORE)
    yield Kind("killed while mail goes out", "morning", _killed_in_mail, ONCE_MORE)
    for step in steps:
        slot: Slot = "note" if step == "note written" else "morning"
        mail = step == "place in the mailbox kept"
        yield Kind(f"killed at: {step}", slot, _killed_at(step), ONCE_MORE, a_year=6, wants_mail=mail)
    yield Kind("two schedulers at once", "look", _two, "one letter")


@contextmanager
def _killed(world: World, call: Call, rng: Random) -> Iterator[Struck]:
    longest = {"morning": 0.9, "evening": 0.45}.get(call.worker, 0.06)
    call.environ["YEAR_OF_KILL"] = json.dumps({"command": call.worker, "after_s": rng.uniform(0.0, longest)})
    call.fresh = False
    yield from _whether_killed(call)


@contextmanager
def _timer_killed(world: World, call: Call, rng: Random) -> Iterator[Struck]:
    call.environ["YEAR_OF_KILL"] = json.dumps({"command": "schedule", "after_s": rng.uniform(0.0, 0.6)})
    call.fresh = False
    yield from _whether_killed(call)


def _was_killed(call: Call) -> bool:
    """The process itself, or the one that it started, as it tells."""
    return any(one.killed or "was cut off by signal" in one.err for one in call.ended)


def _whether_killed(call: Call) -> Iterator[Struck]:
    struck = [False]
    yield struck
    struck[0] = _was_killed(call)


@contextmanager
def _killed_in_mail(world: World, call: Call, rng: Random) -> Iterator[Struck]:
    """The server has just taken a letter when the program is killed: the window that mail leaves open."""
    struck = [False]
    late_s = rng.choice([0.0, 0.0, 0.002, 0.01])
    call.environ["YEAR_OF_KILL"] = json.dumps({"command": call.worker, "when": "told", "late_s": late_s})
    call.fresh = False

    def kill(_: bytes) -> None:
        world.machine.kill_now()

    world.letterbox.on_taken = kill
    try:
        yield struck
    finally:
        world.letterbox.on_taken = lambda _: None
        struck[0] = _was_killed(call)


def _killed_at(step: str) -> Inject:
    @contextmanager
    def inject(world: World, call: Call, rng: Random) -> Iterator[Struck]:
        moment, time = rng.choice(("before", "after")), 1 if step in ONCE_A_RUN else rng.choice((1, 1, 2))
        call.environ["YEAR_OF_KILL_AT"] = f"{step}:{moment}:{time}"
        call.fresh = False
        yield from _whether_killed(call)

    return inject


@contextmanager
def _two(world: World, call: Call, rng: Random) -> Iterator[Struck]:
    call.together.append(call.words)
    yield [True]


# --- disk and store


def _of_store() -> Iterator[Kind]:
    yield Kind("disk full", "any", _full, "the next run that has room does what was left undone", a_year=10)
    for name, damage in (
        ("store truncated", _cut), ("store's pages damaged", _spoil), ("store gone", _gone),
    ):  # fmt: skip
        yield Kind(
            name, "look", _damaged(damage), "the newest sound copy takes its place; nothing goes twice", a_year=5
        )
    yield Kind("store locked for a moment", "look", _locked(0.4), "the run waits", stops=False)
    yield Kind("store locked for long", "look", _locked(11.0), "the run gives up and says so; a later one succeeds")


def _cut(store: Path, rng: Random) -> None:
    with store.open("r+b") as file:
        file.truncate(rng.randrange(0, store.stat().st_size))


def _spoil(store: Path, rng: Random) -> None:
    """The heads of some pages, which SQLite can tell; a changed byte within a value it cannot."""
    pages = store.stat().st_size // PAGE
    with store.open("r+b") as file:
        for page in rng.sample(range(pages), min(6, pages)):
            file.seek(page * PAGE)
            file.write(rng.randbytes(40))


def _gone(store: Path, rng: Random) -> None:
    store.unlink()


def _damaged(damage: Callable[[Path, Random], None]) -> Inject:
    @contextmanager
    def inject(world: World, call: Call, rng: Random) -> Iterator[Struck]:
        there = world.store.exists() and any((world.state / "backups").glob("*"))
        if there:
            damage(world.store, rng)
            for beside in ("-wal", "-shm"):  # of the file that was there
                world.store.with_name(world.store.name + beside).unlink(missing_ok=True)
        yield [there]

    return inject


@contextmanager
def _full(world: World, call: Call, rng: Random) -> Iterator[Struck]:
    with world.full(rng.choice([0, 0, 4, 16, 60, 120, 250, 500])):
        yield [True]


def _locked(seconds: float) -> Inject:
    @contextmanager
    def inject(world: World, call: Call, rng: Random) -> Iterator[Struck]:
        if not world.store.exists():
            yield [False]
            return
        held, over = threading.Event(), threading.Event()

        def hold() -> None:
            other = sqlite3.connect(world.store, isolation_level=None, timeout=5)
            other.execute("BEGIN EXCLUSIVE")
            held.set()
            over.wait(seconds)
            other.execute("ROLLBACK")
            other.close()

        thread = threading.Thread(target=hold)
        thread.start()
        held.wait(5)
        try:
            yield [True]
        finally:
            over.set()
            thread.join()

    return inject


# --- machine


def _of_machine() -> Iterator[Kind]:
    for name, ahead_s in (
        ("clock an hour back", -3600.0), ("clock a day back", -DAY_S), ("clock nine days back", -9 * DAY_S),
        ("clock two hours forward", 7200.0), ("clock a day forward", DAY_S), ("clock nine days forward", 9 * DAY_S),
    ):  # fmt: skip
        yield Kind(
            name, "look", _clock(ahead_s), "one letter for each day, and the next true day is as any other", a_year=5
        )
    for name, change in garden.BREAKS:
        yield Kind(
            f"settings broken: {name}", "look", _broken(change), "told at once; mended, the letter comes", a_year=5
        )


def _clock(ahead_s: float) -> Inject:
    @contextmanager
    def inject(world: World, call: Call, rng: Random) -> Iterator[Struck]:
        call.ahead_s = ahead_s
        yield [True]

    return inject


def _broken(change: Callable[[str], str]) -> Inject:
    @contextmanager
    def inject(world: World, call: Call, rng: Random) -> Iterator[Struck]:
        world.settings.write_bytes(change(world.good).encode("latin-1", "replace"))
        try:
            yield [True]
        finally:
            world.settings.write_text(world.good, encoding="utf-8")

    return inject
