"""Courses that go in step: what they ask is done as one, what each is told is what it would be told alone."""

import pytest

from haulm.beds.in_step import asked, finished, side_by_side


class Squares:
    """Work that remembers what it was given at once, and cannot do 13."""

    def __init__(self):
        self.given = []

    def __call__(self, numbers):
        self.given.append(list(numbers))
        if 13 in numbers:
            raise ValueError("thirteen")
        return [number**2 for number in numbers]


@pytest.fixture
def squares():
    return Squares()


def climb(work, number, times):
    for _ in range(times):
        number = yield from asked(work, number)
    return number


def test_a_course_without_a_stop_comes_to_its_end():
    assert finished(climb(None, 3, 0)) == 3
    assert finished(side_by_side([climb(None, 3, 0), climb(None, 4, 0)])) == [3, 4]
    assert finished(side_by_side([])) == []


def test_what_several_ask_for_is_done_as_one_stop_after_stop(squares):
    courses = [climb(squares, 2, 3), climb(squares, 3, 1), climb(squares, 5, 2)]
    assert finished(side_by_side(courses)) == [256, 9, 625]
    assert squares.given == [[2, 3, 5], [4, 25], [16]]


def test_courses_of_courses_go_in_step_too(squares):
    def pair(one, other):
        both = yield from side_by_side([climb(squares, one, 1), climb(squares, other, 1)])
        return (yield from asked(squares, sum(both)))

    assert finished(side_by_side([pair(1, 2), pair(3, 4)])) == [25, 625]
    assert squares.given == [[1, 2, 3, 4], [5, 25]]


def test_other_work_is_done_apart(squares):
    def doubles(numbers):
        return [2 * number for number in numbers]

    assert finished(side_by_side([climb(squares, 4, 1), climb(doubles, 4, 1), climb(squares, 5, 1)])) == [16, 8, 25]
    assert squares.given == [[4, 5]]


def test_what_cannot_be_done_for_one_is_told_to_that_one_alone(squares):
    def careful(number):
        try:
            return (yield from climb(squares, number, 1))
        except ValueError as fault:
            return str(fault)

    assert finished(side_by_side([careful(2), careful(13), careful(4)])) == [4, "thirteen", 16]
    assert squares.given == [[2, 13, 4], [2], [13], [4]]


def test_a_fault_that_a_course_leaves_open_is_whoever_asked_s(squares):
    with pytest.raises(ValueError, match="thirteen"):
        finished(side_by_side([climb(squares, 2, 1), climb(squares, 13, 1)]))
