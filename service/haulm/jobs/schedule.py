"""haulm on its own: look each minute whether a morning or an evening is due, and start it as a process of its own.

It runs in a child process, so that whatever it takes in memory goes back when it ends, and one that
crashes or hangs takes nothing with it. The only home of apscheduler.
"""

import logging
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time
from pathlib import Path
from time import monotonic
from types import FrameType
from zoneinfo import ZoneInfo

from apscheduler.events import EVENT_SCHEDULER_STARTED
from apscheduler.executors.pool import ThreadPoolExecutor
from apscheduler.schedulers.blocking import BlockingScheduler
from apscheduler.triggers.cron import CronTrigger

from haulm.errors import Exit, HaulmError, SettingsError
from haulm.jobs.due import Standing, next_try
from haulm.jobs.errands import EVENING, Errand, errands
from haulm.jobs.standing import Known, begun, known_runs, own, standing
from haulm.jobs.state_folder import StateFolder
from haulm.settings.gardens import settings_of
from haulm.settings.load import Settings, load
from haulm.steps import Step, marked
from haulm.store.runs import Outcome, Run

logger = logging.getLogger("haulm")

# The console script does not look for modules in the folder it is called from (-P), nor shall the child.
HAULM = (sys.executable, "-P", "-m", "haulm")
MISFIRE_GRACE_S = 6 * 3600
TELL = "status --tell"


# Judgement: a morning takes seconds, minutes on a slow line. One that hangs must not keep the next from running, and
# one that is under way when haulm is told to end has less than the 90 s that systemd and others allow by default.
@dataclass(frozen=True, slots=True)
class Limits:
    """How long a morning may take, and how long it may still take once haulm is told to end; both in seconds."""

    longest_s: float = 30 * 60.0
    at_end_s: float = 60.0


AS_USUAL = Limits()
_LOOK_S = 0.25
_KILL_AFTER_S = 10.0
_TELL_S = 120.0  # more than a webhook that answers slowly takes


class Watch:
    """Keeps watch over one garden's errands: `tick` is asked each minute, `end` lets a child finish and no more start.

    Parameters
    ----------
    path
        The settings file. It is read again when it has changed.
    environ
        The environment, which may override the file.
    program
        The words that start haulm.
    """

    def __init__(
        self,
        path: Path,
        state: StateFolder,
        environ: Mapping[str, str],
        program: Sequence[str] = HAULM,
        limits: Limits = AS_USUAL,
    ) -> None:
        self._path, self._state, self._environ, self._program, self._limits = path, state, environ, program, limits
        self._seen: tuple[int, ...] = ()
        self._settings: Settings | None = None
        self._trouble: tuple[tuple[int, ...], str] | None = None
        self._settled: dict[str, date] = {}  # by the errand's name
        self._unrecorded: tuple[Run, ...] = ()
        self._end_at: float | None = None

    def settings(self) -> Settings:
        """The settings as the file stands now.

        Raises
        ------
        SettingsError
            They cannot be used, with every fault.
        """
        seen = _signature(self._path)
        if self._settings is None or seen != self._seen:
            # What was settled under the old file, or failed under it, is asked afresh.
            self._seen, self._settings, self._settled, self._unrecorded = seen, None, {}, ()
            self._settings = load(self._path, self._environ)
        return self._settings

    def tick(self, now: datetime) -> None:
        """Start what is due, and wait until it has ended. What is wrong is told once, until it changes."""
        if self.ending:
            return
        try:
            self._look(self.settings(), now)
        except SettingsError as fault:
            self._tell_trouble(f"Nothing is sent until the settings are mended. {fault}")
        except HaulmError as fault:
            self._tell_trouble(str(fault))
        else:
            if self._trouble:
                logger.info("What was wrong is mended; haulm goes on.")
            self._trouble = None

    def end(self) -> None:
        """Start nothing more. A morning that is under way has `Limits.at_end_s` left; this does not wait for it."""
        if not self.ending:
            self._end_at = monotonic() + self._limits.at_end_s

    @property
    def ending(self) -> bool:
        """Whether it has been told to end."""
        return self._end_at is not None

    def _look(self, settings: Settings, now: datetime) -> None:
        # The store is opened only while there is something to ask it: on a small board each opening wears the card.
        day = settings.garden.place.day_of(now)
        for errand in begun(settings, errands(settings, day), now):
            if self._settled.get(errand.name) != day and not self.ending:
                self._see_to(errand, settings, now)

    def _see_to(self, errand: Errand, settings: Settings, now: datetime) -> None:
        day, known = settings.garden.place.day_of(now), self._known(errand, settings, now)
        stands = standing(settings, errand, known, now)
        if stands is Standing.DUE:
            code = self._run(errand, day)
            stands = self._after(errand, settings, known, now, code)
            if code not in {Exit.DONE, None}:
                self._tell_by_another_road()
        elif stands is Standing.LATE:
            _log_late(errand, day)
        if stands in {Standing.DONE, Standing.LATE}:
            self._settled[errand.name] = day
            self._unrecorded = tuple(run for run in self._unrecorded if run.day == day)

    def _known(self, errand: Errand, settings: Settings, now: datetime) -> Known:
        known = known_runs(settings, self._state, now)
        return own(errand, replace(known, runs=(*known.runs, *self._unrecorded)))

    def _after(self, errand: Errand, settings: Settings, before: Known, now: datetime, code: int | None) -> Standing:
        """Where an errand stands once its child has ended, told in one line."""
        day = settings.garden.place.day_of(now)
        if not own(errand, known_runs(settings, self._state, now)).ids - before.ids:
            # It failed before it reached the store, or had only to hand over a letter that was there.
            lost = Run(0, settings.garden.key, errand.command, day, now, None, Outcome.FAILED, code, "")
            self._unrecorded = (*self._unrecorded, lost)
        known = self._known(errand, settings, now)
        # Asked as of the beginning of the child, so that the answer is about that day even if midnight has passed.
        since = max([now, *(run.started for run in known.runs if run.day == day)])
        stands = standing(settings, errand, known, since)
        logger.log(
            logging.INFO if code == Exit.DONE else logging.WARNING,
            "The %s of %s ended with exit code %s: %s.",
            *(errand.name, day, "none" if code is None else code, _outlook(settings, errand, known, stands, since)),
        )
        return stands

    def _run(self, errand: Errand, day: date) -> int | None:
        """The exit code of the child; None where it could not be started."""
        try:
            child = _start(self._program, errand.command, self._path, self._state, self._environ)
        except OSError as fault:
            logger.error("The %s of %s could not be started: %s", errand.name, day, fault.strerror)
            return None
        return self._ended(child, errand, day, monotonic() + self._limits.longest_s)

    def _tell_by_another_road(self) -> None:
        with suppress(OSError, subprocess.TimeoutExpired):  # what stops it has stopped the run too, which is logged
            child = _start(self._program, TELL, self._path, self._state, self._environ)
            try:
                child.wait(_TELL_S)
            finally:
                child.kill()

    def _ended(self, child: "subprocess.Popen[bytes]", errand: Errand, day: date, limit: float) -> int:
        while monotonic() < min(limit, self._end_at or limit):
            with suppress(subprocess.TimeoutExpired):
                return child.wait(_LOOK_S)
        logger.error("The %s of %s takes too long and is ended.", errand.name, day)
        child.terminate()
        with suppress(subprocess.TimeoutExpired):
            return child.wait(_KILL_AFTER_S)
        child.kill()
        return child.wait()

    def _tell_trouble(self, trouble: str) -> None:
        if self._trouble != (self._seen, trouble):
            logger.error("%s", trouble)
        self._trouble = (self._seen, trouble)


def once(
    path: Path,
    state: StateFolder,
    environ: Mapping[str, str],
    now: datetime,
    program: Sequence[str] = HAULM,
    *,
    evening: bool = False,
) -> int:
    """For a timer or cron: run this day's morning if it is still wanted, and return its exit code.

    One that does not end well is told by another road than the mail too (`haulm status --tell`). The hour is the
    timer's; nothing runs for a day that has its letter, or after the settings' catch-up hour. With
    `evening` it is a look at the coming night, if one is due: its hour moves with dusk, so the timer asks often.

    Raises
    ------
    HaulmError
        The settings cannot be used, or the store is just being mended.
    """
    settings = settings_of(path, environ)
    day = settings.garden.place.day_of(now)
    wanted = [one for one in errands(settings, day) if (one.command == EVENING) is evening]
    for errand in begun(settings, wanted if evening else [replace(one, at=time.min) for one in wanted], now):
        stands = standing(settings, errand, own(errand, known_runs(settings, state, now)), now)
        if stands is Standing.LATE and not evening:
            _log_late(errand, day)
        if stands in {Standing.DUE, Standing.WAITING}:
            with _start(program, errand.command, path, state, environ, apart=False) as child:
                code = child.wait()
            if code < 0:
                logger.error("The %s of %s was cut off by signal %d.", errand.name, day, -code)
            if code != Exit.DONE:
                with _start(program, TELL, path, state, environ, apart=False) as word:
                    word.wait()
            return code if code >= 0 else Exit.TRY_LATER
    return Exit.DONE


def keep_watch(path: Path, state: StateFolder, environ: Mapping[str, str]) -> int:
    """Look each minute, beginning now, until SIGTERM or SIGINT; a morning under way is then let finish.

    Raises
    ------
    SettingsError
        The settings cannot be used at the start; later faults are told in the log and waited out.
    """
    logging.getLogger("apscheduler").setLevel(logging.ERROR)  # a minute passed over while a morning runs is meant
    watch = Watch(path, state, environ)
    settings = watch.settings()
    scheduler = _scheduler(lambda: watch.tick(datetime.now(UTC)))
    # Until it has started the signals end the process as they always do; from then on nothing is cut short.
    scheduler.add_listener(lambda _: _on_signals(scheduler, watch), EVENT_SCHEDULER_STARTED)
    place = settings.garden.place
    logger.info("A letter each morning at %s in %s (%s).", f"{settings.letter.at:%H:%M}", place.name, place.zone)
    if settings.letter.evening:
        logger.info("A look at the coming night %s h before dusk.", settings.letter.evening_hours_before_dusk)
    scheduler.start()
    logger.info("haulm was told to end, and has ended.")
    return Exit.DONE


def _start(
    program: Sequence[str],
    command: str,
    path: Path,
    state: StateFolder,
    environ: Mapping[str, str],
    *,
    apart: bool = True,
) -> "subprocess.Popen[bytes]":
    """Start an errand; its faults go where ours go. Apart means that a Ctrl-C at the terminal does not reach it."""
    with marked(Step.ERRAND_STARTED):
        return subprocess.Popen(  # noqa: S603  our own program
            [*program, *command.split(), "--settings", str(path), "--state", str(state.path)],
            env=dict(environ),
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            start_new_session=apart,
        )


def _scheduler(tick: Callable[[], None]) -> BlockingScheduler:
    # UTC, in which every minute comes once; the garden's own zone is asked about in `due`, and may change meanwhile.
    scheduler = BlockingScheduler(
        timezone=UTC,
        executors={"default": ThreadPoolExecutor(1)},
        job_defaults={"coalesce": True, "misfire_grace_time": MISFIRE_GRACE_S, "max_instances": 1},
    )
    scheduler.add_job(tick, CronTrigger(minute="*", timezone=UTC), next_run_time=datetime.now(UTC))
    return scheduler


def _on_signals(scheduler: BlockingScheduler, watch: Watch) -> None:
    def end(number: int, frame: FrameType | None) -> None:  # noqa: ARG001  the form of a handler
        if watch.ending:
            return
        watch.end()
        # Not in the handler itself: it interrupts the thread that holds the locks that shutdown asks for.
        threading.Thread(target=scheduler.shutdown, kwargs={"wait": True}).start()

    for each in (signal.SIGTERM, signal.SIGINT):
        signal.signal(each, end)


def _signature(path: Path) -> tuple[int, ...]:
    """What changes when a file is written anew; empty where there is none."""
    try:
        stat = path.stat()
    except OSError:
        return ()
    return stat.st_mtime_ns, stat.st_size, stat.st_ino


def _log_late(errand: Errand, day: date) -> None:
    until = f"{errand.until:%H:%M}"
    logger.warning("The %s of %s was missed, and it is past %s%s.", errand.name, day, until, errand.told)


def _outlook(settings: Settings, errand: Errand, known: Known, stands: Standing, now: datetime) -> str:
    """What comes after a run, in words."""
    if stands is Standing.DONE:
        return errand.done
    zone = settings.garden.place.zone
    again = next_try(now, known.runs, zone)
    if standing(settings, errand, known, again) in {Standing.LATE, Standing.EARLY}:
        return f"not all is done, and today it is too late to try again{errand.told}"
    return f"not all is done; the next try is at {again.astimezone(ZoneInfo(zone)):%H:%M}"
