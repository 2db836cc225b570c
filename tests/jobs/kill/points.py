"""Ends haulm at each of its steps, each time over a fresh copy of a garden, and has what comes after looked at."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

import haulm
from haulm.steps import Step

HERE = Path(__file__).parent
AT_ONCE = 2
NOTHING: Mapping[str, str] = {}
OUTBOX = {Step.LETTER_STORED, Step.DELIVERY_CLAIMED, Step.BOOK_ENTERED, Step.DELIVERY_SETTLED}
# Which test ends the program at which steps: together at all of them.
REACHED_BY = {
    "morning": OUTBOX
    | {Step.TABLES_MADE, Step.RUN_BEGUN, Step.WEATHER_KEPT, Step.NOTES_INDEXED, Step.RUN_ENDED}
    | {Step.LOG_TOLD, Step.FOLDER_FILLED, Step.MAIL_TAKEN, Step.WEBHOOK_POSTED}
    | {Step.EVENT_NOTED, Step.STORE_COPIED, Step.HEARTBEAT_SENT},
    "gardens": OUTBOX
    | {Step.RUN_BEGUN, Step.WEATHER_KEPT, Step.NOTES_INDEXED, Step.RUN_ENDED, Step.MAIL_TAKEN}
    | {Step.EVENT_NOTED, Step.STORE_COPIED, Step.TIMETABLE_NOTED},
    "evenings": OUTBOX
    | {Step.RUN_BEGUN, Step.WEATHER_KEPT, Step.RUN_ENDED, Step.MAIL_TAKEN}
    | {Step.EVENT_NOTED, Step.STORE_COPIED},
    "evening": OUTBOX
    | {Step.RUN_BEGUN, Step.WEATHER_KEPT, Step.RUN_ENDED}
    | {Step.LOG_TOLD, Step.FOLDER_FILLED, Step.MAIL_TAKEN, Step.WEBHOOK_POSTED},
    "stations": {Step.FETCH_KEPT, Step.ABSENCE_KEPT, Step.PARSED_KEPT, Step.HOURS_KEPT},
    "cut off": {Step.CUT_OFF_NOTED},
    "let go": {Step.LETTERS_LET_GO},
    "key": {Step.KEY_MADE},
    "answers": {Step.MAILBOX_READ, Step.NOTE_WRITTEN, Step.ANSWERS_KEPT, Step.PLACE_KEPT},
    "note": {Step.NOTE_WRITTEN},
    "page": {Step.PAGES_WRITTEN},
    "calendar": {Step.CALENDAR_WRITTEN},
    "init": {Step.SETTINGS_WRITTEN},
    "soil": {Step.PICTURE_WRITTEN},
    "season": {Step.PICTURE_WRITTEN},
    "replay": {Step.PICTURE_WRITTEN, Step.TABLE_WRITTEN},
    "schedule": {Step.ERRAND_STARTED},
    "mended": {Step.STORE_SET_ASIDE, Step.STORE_PUT_BACK, Step.EVENT_NOTED, Step.BOOK_THINNED}
    | {Step.STORE_COPIED, Step.COPY_DROPPED},
    "followed": {Step.BOOK_FOLLOWED},
    "mend": {Step.STORE_SET_ASIDE, Step.STORE_PUT_BACK, Step.EVENT_NOTED, Step.NOTES_INDEXED, Step.NOTE_WRITTEN}
    | {Step.WEATHER_KEPT},
}


@dataclass(frozen=True)
class Point:
    """A step, whether before or after it, and the how-manieth time."""

    step: Step
    moment: str
    time: int

    def __str__(self) -> str:
        return f"{self.step}:{self.moment}:{self.time}"


class Nursery:
    """A process that starts haulm again and again."""

    def __init__(self) -> None:
        environ = surroundings() | {"OPENBLAS_NUM_THREADS": "1"}
        self._process = subprocess.Popen(
            [sys.executable, str(HERE / "nursery.py")], env=environ, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
            text=True, bufsize=1,
        )  # fmt: skip

    def run(self, words: Sequence[str], folder: Path, environ: Mapping[str, str], kill: str, of: str) -> int:
        return self._ask({"words": words, "folder": str(folder), "environ": environ, "kill": kill, "of": of})

    def bring(self, module: str) -> None:
        """Import what else the program is going to, once for all."""
        self._ask({"import": module})

    def _ask(self, job: Mapping[str, object]) -> int:
        self._process.stdin.write(json.dumps(job) + "\n")
        answer = self._process.stdout.readline()
        assert answer, "the nursery has ended"
        return int(answer)

    def end(self) -> None:
        self._process.stdin.close()
        self._process.stdout.close()
        self._process.wait(10)


class Killer:
    """Runs the program over folders that hold a `haulm.toml`; what it remembers goes to `state` beside it."""

    reached_by = REACHED_BY

    def __init__(self) -> None:
        self._nurseries: Queue[Nursery] = Queue()
        for _ in range(AT_ONCE):
            self._nurseries.put(Nursery())

    def end(self) -> None:
        for _ in range(AT_ONCE):
            self._nurseries.get().end()

    @contextmanager
    def _nursery(self):
        nursery = self._nurseries.get()
        try:
            yield nursery
        finally:
            self._nurseries.put(nursery)

    def bring(self, module: str) -> None:
        """Import what else the program is going to, once for all."""
        held = [self._nurseries.get() for _ in range(AT_ONCE)]
        for nursery in held:
            nursery.bring(module)
            self._nurseries.put(nursery)

    def run(
        self,
        words: Sequence[str],
        folder: Path,
        environ: Mapping[str, str] = NOTHING,
        kill: str = "",
        of: str = "haulm.cli",
    ) -> int:
        """The exit code; the number of the signal below zero where it was killed. `of` is the module with a `main`."""
        with self._nursery() as nursery:
            return nursery.run(words, folder, {**environ, "HAULM_STATE": "state"}, kill, of)

    def program(self, words: Sequence[str], folder: Path, environ: Mapping[str, str]) -> int:
        """The same with a Python of its own, as it is started everywhere: slower."""
        environ = surroundings() | environ | {"HAULM_STATE": "state"}
        with (folder / "printed").open("wb") as printed:
            command = [sys.executable, "-P", "-m", "haulm", *words]
            return subprocess.run(
                command, cwd=folder, env=environ, stdout=printed, stderr=printed, check=False
            ).returncode

    def points(self, words: Sequence[str], folder: Path, environ: Mapping[str, str]) -> list[Point]:
        """Every step that the program comes by, as it is when nothing befalls it."""
        listed = folder / "steps"
        self.program(words, folder, {**environ, "LIST_STEPS": str(listed)})
        lines = listed.read_text(encoding="utf-8").splitlines()
        return [Point(Step(step), moment, int(time)) for step, moment, time in (line.split(":") for line in lines)]

    def everywhere(
        self,
        name: str,
        words: Sequence[str],
        environ: Mapping[str, str],
        fresh: Callable[[str], Path],
        look: Callable[[Path, Point, list[Point]], None],
        wanted: Callable[[Point], bool] = lambda _: True,
    ) -> int:
        """Kill at each point over a fresh garden, look at what comes after, and return how often that was.

        Raises
        ------
        AssertionError
            What went wrong after which of them; or the program does not come by the steps that it should.
        """
        came_by = self.points(words, fresh("listed"), environ)
        chosen = [point for point in came_by if point.step in REACHED_BY[name] and wanted(point)]
        for moment in ("before", "after"):
            assert {point.step for point in chosen if point.moment == moment} == REACHED_BY[name]

        def kill(number: int) -> str:
            folder, point = fresh(str(number)), chosen[number]
            try:
                code = self.run(words, folder, environ, str(point))
                assert code == -signal.SIGKILL, (code, (folder / "printed").read_text("utf-8"))
                look(folder, point, came_by)
            except Exception as fault:  # noqa: BLE001  all of them are wanted at once
                return f"{point}: {type(fault).__name__}: {fault}"
            return ""

        with ThreadPoolExecutor(AT_ONCE) as pool:
            faults = [told for told in pool.map(kill, range(len(chosen))) if told]
        assert not faults, f"{len(faults)} of {len(chosen)}:\n" + "\n".join(faults)
        return len(chosen)


def surroundings() -> dict[str, str]:
    """The environment of the program, with this folder on its path."""
    path = os.pathsep.join([str(HERE), str(Path(haulm.__file__).parent.parent)])
    kept = {name: value for name, value in os.environ.items() if not name.startswith("HAULM")}
    return {**kept, "PYTHONPATH": path}
