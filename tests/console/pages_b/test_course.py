"""Steps can be rearranged where they are still to come, and only there."""

from hypothesis import given
from hypothesis import strategies as st

from schemas.profiles import HoldStep, Step
from services.console.desk.course import Course


def step(name: str, hours: float = 1.0) -> Step:
    return HoldStep(name=name, hold_c=18.0, for_s=hours * 3600)


STEPS = tuple(step(name) for name in "abcdef")


def course(open_: int = 2, runs: bool = True) -> Course:
    return Course.of(STEPS, open_, runs)


def letters(found: Course) -> str:
    return "".join(one.name for one in found.steps)


def test_a_later_step_moves_among_the_later_ones() -> None:
    assert letters(course().moved(5, 3)) == "abcfde"
    assert letters(course().moved(3, 5)) == "abcefd"


def test_a_step_that_is_over_or_runs_does_not_move() -> None:
    assert letters(course().moved(1, 4)) == letters(course().moved(2, 4)) == "abcdef"


def test_nothing_moves_before_the_step_that_runs() -> None:
    assert letters(course().moved(5, 0)) == "abcfde"


def test_a_batch_that_waits_has_every_step_loose() -> None:
    assert letters(course(0, runs=False).moved(5, 0)) == "fabcde"


def test_the_running_step_can_be_rewritten_and_not_taken_out() -> None:
    longer = course().rewritten(2, step("c", 9))
    assert longer.steps[2].for_s == 9 * 3600
    assert letters(course().without(2)) == "abcdef"


def test_a_step_that_is_over_cannot_be_rewritten() -> None:
    assert not course().rewritten(1, step("x")).changed


def test_an_edit_asks_for_no_more_than_what_changed() -> None:
    first, steps = course().without(4).replacement
    assert (first, [one.name for one in steps]) == (4, ["f"])


def test_taking_out_the_last_steps_still_asks_for_one() -> None:
    first, steps = course().without(5).replacement
    assert (first, [one.name for one in steps]) == (4, ["e"])


def test_a_course_that_can_never_be_gone_through_says_why() -> None:
    endless = HoldStep(name="endless", hold_c=4.0)
    assert "can never end" in course().inserted(3, endless).problem
    assert course().inserted(6, endless).problem == ""
    assert "named 'c'" in course().inserted(4, step("c")).problem


@given(st.lists(st.tuples(st.integers(-2, 8), st.integers(-2, 8)), max_size=12), st.integers(0, 5), st.booleans())
def test_what_is_over_stays_and_an_edit_rebuilds_the_course(moves: list, open_: int, runs: bool) -> None:
    found = course(open_, runs)
    for index, to in moves:
        found = found.moved(index, to)
    first, steps = found.replacement
    assert found.steps[: found.first_loose] == STEPS[: found.first_loose]
    assert (*STEPS[:first], *steps) == found.steps
