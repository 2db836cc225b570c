"""A simulated year: the real program, as processes, through mornings and evenings full of faults.

    python tests/endurance/year.py [--days N] [--seed S] [--folder FOLDER] [--from-day K] [--short]

The machine's clock is shifted, the weather, mail and mailbox servers are on loopback and fail by a seeded schedule,
processes are killed, the disk is full, clocks jump. After each day `checks.py` looks from outside at what must be so.
A run that was stopped goes on where it was when it is called again with the same folder.
"""

import argparse
import json
import os
import shutil
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, date, datetime, timedelta
from datetime import time as clock_time
from pathlib import Path
from random import Random
from typing import Any

import garden
from checks import Breach, Checks, Day
from faults import STEPS, Kind, kinds
from plan import MORNING_CALLS, OFF_FOR_A_WEEK, Plan, Planned, dealt, first_day
from sky import ZONE
from world import Call, World, mounted, unmount

from haulm.jobs.errands import evening_errands
from haulm.settings.load import load

DAY = timedelta(days=1)
ANSWERS_EVERY, DAYS_TO_READ = 6, 12
KEPT_FILES = (
    "taken.jsonl", "arrived.jsonl", "year.json", "kept/checks.json", "kept/journal", "kept/yesterday.sqlite",
)  # fmt: skip
MEASURED = (10, 100, 200, 300, 364, 365)  # days at whose end memory and sizes are noted
KEPT_DAYS = 3  # so many beginnings of days are kept, and those of days with a breach


class Year:
    """One seed's year in one folder."""

    def __init__(self, folder: Path, seed: int, plan: Plan, all_kinds: tuple[Kind, ...], days: int) -> None:
        self.seed, self.plan, self._days = seed, plan, days
        self.begins = first_day(seed)
        self.world = World(folder, seed, self.begins + timedelta(days=days + 20))
        self._kept = folder / "kept"
        self._kept.mkdir(exist_ok=True)
        self.checks = Checks(self.world, self._kept)
        self.kinds = all_kinds
        self._path = folder / "year.json"
        told = json.loads(self._path.read_text()) if self._path.exists() else {}
        self.done = int(told.get("done", 0))
        self.struck: Counter[str] = Counter(told.get("struck", {}))
        self.missed: Counter[str] = Counter(told.get("missed", {}))
        self.days_met: Counter[str] = Counter(told.get("days_met", {}))
        self.hurt: Counter[str] = Counter(told.get("hurt", {}))
        self.owed: list[str] = told.get("owed", [kind.name for kind in plan.left])
        self.breaches: list[str] = told.get("breaches", [])
        self.seconds = float(told.get("seconds", 0.0))
        self.largest_kb = int(told.get("largest_kb", 0))
        self.sizes: dict[str, dict[str, int]] = told.get("sizes", {})
        self._settings = load(self.world.settings, {})

    def save(self) -> None:
        """Keep where it stands, so that it can go on."""
        told = {
            "done": self.done, "struck": self.struck, "missed": self.missed, "breaches": self.breaches,
            "days_met": self.days_met, "hurt": self.hurt, "owed": self.owed, "doubles": self.checks.doubles,
            "windows": self.checks.windows, "sizes": self.sizes, "seconds": self.seconds, "largest_kb": self.largest_kb,
        }  # fmt: skip
        self._path.write_text(json.dumps(told))
        self.checks.save()

    def run_day(self) -> list[Breach]:
        """The next day, and what is not as it must be at its end."""
        began = time.monotonic()
        day = self.begins + self.done * DAY
        self._snapshot(day)
        seen = Day(day)
        by_name = {kind.name: kind for kind in self.kinds}
        planned = self.plan.of(day, [by_name[name] for name in self.owed])
        for call, faults in self._calls(day, planned):
            self._strike(call, faults, seen)
        self._settle(day, planned, seen)
        found = self.checks.after(seen)
        if found:
            self._keep_breach(day)
            self.hurt.update(set(seen.faults))
        self.breaches += [str(one) for one in found]
        self.done += 1
        self.seconds += time.monotonic() - began
        self.save()
        return found

    def _settle(self, day: date, planned: list[Planned], seen: Day) -> None:
        """What was met is paid; what came to nothing all day is owed."""
        met = set(seen.faults)
        self.days_met.update(met)
        for one in planned:
            name = one.kind.name
            if name in met and one not in self.plan.of(day):
                self.owed.remove(name)
            elif name not in met and one in self.plan.of(day):
                self.owed.append(name)
        if self.done + 1 in MEASURED:
            self.sizes[str(self.done + 1)] = _sizes(self.world) | {
                "resident_kb": max((one.resident_kb for one in seen.ended), default=0)
            }

    # --- the calls of a day

    def _calls(self, day: date, planned: list[Planned]) -> Iterator[tuple[Call, list[Planned]]]:
        """Every call that a timer or the grower makes, in order, with the faults that strike it."""
        off = self.plan.off.get(day, "")
        if off:
            self._count(off, first=self.plan.off.get(day - DAY) != off)
        if off == OFF_FOR_A_WEEK:
            return
        fresh = Random(f"{self.seed} {day}").random() < 0.08
        self._answer(day, wanted=any(one.kind.wants_mail for one in planned))
        mornings = [one for one in planned if one.strikes == "morning"]
        for number in range(MORNING_CALLS if not off else 0):
            call = Call(("schedule", "--once"), _at(day, 6 + number, 30), fresh=fresh and number == 0)
            yield call, [one for one in mornings if one.meets(number)]
        for number, words in enumerate(self._notes(day, planned)):
            yield (
                Call(("note", *words), _at(day, 13, number)),
                [p for p in planned if p.strikes == "note" and not number],
            )
        yield from self._evenings(day, [one for one in planned if one.strikes == "evening"])

    def _answer(self, day: date, *, wanted: bool) -> None:
        """Now and then the grower answers a letter, and a stranger, or a forged mark, tries to."""
        if (day.toordinal() % ANSWERS_EVERY and not wanted) or not self.world.letterbox.taken:
            return
        mine = [one for one in self.world.letterbox.taken[-20:] if one["recipient"] == garden.ME and one["marks"]]
        at, number = _at(day, 5, 0), len(self.checks.answered)
        if not mine:  # no letter of late has asked anything
            if wanted:
                self._write_without_mark(at, number)
            return
        good = mine[-1]["marks"][0]
        forged = good[:-5] + "".join("A" if letter != "A" else "B" for letter in good[-5:-1]) + "]"
        for subject, sender, until in (
            (good, garden.ME, (day + DAYS_TO_READ * DAY).isoformat()),
            (forged, garden.ME, "never"),
            (good, "stranger@example.net", "never"),
        ):
            amount = f"5{number % 9}.{number:02}"
            self.world.mailbox.put(sender, f"Re: {subject}", f"soil {amount} F", garden.fresh_id(), at)
            self.checks.answered[amount] = until
            number += 1
            self._count(
                "answer" if until != "never" else f"answer forged: {'mark' if sender == garden.ME else 'sender'}"
            )

    def _write_without_mark(self, at: datetime, number: int) -> None:
        """The grower writes of their own accord: the mailbox is read, and nothing of it noted."""
        amount = f"5{number % 9}.{number:02}"
        self.world.mailbox.put(garden.ME, "Hello", f"soil {amount} F", garden.fresh_id(), at)
        self.checks.answered[amount] = "never"
        self._count("mail without a mark")

    def _notes(self, day: date, planned: list[Planned]) -> list[tuple[str, ...]]:
        listed = list(garden.notes_of(day))
        if any(one.strikes == "note" for one in planned) and not listed:
            listed = [("store", f"{3 + day.day / 10:.1f}C")]
        return listed

    def _evenings(self, day: date, planned: list[Planned]) -> Iterator[tuple[Call, list[Planned]]]:
        """The timer asks each half hour; here it asks at noon, when a look is due, and once more after each."""
        asked = [_at(day, 12, 5)]
        for errand in evening_errands(self._settings, day):
            due = datetime.combine(day, errand.at, ZONE)
            first = due.replace(minute=5, second=0) + timedelta(minutes=30 * ((due.minute + 24) // 30))
            asked += [first, first + timedelta(minutes=30)]
        for number, at in enumerate(sorted({one for one in asked if one.date() == day})):
            yield Call(("schedule", "--once", "--evening"), at), planned if number == 1 else []

    def _strike(self, call: Call, planned: list[Planned], seen: Day) -> None:
        rng = Random(f"{self.seed} {call.at.isoformat()}")
        with ExitStack() as stack:
            struck = [(one, stack.enter_context(one.kind.inject(self.world, call, rng))) for one in planned]
            self.world.make(call)
        for one, met in struck:
            self._count(one.kind.name, met=met[0])
            if met[0]:
                seen.faults.append(one.kind.name)
                seen.unanswered += one.kind.name == "taken, no answer"
                seen.restored |= one.kind.name.startswith("store") and "locked" not in one.kind.name
        seen.ended += call.ended
        seen.kills += sum(1 for one, met in struck if "killed" in one.kind.name and met[0])
        self.largest_kb = max([self.largest_kb, *(one.resident_kb for one in call.ended)])
        stopped = any(one.kind.stops for one in planned)
        if call.words == ("schedule", "--once") and not stopped:
            seen.healthy_morning = True
        if call.words[0] == "note" and call.ended and call.ended[0].code == 0:
            self.checks.noted.append(call.words[-1] if len(call.words) > 2 else call.words[2])

    def _count(self, name: str, *, met: bool = True, first: bool = True) -> None:
        if first:
            (self.struck if met else self.missed)[name] += 1

    # --- what is kept

    def _snapshot(self, day: date) -> None:
        """The beginning of the day, so that it can be run again."""
        at, before = (self._kept / f"day-{number:03}" for number in (self.done, self.done - 1))
        shutil.rmtree(at, ignore_errors=True)

        def copy(file: str, to: str) -> None:
            """What is as it was yesterday is the same file twice; most of the disk is copies of the store."""
            same = before / Path(to).relative_to(at)
            if same.exists() and _stands(same) == _stands(Path(file)):
                os.link(same, to)
            else:
                shutil.copy2(file, to)

        shutil.copytree(self.world.disk, at / "disk", copy_function=copy)
        for name in KEPT_FILES:
            if (self.world.folder / name).exists():
                shutil.copy(self.world.folder / name, at / Path(name).name)
        old = self._kept / f"day-{self.done - KEPT_DAYS:03}"
        if old.exists() and not (old / "breach").exists():
            shutil.rmtree(old)

    def _keep_breach(self, day: date) -> None:
        (self._kept / f"day-{self.done:03}" / "breach").touch()


def go_back(folder: Path, number: int) -> None:
    """Put a kept folder back to the beginning of one of its kept days."""
    kept = folder / "kept" / f"day-{number:03}"
    if not kept.exists():
        sys.exit(f"the beginning of day {number} is not kept in {folder}")
    disk = folder / "disk"
    for old in disk.iterdir():
        shutil.rmtree(old) if old.is_dir() else old.unlink()
    shutil.copytree(kept / "disk", disk, dirs_exist_ok=True)
    for name in KEPT_FILES:
        (folder / name).unlink(missing_ok=True)
        if (kept / Path(name).name).exists():
            shutil.copy(kept / Path(name).name, folder / name)


def _stands(file: Path) -> tuple[int, int]:
    told = file.stat()
    return told.st_size, told.st_mtime_ns


def _sizes(world: World) -> dict[str, int]:
    """Bytes of the store, the spool, the letters and all of the state folder, and its count of files."""
    files = [path for path in world.disk.rglob("*") if path.is_file()]
    parts = {"backups": "copies", "spool": "spool", "letters": "letters", "damaged": "damaged"}
    found = Counter(dict.fromkeys(parts.values(), 0))
    for path in files:
        for part, told in parts.items():
            found[told] += path.stat().st_size if part in path.parts else 0
    return {**found, "store": world.store.stat().st_size if world.store.exists() else 0, "files": len(files)}


def _at(day: date, hour: int, minute: int) -> datetime:
    return datetime.combine(day, clock_time(hour, minute), ZONE)


def table(told: list[dict[str, Any]], names: list[str]) -> Iterator[str]:
    """Each kind with the days on which it was met, the calls it met, and the days survived without a breach."""
    total = {
        key: sum((Counter(one[key]) for one in told), Counter()) for key in ("struck", "missed", "days_met", "hurt")
    }
    yield f"{'kind':50} {'days':>5} {'survived':>8} {'calls':>6} {'came to nothing':>15}"
    for name in [*names, *sorted({*total["struck"]} - {*names})]:
        days = total["days_met"][name] or total["struck"][name]
        yield (
            f"{name:50} {days:5} {days - total['hurt'][name]:8} {total['struck'][name]:6} {total['missed'][name]:15}"
        )
    unmet = [name for name in names if not total["struck"][name]]
    if unmet:
        yield f"Not met: {', '.join(unmet)}."
    days, seconds, breaches = (sum(one[key] for one in told) for key in ("done", "seconds", "broken"))
    doubles, windows = (sum(one[key] for one in told) for key in ("doubles", "windows"))
    yield f"{sum(total['struck'].values())} faults of {len(total['struck'])} kinds in {days} days and {seconds:.0f} s;"
    yield f"{doubles} letters came twice, in {windows} windows; {breaches} breaches."


def main() -> int:
    """Run it, and give 1 where something was not as it must be."""
    words = argparse.ArgumentParser(description="A simulated year of faults.")
    words.add_argument("--days", type=int, default=365)
    words.add_argument("--seed", type=int, default=1)
    words.add_argument("--folder", type=Path, help="kept, and gone on with; else one that stays after a breach")
    words.add_argument("--from-day", type=int, help="go back to this kept day (0 is the first)")
    words.add_argument("--short", action="store_true", help="every kind dealt once, in 20 days")
    words.add_argument("--stop-at-breach", action="store_true")
    words.add_argument("--sum", type=Path, nargs="+", metavar="FOLDER", help="only add up what kept years came to")
    given = words.parse_args()
    if given.sum:
        return _sum(given.sum)
    days = 20 if given.short else given.days
    folder = given.folder or Path(tempfile.mkdtemp(prefix="haulm-year-"))
    folder = folder.resolve()
    disk = folder / "disk"
    disk.mkdir(parents=True, exist_ok=True)
    small = mounted(disk)  # before it is filled: a disk that is mounted later would hide what lies there
    if not small:
        print("No small disk may be mounted here, so that none is full in this run.", flush=True)
    all_kinds = kinds(STEPS, small_disk=small)
    if given.from_day is not None:
        go_back(folder, given.from_day)
    plan = dealt(given.seed, days if given.short else 365, all_kinds, each_once=given.short)
    year = Year(folder, given.seed, plan, all_kinds, 365)
    try:
        last = min(days, year.done + days) if given.from_day is None else given.from_day + given.days
        while year.done < last:
            found = year.run_day()
            _tell(year, found)
            if found and given.stop_at_breach:
                break
    finally:
        year.world.close()
        if given.folder is None:
            unmount(disk)
    broken = _sum([folder])
    if given.folder is None and not broken:
        shutil.rmtree(folder)
    return broken


def _sum(folders: list[Path]) -> int:
    """Print what some years came to, together."""
    told = [json.loads((folder / "year.json").read_text()) for folder in folders]
    for one in told:
        one["broken"] = len(one["breaches"])
    print("\n".join(table(told, [kind.name for kind in kinds(STEPS)])))
    return 1 if any(one["broken"] for one in told) else 0


def _tell(year: Year, found: list[Breach]) -> None:
    day = year.begins + (year.done - 1) * DAY
    for one in found:
        again = f"--seed {year.seed} --folder {year.world.folder} --from-day {year.done - 1} --days 1"
        print(f"BREACH seed {year.seed} {one}\n  again: python tests/endurance/year.py {again}", flush=True)
    if year.done % 5 == 0:
        told = f"{sum(year.struck.values())} faults, {len(year.breaches)} breaches, {year.seconds:.0f} s"
        print(f"{datetime.now(UTC):%H:%M:%S} day {year.done} ({day}): {told}", flush=True)


if __name__ == "__main__":
    sys.exit(main())
