"""What the scheduler knows of a batch and of its running step: frozen, and saved as it stands."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from schemas.base import Celsius, Finite, Instant, Model, Name, Text
from schemas.batches import BatchPhase, SpecificGravity
from schemas.profiles import FreeRiseStep, HoldStep, Profile, Step
from services.scheduler.gravity_log import GravityLog


class StepRun(Model):
    """A step that runs. Times that were held do not count as elapsed."""

    index: int
    began: Instant
    from_c: Celsius
    held_s: float = 0.0
    held_since: Instant | None = None
    floor: Instant | None = None
    """It may not be said to have ended before: it was resumed or edited then."""
    in_band_s: float = 0.0
    seen: Instant | None = None
    """When the beer was last looked at, for the time within tolerance."""
    well: bool = False
    """Whether it was within tolerance then."""
    word: Instant | None = None
    ready: Instant | None = None
    """Since when everything but the local time waited for holds."""
    overdue: bool = False
    late: bool = False

    @property
    def active_from(self) -> datetime:
        """When it would have begun, had it never been held."""
        return self.began + timedelta(seconds=self.held_s)


class PastStep(Model):
    """A step that has been, as it really went."""

    index: int
    name: Text
    does: Text
    from_c: Celsius
    to_c: Celsius
    began: Instant
    ended: Instant
    late: bool = False


class Foretold(Model):
    """When a step was expected to end, as of a moment: an 80 % interval and the likely end."""

    made: Instant
    index: int
    earliest: Instant
    likely: Instant
    latest: Instant


class Arrival(Model):
    """When a beer was expected at a crash's target, as of a moment: an 80 % interval and the likely time."""

    made: Instant
    earliest: Instant
    likely: Instant
    latest: Instant


class CrashRun(Model):
    """A beer that is being chilled: since the step `index` began, until another temperature is asked for."""

    index: int
    began: Instant
    from_c: Celsius
    to_c: Celsius
    arrived: Instant | None = None
    foretold: tuple[Arrival, ...] = ()


class PendingEdit(Model):
    """An edit that takes effect later."""

    at: Instant
    first: int
    steps: tuple[Step, ...]
    who: Text
    why: Text


class BatchRecord(Model):
    """One batch, whole."""

    batch: Name
    title: Text
    chamber: Name
    profile: Profile
    phase: BatchPhase = BatchPhase.IDLE
    begins: Instant
    started: Instant | None = None
    ended: Instant | None = None
    original_gravity_sg: SpecificGravity | None = None
    run: StepRun | None = None
    past: tuple[PastStep, ...] = ()
    edits: tuple[PendingEdit, ...] = ()
    gravity: GravityLog = GravityLog()
    foretold: tuple[Foretold, ...] = ()
    crash: CrashRun | None = None
    arrived: dict[int, Instant] = {}
    """When the beer was at the target of steps that chilled it, by the step's index."""
    asked_c: Celsius | None = None
    """The setpoint it asks for, or asked for last."""
    why: Text = ""

    @property
    def step(self) -> Step | None:
        """The running step."""
        return None if self.run is None else self.profile.steps[self.run.index]

    @property
    def active(self) -> bool:
        """Whether it takes up its chamber."""
        return self.phase in (BatchPhase.RUNNING, BatchPhase.HELD)

    def but(self, **changes: Any) -> "BatchRecord":
        """The same with some fields changed."""
        return self.model_copy(update=changes)

    def but_run(self, **changes: Any) -> "BatchRecord":
        """The same with some fields of its running step changed; raises ValueError when none runs."""
        if self.run is None:
            raise ValueError(f"batch '{self.batch}' has no running step")
        return self.model_copy(update={"run": self.run.model_copy(update=changes)})


class ManualSetpoint(Model):
    """A person's own setpoint."""

    chamber: Name
    temperature_c: Celsius
    until: Instant | None
    who: Text


@dataclass(frozen=True, slots=True)
class Decision:
    """What was decided and why; becomes a line of the journal."""

    event: str
    why: str
    at: datetime
    batch: str | None = None
    chamber: str | None = None
    who: str = ""
    facts: Mapping[str, Finite | str | bool] = field(default_factory=dict)


def target_c(step: Step) -> float:
    """Where a step's setpoint ends up, degC."""
    if isinstance(step, HoldStep):
        return float(step.hold_c)
    return float(step.free_rise_c if isinstance(step, FreeRiseStep) else step.to_c)
