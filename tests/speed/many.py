"""How long a morning takes an office, stage by stage, and beside it the straightforward way to write such a program.

    python tests/speed/many.py [--beds 1 1000 10000 100000] [--workers 2] [--engine ADDRESS] [--plain 100]
        [--times 1] [--folder F]

The real run (`morning_of_gardens`) of an invented office (`office.py`, 100 beds a station, 400 days, two beds a
garden), its letters without pictures handed to a mail server on this machine in a process of its own. Seconds of
science and letters are processor time of the workers, shared out over them; the others are wall time of the process
that reads and sends. Everything is timed in one run: compare ratios, not machines. Needs pandas.

The straightforward way is a loop over beds with pandas: the soil as one exponential lag of the air, the week's rain,
five thresholds, and a template of one page. It knows next to nothing of what haulm asks, and still shows the order of
magnitude.
"""

import argparse
import importlib.util
import multiprocessing
import resource
import shutil
import socket
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from statistics import median
from typing import Any
from zoneinfo import ZoneInfo

from haulm.jobs.engine import Engine, engine_for
from haulm.jobs.gardens import morning_of_gardens
from haulm.jobs.office import Wishes
from haulm.jobs.state_folder import StateFolder
from haulm.jobs.write_chunk import Result, Task, think_side_by_side, write_chunk
from haulm.settings.gardens import gardens_in

HERE = Path(__file__).parent
BEDS_A_STATION = 100
STAGES = ("science and alerts", "letters", "all by the clock")


def module(name: str) -> Any:
    """A neighbour of this file."""
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    found = importlib.util.module_from_spec(spec)
    sys.modules[name] = found
    spec.loader.exec_module(found)
    return found


def peak_mib() -> float:
    """The most memory that this process has had."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def timed(task: Task) -> tuple[Result, float, float, float]:
    """The letters of a chunk; processor seconds of the thinking and of the whole, and the worker's peak memory.

    The thinking is done twice, so that the real thing runs as it is: what is over is the letters'.
    """
    begun = time.process_time()
    think_side_by_side(task)
    thought = time.process_time()
    result = write_chunk(task)
    return result, thought - begun, time.process_time() - thought, peak_mib()


@dataclass
class Stages:
    """An engine that notes when it is asked and when it has answered."""

    engine: Engine
    marks: list[float] = field(default_factory=list)
    read_s: float = 0.0
    waited_s: float = 0.0
    sent_s: float = 0.0
    science_s: float = 0.0
    letters_s: float = 0.0
    worker_mib: float = 0.0
    at: float = field(default_factory=time.perf_counter)

    @property
    def ahead(self) -> int:
        """As the engine has it."""
        return self.engine.ahead

    def lap(self) -> float:
        """Seconds since the last lap."""
        before, self.at = self.at, time.perf_counter()
        return self.at - before

    def submit(self, work: Callable[[Any], Any], task: Any) -> Callable[[], Any]:
        """Have the task done and timed."""
        del work
        waits = self.engine.submit(timed, task)
        self.read_s += self.lap()

        def result() -> Result:
            self.read_s += self.lap()
            found, thought, whole, mib = waits()
            self.waited_s += self.lap()
            self.science_s += thought
            self.letters_s += whole - thought
            self.worker_mib = max(self.worker_mib, mib)
            return found

        return result

    def done(self, _count: int) -> None:
        """A chunk has been sent."""
        self.sent_s += self.lap()


def serve_mail(port: int) -> None:
    """Takes letters and forgets them, until it is ended."""
    from aiosmtpd.controller import Controller  # noqa: PLC0415

    class Sink:
        async def handle_DATA(self, server: object, session: object, envelope: object) -> str:  # noqa: N802
            return "250 OK"

    Controller(Sink(), hostname="127.0.0.1", port=port).start()
    time.sleep(1e6)


@contextmanager
def mail_server() -> Iterator[int]:
    """The port of a mail server in a process of its own."""
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        port = held.getsockname()[1]
    server = multiprocessing.get_context("spawn").Process(target=serve_mail, args=(port,), daemon=True)
    server.start()
    for _ in range(100):
        try:
            socket.create_connection(("127.0.0.1", port), 1.0).close()
            break
        except OSError:
            time.sleep(0.1)
    yield port
    server.kill()


def measure(beds: int, folder: Path, workers: int, engine: str | None, port: int) -> tuple[Stages, float]:
    """One run; its stages and its wall time."""
    office = module("office")
    common = (
        "[letter]\npicture = false\n[backups]\ndays = 1\nweeks = 0\n[post]\nlog = false\n[post.mail]\n"
        f'host = "127.0.0.1"\nport = {port}\nsecurity = "none"\nsender = "haulm@example.org"\nmost_a_minute = 60000\n'
    )
    shutil.rmtree(folder, ignore_errors=True)
    drawn = office.Office(beds, max(beds // BEDS_A_STATION, 1))
    office.make_office(folder / "office", folder / "state", drawn, common)
    now = datetime.combine(office.MORNING, datetime.min.time().replace(hour=7), ZoneInfo("Europe/London"))
    with engine_for(workers, engine) as pool:
        pool.submit(write_chunk, [])()  # the workers are there
        begun, stages = time.perf_counter(), Stages(pool)
        many = gardens_in(folder / "office", {})
        report = morning_of_gardens(many, StateFolder(folder / "state"), now, stages, Wishes(done=stages.done))
        wall = time.perf_counter() - begun
    if report.written != drawn.gardens:
        raise RuntimeError("\n".join(report.lines()))
    shutil.rmtree(folder)
    return stages, wall


def seconds_a_bed(beds: int, runs: list[tuple[Stages, float]], workers: int) -> tuple[float, float, float]:
    """Medians of some runs, in milliseconds a bed: science and alerts, letters (shared out over workers), wall."""
    columns = zip(*((one.science_s / workers, one.letters_s / workers, wall) for one, wall in runs), strict=True)
    science, letters, wall = (1000.0 * median(column) / beds for column in columns)
    return science, letters, wall


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--beds", type=int, nargs="+", default=[1, 1_000, 10_000, 100_000])
    parser.add_argument("--times", type=int, default=1, help="runs of each size")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--engine")
    parser.add_argument("--plain", type=int, default=100, help="beds of the straightforward loop; 0 leaves it out")
    parser.add_argument("--folder", type=Path)
    asked = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="haulm-speed-", dir=asked.folder))
    plain = module("plain").ms_a_bed
    print("   beds    read  science  letters  waited   sent    wall  driver  worker  ms/bed    loop  loop's")
    workers, medians, loops = max(asked.workers, 1), [], [float("nan")]
    with mail_server() as port:
        for beds in asked.beds:
            runs = []
            for _ in range(asked.times):
                if asked.plain:  # before each run, for a machine that others use too is not always as fast
                    loops.append(plain(folder / f"plain{len(loops)}", asked.plain))
                one, wall = measure(beds, folder / "run", asked.workers, asked.engine, port)
                runs.append((one, wall))
                science, letters = one.science_s / workers, one.letters_s / workers
                each = 1000.0 * science / beds
                print(
                    f"{beds:7d} {one.read_s:7.2f} {science:8.2f} {letters:8.2f} {one.waited_s:7.2f} {one.sent_s:6.2f} "
                    f"{wall:7.2f} {peak_mib():4.0f}MiB {one.worker_mib:4.0f}MiB {each:7.3f} "
                    f"{loops[-1]:7.2f} {loops[-1] / each:6.1f}x",
                    flush=True,
                )
            medians.append((beds, seconds_a_bed(beds, runs, workers)))
    for (few, before), (many, after) in pairwise(medians):
        factors = ", ".join(f"{name} {then / now:.2f}" for name, now, then in zip(STAGES, before, after, strict=True))
        print(f"growth of the time a bed from {few} to {many} beds: {factors}")
    print(f"the straightforward loop, the middle of all: {median(loops[1:] or loops):.2f} ms of processor a bed")
    shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
