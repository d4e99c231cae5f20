"""What ends a step: triggers, told apart by the key that a person writes."""

import re
from collections.abc import Mapping
from datetime import datetime
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Discriminator, Field, Tag, model_validator

from schemas.base import Model, Name, Text
from schemas.quantities import Percent, Seconds

DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_LOCAL_TIMES = re.compile(r"^(?:(?P<days>[A-Za-z,-]+)\s+)?(?P<hour>[01]?\d|2[0-3]):(?P<minute>[0-5]\d)$")


def days_and_time(written: str) -> tuple[str, int, int]:
    """`Mon-Thu 07:30`, `Sat,Sun 10:00` or `18:00` as days (`mon-thu`; `*` for every day), hour and minute.

    Raises ValueError with what would be right.
    """
    found = _LOCAL_TIMES.match(written.strip())
    days = (found["days"] or "*").lower() if found else ""
    if not found or (days != "*" and not all(day in DAYS for part in days.split(",") for day in part.split("-"))):
        raise ValueError(f"{written!r} is no local time; write it like 'Fri 18:00', 'Mon-Thu 07:30' or '18:00'")
    return days, int(found["hour"]), int(found["minute"])


def _local_times(written: str) -> str:
    days_and_time(written)
    return written.strip()


LocalTimes = Annotated[str, AfterValidator(_local_times), Field(max_length=60)]
"""A time of day on the site's clocks, on some or all days of the week."""


def _gravity(value: Any) -> Any:
    return value.strip().removesuffix("SG").strip() if isinstance(value, str) else value


Gravity = Annotated[float, BeforeValidator(_gravity), Field(ge=0.98, le=1.2)]
"""Specific gravity 20/20, written `1.012` or `1.012 SG`: it has no unit."""
GravityChange = Annotated[float, BeforeValidator(_gravity), Field(gt=0, le=0.05)]


class Elapsed(Model):
    """So long since the step began; the time a batch was held does not count."""

    elapsed_s: Seconds = Field(alias="elapsed", le=60 * 86400)


class WithinTolerance(Model):
    """So long in all within the step's tolerance of the setpoint."""

    within_tolerance_s: Seconds = Field(alias="within_tolerance", le=60 * 86400)


class GravityAtMost(Model):
    """Gravity is at this or below."""

    gravity_at_most_sg: Gravity = Field(alias="gravity_at_most")


class AttenuationAtLeast(Model):
    """Apparent attenuation is at this or above."""

    attenuation_at_least_percent: Percent = Field(alias="attenuation_at_least")


class Stability(Model):
    """How little gravity may change over how long, noise allowed for."""

    within_sg: GravityChange = Field(alias="within", default=0.001)
    over_s: Seconds = Field(alias="over", ge=12 * 3600, le=14 * 86400, default=48 * 3600)


class GravityStable(Model):
    """Gravity no longer changes, and attenuation is not so low that it has merely stalled."""

    gravity_stable: Stability
    least_attenuation_percent: Percent = Field(
        alias="least_attenuation", default=60.0, description="Stable below this is a stalled fermentation."
    )


class AtMoment(Model):
    """A date and time; without an offset it is meant by the site's clocks."""

    at: datetime


class NotBefore(Model):
    """The first such local time since the step began has passed."""

    not_before: LocalTimes


class Next(Model):
    """The first such local time after everything else in the list holds."""

    next: LocalTimes


class Word(Model):
    """A person says so; the text is what they are asked."""

    word: Annotated[Text, Field(min_length=1)]


class Milestone(Model):
    """A step of another batch."""

    batch: Name
    step: Text


class Reached(Model):
    """Another batch has reached a step, or is past it, or has ended."""

    reached: Milestone


TRIGGER_KINDS: dict[str, type[Model]] = {
    "elapsed": Elapsed,
    "within_tolerance": WithinTolerance,
    "gravity_at_most": GravityAtMost,
    "attenuation_at_least": AttenuationAtLeast,
    "gravity_stable": GravityStable,
    "at": AtMoment,
    "not_before": NotBefore,
    "next": Next,
    "word": Word,
    "reached": Reached,
}
_TAGS = {key: f"({key})" for key in TRIGGER_KINDS} | {
    next(iter(kind.model_fields)): f"({key})" for key, kind in TRIGGER_KINDS.items()
}


def told_by_keys(value: Any, kinds: Mapping[str, str]) -> str | None:
    """The kind that a mapping's keys give away."""
    if not isinstance(value, dict):
        return None
    return next((kinds[key] for key in value if key in kinds), None)


def _kind_of_trigger(value: Any) -> str | None:
    known = next((f"({key})" for key, kind in TRIGGER_KINDS.items() if isinstance(value, kind)), None)
    return known or told_by_keys(value, _TAGS)


Trigger = Annotated[
    Annotated[Elapsed, Tag("(elapsed)")]
    | Annotated[WithinTolerance, Tag("(within_tolerance)")]
    | Annotated[GravityAtMost, Tag("(gravity_at_most)")]
    | Annotated[AttenuationAtLeast, Tag("(attenuation_at_least)")]
    | Annotated[GravityStable, Tag("(gravity_stable)")]
    | Annotated[AtMoment, Tag("(at)")]
    | Annotated[NotBefore, Tag("(not_before)")]
    | Annotated[Next, Tag("(next)")]
    | Annotated[Word, Tag("(word)")]
    | Annotated[Reached, Tag("(reached)")],
    Discriminator(
        _kind_of_trigger,
        custom_error_type="shape",
        custom_error_message=f"is no trigger known here; write one of {', '.join(TRIGGER_KINDS)}",
    ),
]
Triggers = Annotated[tuple[Trigger, ...], Field(max_length=8)]


class Ends(Model):
    """Every trigger in `all` holds and, where there is `any`, one of those does. One trigger may stand by itself."""

    all_of: Triggers = Field(default=(), alias="all")
    any_of: Triggers = Field(default=(), alias="any")

    @model_validator(mode="before")
    @classmethod
    def _one_by_itself(cls, value: Any) -> Any:
        alone = isinstance(value, dict) and not value.keys() & {"all", "any", "all_of", "any_of"}
        return {"all": [value]} if alone else value

    @model_validator(mode="after")
    def _has_something(self) -> "Ends":
        if not self.all_of and not self.any_of:
            raise ValueError("'ends' is empty; write a trigger, or remove it")
        return self

    @property
    def triggers(self) -> tuple[Trigger, ...]:
        """All of them."""
        return self.all_of + self.any_of
