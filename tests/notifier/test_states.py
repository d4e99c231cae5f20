"""The state machine against the alarm state diagram of ANSI/ISA-18.2-2016 and IEC 62682.

`alarm_state_model.json` tabulates the diagram; its own `provenance` marks rows that were written down from memory.
"""

import json
from itertools import product
from pathlib import Path

import pytest

from schemas.alarms import AlarmPhase
from services.notifier.states import BROUGHT_BACK, AlarmEvent, next_phase

MODEL = json.loads((Path(__file__).parent.parent / "reference" / "alarm_state_model.json").read_text(encoding="utf-8"))
PHASES = {
    "NORM": AlarmPhase.NORMAL,
    "UNACK": AlarmPhase.UNACKNOWLEDGED,
    "ACKED": AlarmPhase.ACKNOWLEDGED,
    "RTNUN": AlarmPhase.RETURNED_UNACKNOWLEDGED,
    "LTUNK": AlarmPhase.LATCHED_UNACKNOWLEDGED,
    "LTACK": AlarmPhase.LATCHED_ACKNOWLEDGED,
    "SHLVD": AlarmPhase.SHELVED,
    "DSUPR": AlarmPhase.SUPPRESSED,
    "OOSRV": AlarmPhase.OUT_OF_SERVICE,
}


def published(rows: list[dict[str, str]]) -> dict[tuple[AlarmPhase, AlarmEvent, bool], AlarmPhase]:
    table = {}
    for row in rows:
        event, _, guard = row["event"].partition("[condition ")
        for active in (True, False) if not guard else (guard == "on]",):
            table[PHASES[row["from_"]], AlarmEvent(event), active] = PHASES[row["to"]]
    return table


STANDARD = published(MODEL["transitions_standard"])
LATCHED = STANDARD | published(MODEL["transitions_latching_override"])
EVERY_CASE = list(product(AlarmPhase, AlarmEvent, (True, False)))


def test_every_state_of_the_standard_has_a_phase_here():
    assert {state["code"] for state in MODEL["states"]} == set(PHASES)
    assert set(PHASES.values()) == set(AlarmPhase)


@pytest.mark.parametrize(("phase", "event", "active"), EVERY_CASE)
def test_an_alarm_goes_where_the_standard_says_and_nowhere_else(phase, event, active):
    assert next_phase(phase, event, active=active) == STANDARD.get((phase, event, active))


@pytest.mark.parametrize(("phase", "event", "active"), EVERY_CASE)
def test_a_latching_alarm_keeps_until_a_person_resets_it(phase, event, active):
    assert next_phase(phase, event, active=active, latching=True) == LATCHED.get((phase, event, active))


@pytest.mark.parametrize(("phase", "event"), MODEL["invalid_examples"])
def test_what_the_standard_calls_invalid_changes_nothing(phase, event):
    latching = phase == "LTUNK"
    assert next_phase(PHASES[phase], AlarmEvent(event), active=True, latching=latching) is None


@pytest.mark.parametrize("sequence", MODEL["sequences"], ids=lambda sequence: "-".join(sequence["events"]))
def test_a_sequence_of_events_ends_where_the_standard_says(sequence):
    phase, active = AlarmPhase.NORMAL, False
    for event in map(AlarmEvent, sequence["events"]):
        active = {AlarmEvent.CONDITION_ON: True, AlarmEvent.CONDITION_OFF: False}.get(event, active)
        phase = next_phase(phase, event, active=active) or phase
    assert phase is PHASES[sequence["end"]]


@pytest.mark.parametrize(("event", "phase"), BROUGHT_BACK.items())
def test_an_alarm_brought_back_while_its_condition_holds_is_announced_again(event, phase):
    assert next_phase(phase, event, active=True) is AlarmPhase.UNACKNOWLEDGED
