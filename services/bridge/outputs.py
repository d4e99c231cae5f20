"""An output as the bridge keeps it: commands and leases in, relay payloads and reports out."""

from collections import Counter
from collections.abc import Iterator
from datetime import datetime

from schemas.alarms import Condition
from schemas.base import Message, ServiceName
from schemas.conditions import ConditionKind
from schemas.control import Command
from schemas.plant import Drive, Output
from schemas.telemetry import Basis, Report
from services.bridge.conditions import finding_of
from services.bridge.drivers import output_line
from services.bridge.drivers.driver import LOCAL, Garbled, OutputLine, Payload, Place
from services.bridge.lease import Lease
from services.runtime.service import Outgoing

SAFE = 0.0
NEVER = float("-inf")
REPEAT_S = 60.0
"""How often what holds unchanged is said again: off to a relay that nobody commands, and a report of one that is on."""
FOLLOWS_WITHIN_S = 10.0
MOVING_HEAT = frozenset({Drive.COMPRESSOR, Drive.HEATER, Drive.PUMP, Drive.VALVE})
"""What may cook or freeze beer when it stays on; a fan does neither."""

Said = Iterator[Message | Outgoing]


class OutputChannel:
    """One output: off unless a lease says otherwise. `level` is what it was last told; None at the start.

    A compressor that was switched off here, for whatever reason, is not switched on within its rest: who commands it
    may not know yet that its lease had ended.

    With `guarded`, it is switched on only while the broker holds a last will that switches it off.
    """

    def __init__(self, place: Place, output: Output, *, guards: bool) -> None:
        self.place = place
        self.output = output
        self.line = output_line(place, output)
        self.lease = Lease()
        self.not_following = finding_of(place, ConditionKind.OUTPUT_NOT_FOLLOWING)
        self.moves_heat = output.drives in MOVING_HEAT
        self.guarded = guards and needs_guard(output, self.line)
        self.level: float | None = None
        self.report: Report | None = None
        self._guard_up = False
        self._told: float | None = None
        self._sent_s = self._changed_s = self._reported_s = NEVER
        self._held_off_s: float | None = None
        self._differs_s: float | None = None
        self._rested_s = NEVER
        self._why = "not known since the bridge started"

    def described_as(self, other: "OutputChannel") -> bool:
        """Whether the plant file says the same of both."""
        return (self.place, self.output) == (other.place, other.output)

    @property
    def on(self) -> bool:
        """Whether it was last told to be anything but off."""
        return self.level is not None and self.level != SAFE

    def open(self, now: datetime, elapsed_s: float) -> Said:
        """First words: what it does is unknown, and it is told to be off. No command given before is obeyed."""
        self.lease.end(refuse_before=now)
        self.report = self._report(None, Basis.UNKNOWN, now, now)
        yield self.report
        yield self._send(SAFE, elapsed_s)

    def say_again(self, now: datetime, elapsed_s: float) -> Said:
        """Off, and what was reported last, for a broker that may have lost both."""
        yield self._send(SAFE, elapsed_s)
        if self.report is not None:
            yield self.report

    def is_due(self, now: datetime, elapsed_s: float) -> bool:
        """Whether a look could find anything: an output that is off, was said so lately and echoes is left alone."""
        if self.on or self.guarded or self.line.read_state is not None or elapsed_s - self._sent_s >= REPEAT_S:
            return True
        return self.report is None or self.report.basis is Basis.UNKNOWN

    def release(self, now: datetime, elapsed_s: float, why: str, refuse_before: datetime | None) -> Said:
        """Switches to the safe level at once. Commands given up to `refuse_before` are not followed any more."""
        self.lease.end(refuse_before)
        self._why = why
        yield self._send(SAFE, elapsed_s)
        yield from self._tell(now, elapsed_s)

    def command(self, command: Command, now: datetime, elapsed_s: float, counts: Counter[str]) -> Said:
        """Follows a command, or counts why not."""
        level = command.level if self.output.proportional else float(command.level >= 0.5)
        if level != SAFE and self.guarded and not self._guard_up:
            counts["command_unguarded"] += 1
            self._held_off_s = elapsed_s if self._held_off_s is None else self._held_off_s
            return
        if level != SAFE and not self.on and elapsed_s < self._rested_s:
            counts["command_resting"] += 1
            return
        refusal = self.lease.take(command.at, level, command.lease_s, now, elapsed_s)
        if refusal is not None:
            counts[refusal] += 1
            return
        self._why = command.why
        yield self._send(level, elapsed_s)
        yield from self._tell(now, elapsed_s)

    def hear(self, payload: Payload, now: datetime, elapsed_s: float, counts: Counter[str]) -> Said:
        """Takes in what the device says of itself."""
        if self.line.read_state is None:
            return
        try:
            self._told = self.line.read_state(payload)
        except Garbled as error:
            counts[error.trouble] += 1
            return
        yield from self._tell(now, elapsed_s)

    def guard_changed(self, up: bool, now: datetime, elapsed_s: float) -> Said:
        """The broker now holds the last will, or no longer; either way it may have published one meanwhile."""
        self._guard_up = up
        self._held_off_s = None
        if self.on:
            why = "switched off: the connection that guards it was lost" + (" and is back" if up else "")
            yield from self.release(now, elapsed_s, why, now)

    def look(self, now: datetime, elapsed_s: float, counts: Counter[str]) -> Said:
        """What is due by time alone: the lease's end, repetitions, and whether the device follows."""
        if self.lease.is_over(now, elapsed_s):
            if self.on:
                counts["lease_ended"] += 1
                why = "switched off: nobody renewed the command in time"
                yield from self.release(now, elapsed_s, why, self.lease.newest)
            elif elapsed_s - self._sent_s >= REPEAT_S:
                yield self._send(SAFE, elapsed_s)
        if self.on or self.report is None or self.report.basis is Basis.UNKNOWN:
            yield from self._tell(now, elapsed_s)
        if self.line.read_state is not None or self.guarded:
            yield from self._follows(now, elapsed_s)

    def _send(self, level: float, elapsed_s: float) -> Outgoing:
        if level != self.level:
            self._changed_s = elapsed_s
            if self.on and level == SAFE and self.output.drives is Drive.COMPRESSOR:
                self._rested_s = elapsed_s + self.output.rest_s
        self.level, self._sent_s = level, elapsed_s
        line = self.line
        return Outgoing(line.topic, line.payload(level), retain=line.retain_off and level == SAFE)

    def _tell(self, now: datetime, elapsed_s: float) -> Iterator[Report]:
        """A report, when there is news or the last one of an output that is on grows old."""
        level, basis = self._known()
        old = self.report
        if old is not None and level == old.level and basis is old.basis:
            if not self.on or elapsed_s - self._reported_s < REPEAT_S:
                return
            since = old.since
        else:
            since = now
        self._reported_s = elapsed_s
        self.report = self._report(level, basis, now, since)
        yield self.report

    def _known(self) -> tuple[float | None, Basis]:
        if self.line.read_state is None:
            return self.level, Basis.UNKNOWN if self.level is None else Basis.ECHOED
        return self._told, Basis.UNKNOWN if self._told is None else Basis.MEASURED

    def _follows(self, now: datetime, elapsed_s: float) -> Iterator[Condition]:
        finding, trouble = self.not_following, self._not_followed(elapsed_s)
        if trouble:
            yield from finding.begin(now, trouble)
        elif finding.active and (self.line.read_state is None or self._told == self.level):
            yield from finding.end(now, "follows")

    def _not_followed(self, elapsed_s: float) -> str:
        """What to say of an output that does not do what it was told, or nothing."""
        if self._held_off_s is not None and elapsed_s - self._held_off_s >= FOLLOWS_WITHIN_S:
            return "kept off: the broker holds no last will that would switch it off"
        differs = self._told != self.level and (self.on or self._told is not None)
        if self.line.read_state is None or not differs:
            self._differs_s = None
            return ""
        self._differs_s = elapsed_s if self._differs_s is None else self._differs_s
        if elapsed_s - max(self._differs_s, self._changed_s) < FOLLOWS_WITHIN_S:
            return ""
        says = "says nothing" if self._told is None else f"says {self._told:g}"
        return f"told {self.level or SAFE:g}, {says}; look at the relay and its wiring"

    def _report(self, level: float | None, basis: Basis, now: datetime, since: datetime) -> Report:
        return Report(
            at=now,
            source=ServiceName.BRIDGE,
            chamber=self.place.chamber,
            output=self.place.name,
            level=level,
            basis=basis,
            since=since,
            lease_ends=self.lease.ends_at if self.on else None,
            why=self._why,
        )


def needs_guard(output: Output, line: OutputLine) -> bool:
    """Whether only a last will switches it off when this process dies: it could do harm, its relay would stay as it is,
    and a broker can reach that."""
    return output.drives in MOVING_HEAT and not line.knows_lease and not line.topic.startswith(LOCAL)
