"""What the supervisor must still know after it was killed."""

from typing import Any

from schemas.alarms import Condition
from schemas.base import Instant, Model, Name, Text
from schemas.control import Setpoint
from schemas.requests import Reply
from services.supervisor.findings import Commissioned, CourseKept


class LockOutKept(Model):
    """A lock-out in force."""

    who: Text
    why: Text
    since: Instant
    until: Instant | None


class ChamberKept(Model):
    """One chamber. `starts` are the ages in s of each compressor's starts within the hour, when this was saved."""

    setpoint: Setpoint | None = None
    programmed: Setpoint | None = None
    lock: LockOutKept | None = None
    latched: dict[Name, Instant] = {}
    starts: dict[Name, tuple[float, ...]] = {}
    course: CourseKept | None = None
    commissioned: Commissioned | None = None
    learnt: dict[str, Any] = {}


class Answered(Model):
    """A request's answer, so that its repetition gets the same and does nothing more."""

    client: Name
    reply: Reply


class SupervisorState(Model):
    """The snapshot."""

    version: int = 1
    chambers: dict[Name, ChamberKept] = {}
    conditions: tuple[Condition, ...] = ()
    answered: tuple[Answered, ...] = ()
