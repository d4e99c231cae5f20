"""Alarm states as IEC 62682 / ISA-18.2 draw them: the transitions are data, the engine is one look-up."""

from enum import StrEnum

from schemas.alarms import AlarmPhase as Phase


class AlarmEvent(StrEnum):
    """What can happen to an alarm."""

    CONDITION_ON = "condition_on"
    CONDITION_OFF = "condition_off"
    ACKNOWLEDGE = "acknowledge"
    RE_ALARM = "re_alarm"
    RESET = "reset"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    SUPPRESS = "suppress_by_design"
    UNSUPPRESS = "unsuppress"
    OUT_OF_SERVICE = "out_of_service"
    RETURN_TO_SERVICE = "return_to_service"


Transitions = dict[tuple[Phase, AlarmEvent], Phase]

BASIC: Transitions = {
    (Phase.NORMAL, AlarmEvent.CONDITION_ON): Phase.UNACKNOWLEDGED,
    (Phase.UNACKNOWLEDGED, AlarmEvent.ACKNOWLEDGE): Phase.ACKNOWLEDGED,
    (Phase.UNACKNOWLEDGED, AlarmEvent.CONDITION_OFF): Phase.RETURNED_UNACKNOWLEDGED,
    (Phase.ACKNOWLEDGED, AlarmEvent.CONDITION_OFF): Phase.NORMAL,
    (Phase.ACKNOWLEDGED, AlarmEvent.RE_ALARM): Phase.UNACKNOWLEDGED,
    (Phase.RETURNED_UNACKNOWLEDGED, AlarmEvent.ACKNOWLEDGE): Phase.NORMAL,
    (Phase.RETURNED_UNACKNOWLEDGED, AlarmEvent.CONDITION_ON): Phase.UNACKNOWLEDGED,
}

LATCHING: Transitions = {
    (Phase.UNACKNOWLEDGED, AlarmEvent.CONDITION_OFF): Phase.LATCHED_UNACKNOWLEDGED,
    (Phase.ACKNOWLEDGED, AlarmEvent.CONDITION_OFF): Phase.LATCHED_ACKNOWLEDGED,
    (Phase.LATCHED_UNACKNOWLEDGED, AlarmEvent.ACKNOWLEDGE): Phase.LATCHED_ACKNOWLEDGED,
    (Phase.LATCHED_UNACKNOWLEDGED, AlarmEvent.CONDITION_ON): Phase.UNACKNOWLEDGED,
    (Phase.LATCHED_ACKNOWLEDGED, AlarmEvent.CONDITION_ON): Phase.UNACKNOWLEDGED,
    (Phase.LATCHED_ACKNOWLEDGED, AlarmEvent.RESET): Phase.NORMAL,
}
"""What a latching alarm does instead, or besides."""

_OPEN = (Phase.NORMAL, Phase.UNACKNOWLEDGED, Phase.ACKNOWLEDGED, Phase.RETURNED_UNACKNOWLEDGED)

SET_ASIDE: Transitions = {
    (phase, event): aside
    for event, aside in (
        (AlarmEvent.SHELVE, Phase.SHELVED),
        (AlarmEvent.SUPPRESS, Phase.SUPPRESSED),
        (AlarmEvent.OUT_OF_SERVICE, Phase.OUT_OF_SERVICE),
    )
    for phase in _OPEN
}

STANDARD: Transitions = BASIC | SET_ASIDE

BROUGHT_BACK: dict[AlarmEvent, Phase] = {
    AlarmEvent.UNSHELVE: Phase.SHELVED,
    AlarmEvent.UNSUPPRESS: Phase.SUPPRESSED,
    AlarmEvent.RETURN_TO_SERVICE: Phase.OUT_OF_SERVICE,
}
"""Which event ends which kind of being set aside; where the alarm goes then depends on its condition."""


def next_phase(phase: Phase, event: AlarmEvent, *, active: bool, latching: bool = False) -> Phase | None:
    """Where an event takes an alarm, or None when the standard knows no such step and nothing changes.

    `active` is whether the condition holds at that moment: an alarm brought back while it does is announced again.
    """
    if event in BROUGHT_BACK:
        if phase is not BROUGHT_BACK[event]:
            return None
        return Phase.UNACKNOWLEDGED if active else Phase.NORMAL
    if latching and (phase, event) in LATCHING:
        return LATCHING[phase, event]
    return STANDARD.get((phase, event))
