"""One output as the supervisor drives it: what it is for, what is wanted of it, what is known of its relay."""

from datetime import datetime
from math import inf

from schemas.control import Command
from schemas.plant import Chamber, Drive, Output
from schemas.telemetry import Basis, Report
from schemas.topics import TopicKind, topic
from services.runtime.service import Outgoing
from services.supervisor import guards
from services.supervisor.gauges import FROM_THE_FUTURE
from services.supervisor.roles import role_of

SOURCE = "supervisor"
OFF_RENEWED_LESS_OFTEN = 3.0
"""What is surely off needs no lease; the command is repeated for whoever joins late."""
FOLLOWS_WITHIN_S = 15.0
"""A device that was told to run may say for so long that it is still off."""


class Lease:
    """How long a command holds, and how often it is said again; s."""

    __slots__ = ("lease_s", "renew_s")

    def __init__(self, lease_s: float, period_s: float) -> None:
        self.lease_s = lease_s
        self.renew_s = max(lease_s / 3.0 - period_s / 2.0, 0.0)


class Outlet:
    """`wanted` is what control, interlocks and guards have left of the wish; `held_by` the guard that changed it."""

    __slots__ = ("name", "key", "role", "output", "compressor", "times", "relay", "wanted", "held_by", "until_s",
                 "held_since", "device_says_on", "changed_at", "told_s", "_topic", "_lease", "_chamber")  # fmt: skip

    def __init__(self, site: str, chamber: str, kind: str, name: str, output: Output, lease: Lease) -> None:
        self.name = name
        self.key = (chamber, name)
        self.role = int(role_of(output.drives, kind))
        self.output = output
        self.compressor = output.drives is Drive.COMPRESSOR
        self.times = guards.Times(output.rest_s, output.run_s, output.starts_per_hour)
        self.relay = guards.Relay()
        self.wanted = 0.0
        self.held_by = ""
        self.until_s: float | None = None
        self.held_since: datetime | None = None
        self.device_says_on = False
        self.changed_at: datetime | None = None
        self.told_s = 0.0
        self._topic = topic(site, TopicKind.COMMAND, chamber, name)
        self._lease = lease
        self._chamber = chamber

    def want(self, verdict: guards.Verdict) -> None:
        """Takes what guards have left of a wish."""
        self.wanted, self.held_by, self.until_s = verdict

    def note_hold(self, now: datetime) -> None:
        """Since when a guard holds it back."""
        if not self.held_by:
            self.held_since = None
        elif self.held_since is None:
            self.held_since = now

    def forbid(self, guard: str) -> None:
        """The circuit has no room for it."""
        self.wanted, self.held_by, self.until_s = 0.0, guard, None

    def on(self, circuit: str) -> bool:
        """Whether it is on that circuit."""
        return self.output.circuit == circuit

    def in_steps(self, level: float) -> float:
        """A level that this output can take: a switch knows only 0 and 1."""
        if self.output.proportional:
            return level
        return 1.0 if level >= 0.5 else 0.0

    def is_due(self, now_s: float) -> bool:
        """Whether to send a command: a change at once, what stays from time to time."""
        if self.changed_at is None or self.wanted != self.relay.level:
            return True
        renew_s = self._lease.renew_s
        if self.wanted <= 0.0 and not self.relay.may_be_on(now_s):
            renew_s *= OFF_RENEWED_LESS_OFTEN
        return now_s - self.told_s >= renew_s

    def command(self, now_s: float, now: datetime, why: str) -> Outgoing:
        """The command that says what is wanted, with a new lease."""
        level, lease_s = self.wanted, self._lease.lease_s
        if self.changed_at is None or level != self.relay.level:
            self.changed_at = now
        self.relay = guards.told(self.relay, level, now_s, lease_s)
        self.told_s = now_s
        body = Command(
            at=now, source=SOURCE, chamber=self._chamber, output=self.name, level=level, lease_s=lease_s, why=why
        )
        return Outgoing(self._topic, body)

    def hear(self, report: Report, now_s: float, now: datetime) -> None:
        """Takes in what the bridge says; what is older than our last change, or from the future, proves nothing."""
        if report.at > now + FROM_THE_FUTURE:
            return
        level = report.level
        self.device_says_on = bool(level) and report.basis is Basis.MEASURED
        if self.changed_at is None:
            if level and _still_leased(report, now):
                self.relay = guards.heard_on(self.relay, level, now_s, self._lease.lease_s)
        elif report.at >= self.changed_at:
            self._believe(level, report.basis, now_s)

    def _believe(self, level: float | None, basis: Basis, now_s: float) -> None:
        """A level of None is a bridge that was started anew and switched off what was on."""
        if level:
            self.relay = guards.heard_on(self.relay, level, now_s, self._lease.lease_s)
        elif self.relay.level <= 0.0:
            self.relay = guards.heard_off(self.relay, now_s) if level is not None else self.relay
        elif basis is not Basis.MEASURED or self.relay.on_for(now_s) >= FOLLOWS_WITHIN_S:
            self.relay = guards.heard_off(self.relay, now_s)
            self.told_s = -inf

    def inherit(self, other: "Outlet") -> None:
        """It is the same output under a changed plant file."""
        self.relay, self.changed_at, self.told_s = other.relay, other.changed_at, other.told_s
        self.wanted, self.device_says_on = other.wanted, other.device_says_on

    def forget(self, now_s: float, starts: tuple[float, ...] = ()) -> None:
        """Nothing is known of the relay any more."""
        self.relay = guards.unknown(now_s, self._lease.lease_s, starts)
        self.changed_at = None


def outlets_of(site: str, name: str, chamber: Chamber, lease: Lease) -> dict[str, Outlet]:
    """An outlet for each output."""
    return {one: Outlet(site, name, chamber.kind, one, out, lease) for one, out in chamber.outputs.items()}


def _still_leased(report: Report, now: datetime) -> bool:
    return report.basis is not Basis.UNKNOWN and report.lease_ends is not None and report.lease_ends > now
