"""Where the letters of many gardens are written: here, in other processes of this machine, or on other machines.

All three are `concurrent.futures` executors. A task is a chunk of gardens, never one: handing it over costs more than
writing one letter. The only home of distributed.
"""

import multiprocessing
import os
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager, suppress
from typing import Protocol, TypeVar

from haulm.errors import UsageError

FEW = 200  # gardens that are written sooner than other processes have started: judgement
_T = TypeVar("_T")
_R = TypeVar("_R")


class WorkerLostError(Exception):
    """The process that worked on a task has ended before it was done; others may be lost with it."""


class Engine(Protocol):
    """What the writing of many gardens needs of whoever does it.

    `ahead` is how many tasks are worth having under way while one is waited for.
    """

    ahead: int

    def submit(self, work: Callable[[_T], _R], task: _T) -> Callable[[], _R]:
        """Have a task done; what is returned waits for its result. It raises `WorkerLostError`."""
        ...


@contextmanager
def engine_for(workers: int, address: str | None = None) -> Iterator[Engine]:
    """The engine for a run: one at an address, so many processes of this machine, or this process alone.

    Raises
    ------
    UsageError
        The engine's library is not installed, or nothing answers at the address.
    """
    if address is not None:
        with _cluster(address) as engine:
            yield engine
    elif workers < 1:
        yield Here()
    else:
        pool = Pool(workers)
        try:
            yield pool
        finally:
            pool.close()


def usual_workers(gardens: int) -> int:
    """How many processes of this machine are worth starting; 0 is none beside this one."""
    return 0 if gardens <= FEW else os.cpu_count() or 1


class Here:
    """This process does the work itself, when it is asked for the result."""

    ahead = 0

    def submit(self, work: Callable[[_T], _R], task: _T) -> Callable[[], _R]:
        """Have a task done."""
        return lambda: work(task)


class Pool:
    """Other processes of this machine, started with the first task.

    One that is killed takes the others' tasks along; then new ones are started.
    """

    def __init__(self, workers: int) -> None:
        self.ahead, self._workers = workers, workers
        self._executor: ProcessPoolExecutor | None = None

    def submit(self, work: Callable[[_T], _R], task: _T) -> Callable[[], _R]:
        """Have a task done."""
        try:
            future = self._started().submit(work, task)
        except BrokenExecutor:
            self.close()
            future = self._started().submit(work, task)
        return lambda: _result_of(future)

    def close(self) -> None:
        """Let the processes go."""
        executor, self._executor = self._executor, None
        if executor is not None:
            executor.shutdown(cancel_futures=True)

    def _started(self) -> ProcessPoolExecutor:
        if self._executor is None:
            # Never forked: this process has threads, which a copy of it would have lost in the middle of something.
            self._executor = ProcessPoolExecutor(self._workers, mp_context=multiprocessing.get_context("spawn"))
        return self._executor


class Cluster:
    """An executor of somebody else's engine."""

    def __init__(self, executor: Executor, width: int, lost: type[Exception]) -> None:
        self.ahead, self._executor, self._lost = width, executor, lost

    def submit(self, work: Callable[[_T], _R], task: _T) -> Callable[[], _R]:
        """Have a task done."""
        future = self._executor.submit(work, task)
        return lambda: _result_of(future, self._lost)


def _result_of(future: "Future[_R]", lost: type[Exception] = BrokenExecutor) -> _R:
    try:
        return future.result()
    except lost as fault:
        raise WorkerLostError(str(fault)) from fault


@contextmanager
def _cluster(address: str) -> Iterator[Engine]:
    try:
        from distributed import Client, KilledWorker  # noqa: PLC0415  an extra
    except ImportError as fault:
        what = "letters cannot be written elsewhere without the library for it"
        raise UsageError(what, remedy="pip install 'haulm[scale]'.") from fault
    try:
        client = Client(address, timeout="20s")
    except (OSError, ValueError) as fault:
        what = f"no engine answers at {address} ({type(fault).__name__})"
        raise UsageError(what, remedy="Start its scheduler and workers, or leave --engine out.") from fault
    try:
        yield Cluster(client.get_executor(), max(len(client.ncores()), 1), KilledWorker)
    finally:
        with suppress(OSError, TimeoutError):
            client.close()
