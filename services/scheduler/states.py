"""The states of a batch and what may follow what: the example state set of IEC 61512-1 / ANSI/ISA-88.00.01, as data."""

from enum import StrEnum

from schemas.batches import BatchPhase


class State(StrEnum):
    """Acting states (`-ing`) last no time here: what they do is done by the time anybody can look."""

    IDLE = "Idle"
    RUNNING = "Running"
    PAUSING = "Pausing"
    PAUSED = "Paused"
    HOLDING = "Holding"
    HELD = "Held"
    RESTARTING = "Restarting"
    COMPLETE = "Complete"
    STOPPING = "Stopping"
    STOPPED = "Stopped"
    ABORTING = "Aborting"
    ABORTED = "Aborted"


class Event(StrEnum):
    """Commands, and `(done)`: an acting or running state has done what it was for."""

    START = "Start"
    DONE = "(done)"
    PAUSE = "Pause"
    RESUME = "Resume"
    HOLD = "Hold"
    RESTART = "Restart"
    STOP = "Stop"
    ABORT = "Abort"
    RESET = "Reset"


_STOP_OR_ABORT = {Event.STOP: State.STOPPING, Event.ABORT: State.ABORTING}
_HOLD_STOP_OR_ABORT = {Event.HOLD: State.HOLDING, **_STOP_OR_ABORT}

TRANSITIONS: dict[State, dict[Event, State]] = {
    State.IDLE: {Event.START: State.RUNNING},
    State.RUNNING: {Event.DONE: State.COMPLETE, Event.PAUSE: State.PAUSING, **_HOLD_STOP_OR_ABORT},
    State.COMPLETE: {Event.RESET: State.IDLE},
    State.PAUSING: {Event.DONE: State.PAUSED, **_HOLD_STOP_OR_ABORT},
    State.PAUSED: {Event.RESUME: State.RUNNING, **_HOLD_STOP_OR_ABORT},
    State.HOLDING: {Event.DONE: State.HELD, **_STOP_OR_ABORT},
    State.HELD: {Event.RESTART: State.RESTARTING, **_STOP_OR_ABORT},
    State.RESTARTING: {Event.DONE: State.RUNNING, **_HOLD_STOP_OR_ABORT},
    State.STOPPING: {Event.DONE: State.STOPPED, Event.ABORT: State.ABORTING},
    State.STOPPED: {Event.RESET: State.IDLE, Event.ABORT: State.ABORTING},
    State.ABORTING: {Event.DONE: State.ABORTED},
    State.ABORTED: {Event.RESET: State.IDLE},
}
ACTING = (State.PAUSING, State.HOLDING, State.RESTARTING, State.STOPPING, State.ABORTING)
FINAL = (BatchPhase.COMPLETE, BatchPhase.STOPPED, BatchPhase.ABORTED)

_STATE_OF: dict[BatchPhase, State] = {phase: State(phase.value.capitalize()) for phase in BatchPhase}
_PHASE_OF: dict[State, BatchPhase] = {state: phase for phase, state in _STATE_OF.items()}


class NotAllowed(ValueError):
    """An event that a state does not know; the text says what would be allowed."""


def after(state: State, event: Event) -> State:
    """The state that follows at once. Raises NotAllowed."""
    try:
        return TRANSITIONS[state][event]
    except KeyError:
        possible = ", ".join(TRANSITIONS[state]).lower()
        raise NotAllowed(f"a batch that is {state.lower()} knows no {event.lower()}, only {possible}") from None


def phase_after(phase: BatchPhase, *events: Event) -> BatchPhase:
    """Where a batch rests after events, acting states having done their work. Raises NotAllowed."""
    state = _STATE_OF[phase]
    for event in events:
        state = after(state, event)
        if state in ACTING:
            state = after(state, Event.DONE)
    return _PHASE_OF[state]
