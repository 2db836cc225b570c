"""Work of many beds that goes in step: where several want to march through days, they march as one.

A march costs mostly its days, hardly its rows. So whatever works out a place's beds is a *course*: a generator that
stops where it wants a march (`answer = yield from asked(march_all, of)`) and goes on with the answer. `side_by_side`
takes several courses from stop to stop together; `finished` takes one to its end and has what is asked for done.
"""

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar, cast

T = TypeVar("T")
Of = TypeVar("Of")


@dataclass(frozen=True, slots=True, eq=False)
class Ask:
    """What is to be done, and of what. `work` takes all that is asked of it at once, and answers each as if alone."""

    work: Callable[[Sequence[Any]], Sequence[Any]]
    of: Any


@dataclass(frozen=True, slots=True, eq=False)
class _Failed:
    """No answer, and why."""

    fault: Exception


Course = Generator[Sequence[Ask], Sequence[Any], T]


def asked(work: Callable[[Sequence[Of]], Sequence[T]], of: Of) -> Course[T]:
    """A course of one stop: what `work` makes of `of`. It raises what `work` raises of this one alone."""
    (answer,) = yield (Ask(work, of),)
    if isinstance(answer, _Failed):
        raise answer.fault
    return cast("T", answer)


def side_by_side(courses: Sequence[Course[T]]) -> Course[list[T]]:
    """Several as one course, with all their results; what one of them raises ends it."""
    results: dict[int, T] = {}
    answers: dict[int, Sequence[Any] | None] = dict.fromkeys(range(len(courses)))
    while answers:
        asks: dict[int, Sequence[Ask]] = {}
        for which, answer in answers.items():
            try:
                asks[which] = next(courses[which]) if answer is None else courses[which].send(answer)
            except StopIteration as end:
                results[which] = end.value
        told = iter((yield [ask for some in asks.values() for ask in some])) if asks else iter(())
        answers = {which: [next(told) for _ in some] for which, some in asks.items()}
    return [results[which] for which in range(len(courses))]


def finished(course: Course[T]) -> T:
    """What a course comes to."""
    answers: Sequence[Any] | None = None
    while True:
        try:
            asks = next(course) if answers is None else course.send(answers)
        except StopIteration as end:
            return cast("T", end.value)
        answers = _answered(asks)


def _answered(asks: Sequence[Ask]) -> list[Any]:
    """The answer to each, in its order; all that ask for the same work are given to it as one."""
    alike: dict[Callable[[Sequence[Any]], Sequence[Any]], list[int]] = {}
    for which, ask in enumerate(asks):
        alike.setdefault(ask.work, []).append(which)
    answers: list[Any] = [None] * len(asks)
    for work, some in alike.items():
        for which, answer in zip(some, _done(work, [asks[which].of for which in some]), strict=True):
            answers[which] = answer
    return answers


def _done(work: Callable[[Sequence[Any]], Sequence[Any]], of: list[Any]) -> Sequence[Any]:
    """All at once; where that fails, each by itself, so that one spoils no other."""
    try:
        return work(of)
    except Exception as fault:  # noqa: BLE001  raised again in the course that asked
        return [_Failed(fault)] if len(of) == 1 else [answer for one in of for answer in _done(work, [one])]
