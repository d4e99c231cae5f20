"""Batch states against the example state transition matrix of IEC 61512-1 / ANSI/ISA-88.00.01."""

import json
from pathlib import Path

import pytest

from schemas.batches import BatchPhase
from services.scheduler.states import ACTING, TRANSITIONS, Event, NotAllowed, State, after, phase_after

STANDARD = json.loads((Path(__file__).parents[1] / "reference" / "batch_states.json").read_text())
PAIRS = [(state, event) for state in State for event in Event]


@pytest.mark.parametrize(("state", "event"), PAIRS, ids=lambda one: str(one))
def test_every_pair_of_state_and_event_does_what_the_standard_says(state: State, event: Event) -> None:
    wanted = STANDARD["transitions"].get(state, {}).get(event)
    assert TRANSITIONS[state].get(event) == wanted


def test_standard_names_no_state_or_event_unknown_here() -> None:
    assert set(STANDARD["transitions"]) == set(State)
    assert {event for row in STANDARD["transitions"].values() for event in row} == set(Event)


@pytest.mark.parametrize(("state", "event"), STANDARD["invalid_examples"])
def test_what_the_standard_calls_invalid_is_refused(state: str, event: str) -> None:
    with pytest.raises(NotAllowed):
        after(State(state), Event(event))


def test_acting_states_are_those_that_the_standard_calls_transient() -> None:
    assert {*ACTING, State.RUNNING} == set(STANDARD["transient"])


def test_final_states_can_only_be_reset_or_aborted() -> None:
    for state in STANDARD["final"]:
        assert set(TRANSITIONS[State(state)]) <= {Event.RESET, Event.ABORT}


def test_batch_rests_only_where_the_acting_states_have_done_their_work() -> None:
    assert phase_after(BatchPhase.RUNNING, Event.HOLD) is BatchPhase.HELD
    assert phase_after(BatchPhase.HELD, Event.RESTART) is BatchPhase.RUNNING
    assert phase_after(BatchPhase.IDLE, Event.START, Event.STOP) is BatchPhase.STOPPED


def test_refusal_names_what_would_be_possible() -> None:
    with pytest.raises(NotAllowed, match="knows no hold, only reset"):
        phase_after(BatchPhase.COMPLETE, Event.HOLD)
