"""What must be so after each day of a simulated year, looked at from outside: mail, store, journal, output, folders.

The store is read without writing, beside a copy of it as it was the day before; nothing is taken on the program's word.
"""

import json
import os
import re
import shutil
import sqlite3
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import garden
import lost
from machine import Ended
from sky import NEIGHBOUR, STATION, ZONE
from world import World

# What a table's rows are known by; a row once there stays, but for hours, which are let go of after thirteen months.
STAYS = {
    "weather": "station, quantity, day, received, value",
    "forecasts": "source, cell, issued, known",
    "said": "garden, rule, bed, planting, episode, day",
    "letters": "garden, kind, day, subject, text",
    "runs": "garden, kind, day, started, id",
    "notes": "garden, id",
    "answers": "garden, message, place",
}
CODES = {0, 1, 2, 75}
SECRETS = (garden.MAIL_PASSWORD, garden.BOX_PASSWORD, garden.HOOK_SECRET)
MOST_SPOOL_BYTES, MOST_FILES = 24 * 1024 * 1024, 150
_DATE_LINE = re.compile(r"^\w{3} (\d{1,2}) (\w{3,9}) (\d{4})$", re.MULTILINE)


@dataclass(frozen=True)
class Breach:
    """One thing that is not as it must be."""

    day: date
    what: str
    told: str

    def __str__(self) -> str:
        return f"{self.day}: {self.what}: {self.told}"


@dataclass
class Day:
    """What the harness did on a day, as far as checks need it: kinds of faults met, kills, calls and how they ended."""

    day: date
    faults: list[str] = field(default_factory=list)
    kills: int = 0
    unanswered: int = 0
    ended: list[Ended] = field(default_factory=list)
    healthy_morning: bool = False
    restored: bool = False


class Checks:
    """Holds what must never be lost from one day to the next; `doubles` counts letters that came twice."""

    def __init__(self, world: World, kept: Path) -> None:
        self._world, self._kept = world, kept
        self._before = kept / "yesterday.sqlite"
        memory = json.loads((kept / "checks.json").read_text()) if (kept / "checks.json").exists() else {}
        self.noted: list[str] = memory.get("noted", [])
        self.answered: dict[str, str] = memory.get("answered", {})
        self.doubles = int(memory.get("doubles", 0))
        self.windows = int(memory.get("windows", 0))
        self.untold: dict[str, list[str]] = memory.get("untold", {})
        self._lost: list[lost.Row] = [(s, q, d, v) for s, q, d, v in memory.get("lost", [])]
        self._journal = (kept / "journal").read_bytes() if (kept / "journal").exists() else b""

    def save(self) -> None:
        """Keep what has to be known tomorrow."""
        told = {
            "noted": self.noted, "answered": self.answered, "doubles": self.doubles, "windows": self.windows,
            "untold": self.untold, "lost": self._lost,
        }  # fmt: skip
        (self._kept / "checks.json").write_text(json.dumps(told))
        (self._kept / "journal").write_bytes(self._journal)

    def after(self, day: Day) -> list[Breach]:
        """All that is not as it must be at the end of a day."""
        found: list[tuple[str, str]] = []
        found += self._output(day)
        found += self._letters(day)
        found += self._explained(day)
        found += self._journal_stays(day)
        found += self._secrets()
        found += self._bounded(day)
        if self._world.store.exists():
            with self._opened() as database:
                found += self._rows_stay(database, day)
                found += self._weather_comes_back(database, day)
                found += self._true(database, day)
                found += self._alerts(database, day)
            self._remember()
        return [Breach(day.day, *one) for one in found]

    # --- what it printed

    def _output(self, day: Day) -> Iterator[tuple[str, str]]:
        for one in day.ended:
            told = one.out + one.err
            if "Traceback" in told:
                yield "a fault of haulm itself", f"{' '.join(one.words)}: {one.err[-1500:]}"
            if one.code not in CODES and not one.killed and not day.kills:
                yield "an exit code of its own", f"{' '.join(one.words)}: {one.code}, signal {one.signal}"
            if one.code and not one.err.strip() and not one.out.strip() and not day.kills:
                yield "silence", f"{' '.join(one.words)} ended with {one.code} and said nothing"
            for secret in SECRETS:
                if secret in told:
                    yield "a secret in what is printed", " ".join(one.words)

    # --- the mail

    def _letters(self, day: Day) -> Iterator[tuple[str, str]]:
        came = Counter(identity(one) for one in self._world.letterbox.taken)
        extra = sum(count - 1 for count in came.values())
        self.windows += day.kills + day.unanswered
        new = extra - self.doubles
        if new > day.kills + day.unanswered:
            twice = [what for what, count in came.items() if count > 1][-new:]
            yield "a letter came twice", f"{twice}, with {day.kills} kills that day"
        self.doubles = extra
        by_letter: dict[tuple[str, ...], set[str]] = defaultdict(set)
        for one in self._world.letterbox.taken[-60:]:
            by_letter[identity(one)].add(one["id"])
        for what, ids in by_letter.items():
            if len(ids) > 1:
                yield "one letter under two Message-IDs", f"{what}: {sorted(ids)}"
        if day.healthy_morning and not self._came(day.day, garden.ME):
            yield "no letter", "though a healthy run began before the last hour"

    def _came(self, day: date, recipient: str) -> bool:
        return any(
            identity(one)[:3] == ("morning", day.isoformat(), recipient) for one in self._world.letterbox.taken[-40:]
        )

    def _came_early(self, day: date) -> bool:
        """Whether a clock that was ahead wrote this day's letter before those of the days before it."""
        known = (one for one in self._world.letterbox.taken if identity(one)[:2] == ("morning", day.isoformat()))
        return any(local(datetime.fromisoformat(one["at"])) < day for one in known)

    def _explained(self, day: Day) -> Iterator[tuple[str, str]]:
        """A morning whose letter did not come on its day is told of in the next letter that is written."""
        for recipient in (garden.ME, garden.OTHER):
            missing = self.untold.setdefault(recipient, [])
            theirs = [one for one in self._world.letterbox.taken[-60:] if one["recipient"] == recipient]
            came = {identity(one)[1]: one for one in theirs if identity(one)[0] == "morning"}
            if day.day.isoformat() not in came:
                missing.append(day.day.isoformat())
                continue
            yield from _told_falsely(came, recipient, day.day)
            for each in list(missing):
                # Late, or under a wrong clock's day: then it came; else a letter since then tells of it.
                later = [one["text"] for on, one in came.items() if on > each]
                told = any(tells_of(text, date.fromisoformat(each), recipient) for text in later)
                if each not in came and not told:
                    yield "not explained", f"the letter of {each} to {recipient} did not come that day"
                missing.remove(each)

    # --- journal, secrets, folders

    def _journal_stays(self, day: Day) -> Iterator[tuple[str, str]]:
        now = self._world.journal.read_bytes() if self._world.journal.exists() else b""
        whole = self._journal[: self._journal.rfind(b"\n") + 1]
        if not now.startswith(whole):
            yield "the journal lost a row", f"{len(self._journal)} bytes before, {len(now)} now"
        self._journal = now
        lines = [line for line in now.decode("utf-8", "replace").splitlines() if line.strip()]
        entries = [json.loads(line) for line in lines if _is_json(line)]
        ids = Counter(entry["id"] for entry in entries)
        if any(count > 1 for count in ids.values()):
            yield "a note stands twice", str(ids.most_common(1))
        written = Counter(entry["written"] for entry in entries)
        noted = {*written, *(str(entry["what"]) for entry in entries), *(str(entry["cause"]) for entry in entries)}
        for each in self.noted:
            if not any(each in one for one in noted):
                yield "a note is lost", each
        for amount, until in self.answered.items():
            count = sum(count for one, count in written.items() if f"{amount} F" in one)
            if count > 1 or (count == 0 and until <= day.day.isoformat()):
                yield "an answer was noted not once", f"{amount}: {count} times"
            if until == "never" and count:
                yield "a forged answer was noted", amount

    def _secrets(self) -> Iterator[tuple[str, str]]:
        for path in self._world.disk.rglob("*"):
            if path.is_file() and path.suffix in {".txt", ".html", ".json", ".jsonl", ".ics", ".log"}:
                data = path.read_bytes()
                if any(secret.encode() in data for secret in SECRETS):
                    yield "a secret in a file", str(path)

    def _bounded(self, day: Day) -> Iterator[tuple[str, str]]:
        # Files know the true time, and here a day takes seconds; days on which the machine is off do not count.
        for part in self._world.state.rglob("*.part") if day.ended else ():
            aged = part.stat().st_mtime - timedelta(days=1).total_seconds()
            os.utime(part, (aged, aged))
        files = [path for path in self._world.state.rglob("*") if path.is_file()]
        size = sum(path.stat().st_size for path in files if "spool" in path.parts)
        old = time.time() - timedelta(days=4).total_seconds()
        left = [path for path in files if path.name.endswith(".part") and path.stat().st_mtime < old]
        if size > MOST_SPOOL_BYTES or len(files) > MOST_FILES:
            yield "the folder grows", f"{len(files)} files, {size} bytes of spool"
        if left:
            yield "files are left over", f"{len(left)} unfinished: {left[:3]}"

    # --- the store

    @contextmanager
    def _opened(self) -> Iterator[sqlite3.Connection]:
        with closing(sqlite3.connect(f"file:{self._world.store}?mode=ro", uri=True)) as database:
            database.row_factory = sqlite3.Row
            if self._before.exists():
                database.execute("ATTACH ? AS before", (f"file:{self._before}?mode=ro",))
            yield database

    def _remember(self) -> None:
        source = sqlite3.connect(f"file:{self._world.store}?mode=ro", uri=True)
        fresh = self._before.with_suffix(".new")
        fresh.unlink(missing_ok=True)
        with closing(source), closing(sqlite3.connect(fresh)) as copy:
            source.backup(copy)
        shutil.move(fresh, self._before)

    def _rows_stay(self, database: sqlite3.Connection, day: Day) -> Iterator[tuple[str, str]]:
        if not self._before.exists():
            return
        for table, columns in STAYS.items():
            if day.restored and table in {"runs", "said", "answers", "forecasts", "notes"}:
                continue  # those since the copy; what must not be lost with them is looked at otherwise
            from_the_store = day.restored and table == "weather"
            same = lost.COLUMNS if from_the_store else columns
            young = f" WHERE issued > '{(day.day - timedelta(days=300)).isoformat()}'" if table == "forecasts" else ""
            young = " WHERE garden <> ''" if table == "runs" else young
            gone = database.execute(
                f"SELECT {same} FROM before.{table}{young} EXCEPT SELECT {same} FROM main.{table}"  # noqa: S608
            ).fetchall()
            if from_the_store:
                self._lost += [(row["station"], row["quantity"], row["day"], row["value"]) for row in gone]
            elif gone:
                yield "the store lost rows", f"{len(gone)} of {table}, such as {tuple(gone[0])}"

    def _weather_comes_back(self, database: sqlite3.Connection, day: Day) -> Iterator[tuple[str, str]]:
        """What a damaged store lost of the weather is there again as soon as its station told it anew."""
        self._lost = lost.still_lost(database, self._lost)
        asked = day.healthy_morning and not self._came_early(day.day)
        late = [row for row in self._lost if lost.due(row, day.day, day.faults, restored=day.restored, asked=asked)]
        if late:
            yield "the store lost rows", f"{len(late)} of weather did not come back, such as {late[0]}"
        self._lost = [row for row in self._lost if row not in late]

    def _true(self, database: sqlite3.Connection, day: Day) -> Iterator[tuple[str, str]]:
        """The record holds what the stations measured, and no day that had not ended."""
        sky = self._world.sky
        truth = {STATION: sky.truth, NEIGHBOUR: sky.neighbour}
        since = (day.day - timedelta(days=20)).isoformat()
        for row in database.execute("SELECT * FROM weather WHERE day >= ?", (since,)):
            key = lost.station_of(row["station"])
            if row["quantity"] not in {"air_min_c", "air_max_c", "rain_mm"} or key not in truth:
                continue
            on = date.fromisoformat(row["day"])
            if on > day.day:
                yield "the record holds a day to come", str(tuple(row))
            elif abs(truth[key](row["quantity"], on) - row["value"]) > 0.06:
                yield "the record holds what was not measured", str(tuple(row))

    def _alerts(self, database: sqlite3.Connection, day: Day) -> Iterator[tuple[str, str]]:
        """Each episode that was remembered on a day was said anew in that day's letters, once."""
        letters = database.execute(
            "SELECT kind, json FROM letters WHERE day = ? ORDER BY id", (day.day.isoformat(),)
        ).fetchall()
        told: list[dict[str, Any]] = [one for row in letters for one in json.loads(row["json"])["alerts"]]
        fresh = Counter(_matter(one) for one in told if one["fresh"] and not one["ended"])
        rows = database.execute(
            "SELECT * FROM said WHERE day = ? AND episode = ?", (day.day.isoformat(), day.day.isoformat())
        ).fetchall()
        for row in rows:
            if fresh[row["rule"], row["bed"], row["planting"]] == 0:
                yield "an alert was lost", f"{row['rule']} of {row['bed']} is remembered as said, and was not"
        yield from self._repeated(database, day, told)

    def _repeated(
        self, database: sqlite3.Connection, day: Day, told: list[dict[str, Any]]
    ) -> Iterator[tuple[str, str]]:
        last = database.execute(
            "SELECT json FROM letters WHERE day < ? AND kind = 'morning' ORDER BY day DESC LIMIT 1",
            (day.day.isoformat(),),
        ).fetchone()
        if last is None or self._came_early(day.day):
            return
        before = {_key(one): one for one in json.loads(last["json"])["alerts"] if not one["ended"]}
        for one in told:
            same = before.get(_key(one))
            if same is None or not one["fresh"] or one["ended"] or one["episode"] == same["episode"]:
                continue
            if one["rule"] != "tonight" and (one["verdict"], one["level"]) == (same["verdict"], same["level"]):
                yield "an alert was repeated", f"{one['rule']} of {one['bed']}: {one['verdict']}"


def identity(letter: dict[str, Any]) -> tuple[str, str, str]:
    """Kind, local day and recipient as the reader can tell them; an evening may have a second, graver one."""
    found = _DATE_LINE.search(letter["text"])
    told = f"{found[1]} {found[2][:3]} {found[3]}" if found else ""
    day = datetime.strptime(told, "%d %b %Y").date() if found else None  # noqa: DTZ007
    kind = f"evening {letter['id']}" if letter["text"].startswith("A word between letters") else "morning"
    return kind, day.isoformat() if day else letter["subject"], letter["recipient"]


def tells_of(text: str, missed: date, recipient: str) -> bool:
    """Whether a letter explains why that of an earlier day did not come."""
    plain = " ".join(text.split())
    return missed in missed_by(text, missed) or f"The letter of {_named(missed)} did not reach {recipient}" in plain


def missed_by(text: str, about: date) -> set[date]:
    """The days without a letter that a letter names, one by one or from the first to the last; within half a year."""
    plain = " ".join(text.split())
    told = re.search(r"There (?:was no letter|were no letters) (.*?)(?: \(a run was cut off [^)]*\))?[;,]", plain)
    found: set[date] = set()
    for span in told[1].split(" and ") if told else ():
        days = [_nearest(*one, about) for one in re.findall(r"[A-Z][a-z]+day (\d+) (\w+)", span)]
        found |= {days[0] + timedelta(days=n) for n in range((days[-1] - days[0]).days + 1)}
    return found


def _told_falsely(came: dict[str, dict[str, Any]], recipient: str, day: date) -> Iterator[tuple[str, str]]:
    """That a letter was missed which its reader has had, and had before the day that tells of it."""
    letter = came[day.isoformat()]
    for missed in missed_by(letter["text"], day):
        held = came.get(missed.isoformat())
        if held is not None and held["at"] < letter["at"]:
            yield "told as missed", f"the letter of {missed} to {recipient}, which came at {held['at']}"


def _nearest(day: str, month: str, about: date) -> date:
    known = []
    for year in (about.year - 1, about.year, about.year + 1):
        with suppress(ValueError):  # 29 February
            known.append(datetime.strptime(f"{day} {month} {year}", "%d %B %Y").date())  # noqa: DTZ007
    return min(known, key=lambda each: abs(each - about))


def _named(day: date) -> str:
    return f"{day:%A} {day.day} {day:%B}"


def _key(alert: dict[str, Any]) -> tuple[str, str, str]:
    return alert["rule"], alert["bed"], alert["planting"]


def _matter(alert: dict[str, Any]) -> tuple[str, str, str]:
    """What an alert is remembered as: a word between the letters is said of frost."""
    rule, bed, planting = _key(alert)
    return "frost" if rule == "evening-frost" and alert["verdict"] != "taken-back" else rule, bed, planting


def _is_json(line: str) -> bool:
    try:
        json.loads(line)
    except ValueError:
        return False
    return True


def local(at: datetime) -> date:
    """The garden's day at an instant."""
    return at.astimezone(ZONE).date()
