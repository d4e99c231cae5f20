"""The very edges of a lease: what remains after it was ended, and when a clock counts as set."""

from datetime import timedelta

import pytest

from services.bridge.lease import FUTURE, Lease, Passage, Refusal
from tests.bridge.bench import START


def at(seconds: float):
    return START + timedelta(seconds=seconds)


def taken() -> Lease:
    lease = Lease()
    lease.take(at(0), 1.0, 60.0, at(0), 0.0)
    return lease


def test_ended_lease_asks_for_nothing():
    lease = taken()
    lease.end(refuse_before=None)
    assert (lease.level, lease.ends_at, lease.is_over(at(0), 0.0)) == (0.0, None, True)


def test_lease_ended_without_memory_takes_an_older_command():
    lease = taken()
    lease.end(refuse_before=None)
    assert lease.take(at(-1), 1.0, 60.0, at(1), 1.0) is None


def test_fresh_lease_is_off_closed_to_nothing_and_knows_no_command():
    lease = Lease()
    assert (lease.level, lease.newest, lease.ends_at) == (0.0, None, None)
    assert lease.take(at(0), 0.0, 60.0, at(0), -1e9) is None


def test_earlier_closing_does_not_shorten_a_later_one():
    lease = Lease()
    lease.close(20.0)
    lease.close(10.0)
    assert lease.take(at(15), 1.0, 60.0, at(15), 15.0) is Refusal.UNSETTLED


@pytest.mark.parametrize("ends", ["wall", "counter"])
def test_lease_is_over_by_whichever_clock_is_first(ends):
    now_s, elapsed_s = (60.0, 1.0) if ends == "wall" else (1.0, 60.0)
    assert taken().is_over(at(now_s), elapsed_s)
    assert not taken().is_over(at(now_s - 0.5), elapsed_s - 0.5)


def test_lease_tells_when_it_ends():
    lease = Lease()
    lease.take(at(0), 1.0, 60.0, at(15), 15.0)
    assert lease.ends_at == at(60)


def test_refused_command_leaves_the_lease_as_it_was():
    lease = taken()
    lease.take(at(-1), 0.5, 600.0, at(1), 1.0)
    assert (lease.level, lease.newest, lease.ends_at) == (1.0, at(0), at(60))


def test_command_exactly_as_far_ahead_as_clocks_may_differ_is_taken():
    assert Lease().take(START + FUTURE, 1.0, 60.0, START, 0.0) is None
    assert Lease().take(START + FUTURE + timedelta(milliseconds=1), 1.0, 60.0, START, 0.0) is Refusal.FUTURE


def test_clock_exactly_a_second_back_has_drifted():
    passage = Passage()
    passage.look(at(10))
    assert not passage.was_set_back(at(9))
    assert passage.was_set_back(at(8.999))


def test_clock_never_looked_at_was_not_set_back():
    assert not Passage().was_set_back(START)


def test_nothing_has_passed_at_the_first_look():
    assert Passage().look(START) == 0.0
