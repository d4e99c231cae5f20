"""One output's lease, and how time is counted."""

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.bridge.lease import Lease, Passage, Refusal
from tests.bridge.bench import START


def at(seconds: float):
    return START + timedelta(seconds=seconds)


def taken(lease: Lease, given_s: float, now_s: float, level: float = 1, lease_s: float = 60) -> Refusal | None:
    return lease.take(at(given_s), level, lease_s, at(now_s), now_s)


def test_lease_counts_from_when_the_command_was_given():
    lease = Lease()
    assert taken(lease, given_s=0, now_s=20) is None
    assert [lease.is_over(at(s), s) for s in (59.9, 60)] == [False, True]


def test_nothing_is_allowed_before_the_first_command():
    assert Lease().is_over(START, 0)


def test_newer_command_renews():
    lease = Lease()
    taken(lease, 0, 0)
    taken(lease, 50, 50)
    assert not lease.is_over(at(100), 100)


@pytest.mark.parametrize(
    ("given_s", "now_s", "why"),
    [(0, 60, Refusal.EXPIRED), (-100, 0, Refusal.EXPIRED), (6, 0, Refusal.FUTURE), (0, 59, None), (5, 0, None)],
)
def test_command_too_old_or_from_the_future_is_refused(given_s, now_s, why):
    assert taken(Lease(), given_s, now_s) is why


def test_older_command_is_refused_after_a_newer_one():
    lease = Lease()
    taken(lease, 10, 10, level=0)
    assert taken(lease, 9, 11) is Refusal.SUPERSEDED


def test_repeated_command_does_not_extend_the_lease():
    lease = Lease()
    taken(lease, 0, 0)
    assert taken(lease, 0, 59) is Refusal.SUPERSEDED
    assert lease.is_over(at(60), 60)


def test_command_from_slightly_ahead_gets_no_more_than_its_lease():
    lease = Lease()
    taken(lease, 5, 0)
    assert lease.is_over(at(60), 60)


@pytest.mark.parametrize("levels", [(1, 0), (0, 1)])
def test_of_two_commands_given_at_once_off_counts(levels):
    lease = Lease()
    for level in levels:
        taken(lease, 0, 0, level)
    assert lease.level == 0


def test_closed_lease_takes_nothing_until_its_time():
    lease = Lease()
    lease.close(10)
    assert [taken(lease, s, s) for s in (9, 10)] == [Refusal.UNSETTLED, None]


def test_ended_lease_refuses_what_was_given_before_its_end():
    lease = Lease()
    taken(lease, 0, 0)
    lease.end(refuse_before=at(5))
    assert [taken(lease, s, 6) for s in (4, 5, 5.5)] == [Refusal.SUPERSEDED, Refusal.SUPERSEDED, None]


def test_lease_ends_by_the_seconds_that_passed_when_the_wall_stands_still():
    lease = Lease()
    taken(lease, 0, 0)
    assert lease.is_over(START, 60)


@given(
    commands=st.lists(st.tuples(st.integers(-90, 90), st.floats(0, 1), st.integers(1, 120)), max_size=12),
    arrivals=st.lists(st.integers(0, 90), max_size=12),
)
def test_no_order_of_arrivals_extends_a_lease_beyond_its_newest_command(commands, arrivals):
    lease, ends = Lease(), [0.0]
    for (given_s, level, lease_s), now_s in zip(commands, sorted(arrivals), strict=False):
        if taken(lease, given_s, now_s, level, lease_s) is None:
            ends.append(given_s + lease_s)
    assert lease.is_over(at(max(ends)), max(ends))


def test_passage_counts_forward_moves_only():
    passage = Passage()
    assert [passage.look(at(s)) for s in (0, 10, 5, 6)] == [0, 10, 10, 11]


def test_clock_that_drifts_back_a_little_was_not_set_back():
    passage = Passage()
    passage.look(at(10))
    assert [passage.was_set_back(at(s)) for s in (9.5, 8.5)] == [False, True]


def test_clock_that_was_set_moves_the_count_neither_way():
    passage = Passage()
    passage.look(at(0))
    passage.set(at(3600))
    assert passage.look(at(3601)) == 1
