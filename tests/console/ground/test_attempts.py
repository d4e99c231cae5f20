"""How guessing is held up, in the clock's own seconds."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.console.attempts import FOR_ONE_NAME, FROM_ONE_PLACE, MOST_KEYS, WITHIN_S, Attempts

HERE, THERE = "10.0.0.1", "10.0.0.2"


def after(failures: int, name: str = "ann", place: str = HERE) -> Attempts:
    attempts = Attempts()
    for number in range(failures):
        attempts.failed(name, place, float(number))
    return attempts


def test_nobody_waits_who_has_not_failed() -> None:
    assert Attempts().wait_s("ann", HERE, 0.0) == 0


def test_four_failures_cost_nothing_and_the_fifth_a_quarter_of_an_hour() -> None:
    assert after(FOR_ONE_NAME - 1).wait_s("ann", HERE, 10.0) == 0
    assert after(FOR_ONE_NAME).wait_s("ann", HERE, 10.0) == WITHIN_S - 10


def test_the_wait_is_over_when_the_first_failure_is_old_enough() -> None:
    assert after(FOR_ONE_NAME).wait_s("ann", HERE, WITHIN_S - 0.1) > 0
    assert after(FOR_ONE_NAME).wait_s("ann", HERE, WITHIN_S) == 0


def test_another_name_from_the_same_place_is_still_looked_at() -> None:
    assert after(FOR_ONE_NAME).wait_s("bea", HERE, 10.0) == 0


def test_many_names_from_one_place_wait_together() -> None:
    attempts = Attempts()
    for number in range(FROM_ONE_PLACE):
        attempts.failed(f"name-{number}", HERE, 0.0)
    assert attempts.wait_s("somebody", HERE, 1.0) > 0
    assert attempts.wait_s("somebody", THERE, 1.0) == 0


def test_knowing_the_password_ends_the_wait_for_that_name() -> None:
    attempts = after(FOR_ONE_NAME - 1)
    attempts.succeeded("ann", HERE)
    attempts.failed("ann", HERE, 5.0)
    assert attempts.wait_s("ann", HERE, 5.0) == 0


def test_a_flood_of_names_does_not_fill_the_memory() -> None:
    attempts = Attempts()
    for number in range(MOST_KEYS * 2):
        attempts.failed(f"name-{number}", f"place-{number}", 0.0)
    assert len(attempts._failures) <= MOST_KEYS


@given(st.lists(st.floats(0, 5000), min_size=1, max_size=40))
def test_no_more_than_five_guesses_at_one_account_from_one_place_are_looked_at_within_the_time(
    tries: list[float],
) -> None:
    attempts, looked_at = Attempts(), []
    for at_s in sorted(tries):
        if attempts.wait_s("ann", HERE, at_s) == 0:
            attempts.failed("ann", HERE, at_s)
            looked_at.append(at_s)
    for at_s in looked_at:
        assert sum(at_s - WITHIN_S < one <= at_s for one in looked_at) <= FOR_ONE_NAME


@pytest.mark.parametrize("waited_s", [0.0, WITHIN_S / 2, WITHIN_S * 3])
def test_the_wait_is_never_negative_and_never_longer_than_the_time(waited_s: float) -> None:
    assert 0 <= after(FOR_ONE_NAME).wait_s("ann", HERE, waited_s + FOR_ONE_NAME) <= WITHIN_S
