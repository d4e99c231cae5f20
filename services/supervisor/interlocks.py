"""The table of interlocks, evaluated last on every command, whoever wished it; docs/interlocks.md is made from it.

Order is precedence: the first one that holds something back is the one a person is shown.
"""

from collections.abc import Iterator

from schemas.conditions import ConditionKind
from services.supervisor import guards
from services.supervisor.protections import PROTECTIONS
from services.supervisor.symptoms import SYMPTOMS
from services.supervisor.trips import Interlock, Reset

Row = Interlock
GUARD, BRIDGE = "a guard", "the bridge"
WAITED_LONG_S = 600.0

GUARDED: tuple[Row, ...] = (
    Row(
        id=guards.REST,
        reason="Compressor resting",
        cause="The compressor has not yet surely been off for its rest since its last run.",
        effect="It stays off. Nothing outranks this.",
        reset=Reset.AT_TIME,
        judge=GUARD,
    ),
    Row(
        id=guards.POWER_UP,
        reason="Compressor resting after a restart",
        cause="After a restart nobody knows when the compressor last ran; its rest begins when it surely is off.",
        effect="It stays off. Nothing outranks this.",
        reset=Reset.AT_TIME,
        judge=GUARD,
    ),
    Row(
        id=guards.RUN,
        reason="Compressor finishing its minimum run",
        cause="The compressor has not yet run for its minimum time.",
        effect="It stays on, unless an interlock that stops a run holds.",
        reset=Reset.AT_TIME,
        judge=GUARD,
    ),
    Row(
        id=guards.STARTS,
        reason="Compressor started too often within the hour",
        cause="It has been started `starts_per_hour` times in the last hour: 6, unless the plant file says.",
        effect="It stays off until an hour after the first of those starts.",
        reset=Reset.AT_TIME,
        trips=lambda f, tripped: f.guarded == guards.STARTS,
        tells=ConditionKind.STARTING_TOO_OFTEN,
        judge=GUARD,
    ),
    Row(
        id=guards.EXCLUSION,
        reason="Heating and cooling exclude each other",
        cause="The other side is on, or may still be on.",
        effect="The side that is not running stays off.",
        judge=GUARD,
    ),
    Row(
        id=guards.CHANGE_OVER,
        reason="Waiting to change over between cooling and heating",
        cause=f"The other side has not yet surely been off for {guards.CHANGE_OVER_S:g} s.",
        effect="Heating or cooling waits.",
        reset=Reset.AT_TIME,
        judge=GUARD,
    ),
    Row(
        id=guards.CIRCUIT,
        reason="Waiting for room on the circuit",
        cause="With it, running and starting currents would pass the circuit's limit.",
        effect="It stays off; a load that may wait longer is switched off to make room.",
        trips=lambda f, tripped: f.guarded == guards.CIRCUIT,
        after_s=WAITED_LONG_S,
        tells=ConditionKind.CIRCUIT_NEAR_LIMIT,
        judge=GUARD,
    ),
    Row(
        id=guards.STAGGER,
        reason="Waiting for another machine on the circuit to start",
        cause=f"A compressor on the same circuit was started within the last {guards.STAGGER_S:g} s.",
        effect="The start waits a moment.",
        reset=Reset.AT_TIME,
        judge=GUARD,
    ),
    Row(
        id="lease-over",
        reason="No command in time: the bridge switched the output off",
        cause="The lease of an output's last command has run out: supervisor, broker or network are down.",
        effect="The bridge drops the output to its safe level.",
        judge=BRIDGE,
    ),
    Row(
        id="broker-lost",
        reason="Broker lost: outputs are off",
        cause="The connection to the broker is gone.",
        effect="Leases run out; for relays that know no lease the broker publishes a last will that says off.",
        judge=BRIDGE,
    ),
)
"""What guards and the bridge hold back; here for people to read and for the conditions they raise."""

INTERLOCKS: tuple[Row, ...] = (*PROTECTIONS, *SYMPTOMS, *GUARDED)

_HEAD = """# Interlocks

Evaluated last on every command, whoever wished it. A trip that a person resets stays until then; nothing else does.
None of this is a safety device: mains, refrigerant, pressure and carbon dioxide need independent protection.

This page is made from the table by `python -m scripts.documents`.
"""


def guards_say(table: tuple[Row, ...] = INTERLOCKS) -> dict[str, str]:
    """The words for each guard."""
    return {row.id: row.reason for row in table if row.judge == GUARD}


def in_force(table: tuple[Row, ...] = INTERLOCKS) -> frozenset[str]:
    """The ids of a table's rows."""
    return frozenset(row.id for row in table)


def document(table: tuple[Row, ...] = INTERLOCKS) -> str:
    """The table in Markdown."""
    return "\n".join((_HEAD, *_lines(table), ""))


def _lines(table: tuple[Row, ...]) -> Iterator[str]:
    for row in table:
        yield f"## {row.id}\n\n{row.reason.rstrip('.')}.\n"
        yield f"- Cause: {row.cause}" + (f" For {row.after_s:g} s." if row.after_s else "")
        yield f"- Effect: {row.effect}"
        yield f"- Keeps off: {_bars(row)}" + ("; stops a compressor's minimum run" if row.outranks_run else "")
        yield f"- Reset: {row.reset}" + (f", after {row.lasts_s:g} s at the earliest" if row.lasts_s else "")
        yield f"- Condition: {row.tells or 'none'}"
        yield f"- Judged by: {row.judge}\n"


def _bars(row: Row) -> str:
    names = {1: "cooling", 2: "heating", 4: "fan and circulation", 8: "gas"}
    if row.judge != "the table":
        return "the output it speaks of"
    return ", ".join(name for bit, name in names.items() if row.bars & bit) or "nothing"
