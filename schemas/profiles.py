"""A profile: the named programme of steps that a batch goes through. Its shape is a person's: see docs/profiles.md."""

from collections import Counter
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, model_validator

from schemas.base import Instant, Model, Name, Text
from schemas.ends import Ends, told_by_keys
from schemas.quantities import Bars, Degrees, Kelvins, KelvinsPerHour, Percent, Seconds

LONGEST_STEP_S = 60 * 86400
MOST_STEPS = 30
WhenLate = Literal["wait", "go-on", "hold-and-call"]


def _is_none(value: object) -> bool:
    return value is None


def optional(alias: str | None = None, **more: Any) -> Any:
    """A field that is None, and not sent, unless somebody says something."""
    return Field(default=None, alias=alias, exclude_if=_is_none, **more)


class StepBase(Model):
    """What all steps share: a name, the band that is still well, what ends them, and what people are to know."""

    name: Annotated[Text, Field(min_length=1, max_length=80)]
    tolerance_k: Kelvins = Field(default=0.5, alias="tolerance", gt=0)
    ends: Ends | None = optional(description="What ends the step; all of it must hold.")
    earliest_s: Seconds | None = optional(
        "earliest", le=LONGEST_STEP_S, description="Not ended before, since it began."
    )
    latest_s: Seconds | None = optional("latest", gt=0, le=LONGEST_STEP_S, description="Overdue after, since it began.")
    when_late: WhenLate = Field(default="wait", description="What to do when `latest` has passed.")
    alarm_above_c: Degrees | None = optional("alarm_above", description="The beer must not be warmer.")
    alarm_below_c: Degrees | None = optional("alarm_below", description="The beer must not be colder.")
    pressure_bar: Bars | None = optional("pressure", description="What the spunding valve is to be set to, by hand.")
    instruction: Text = Field(default="", description="What a person is to do now.")

    @model_validator(mode="after")
    def _can_be_kept(self) -> "StepBase":
        if self.earliest_s is not None and self.latest_s is not None and self.earliest_s > self.latest_s:
            raise ValueError(f"step '{self.name}' has 'earliest' after 'latest'; swap them")
        if (
            self.alarm_above_c is not None
            and self.alarm_below_c is not None
            and self.alarm_above_c <= self.alarm_below_c
        ):
            raise ValueError(f"step '{self.name}' has 'alarm_above' not above 'alarm_below'; swap them")
        return self


class HoldStep(StepBase):
    """Holds a temperature for a time, until a moment, until `ends` holds, or (with none) until moved on by hand."""

    does: Literal["hold"] = "hold"
    hold_c: Degrees = Field(alias="hold")
    for_s: Seconds | None = optional("for", le=LONGEST_STEP_S)
    until: Instant | None = optional()

    @model_validator(mode="after")
    def _ends_in_one_way(self) -> "HoldStep":
        said = [
            key for key, value in (("for", self.for_s), ("until", self.until), ("ends", self.ends)) if value is not None
        ]
        if len(said) > 1:
            raise ValueError(
                f"step '{self.name}' has both '{said[0]}' and '{said[1]}'; keep one, or put both in 'ends'"
            )
        return self


class RampStep(StepBase):
    """Moves the setpoint in a straight line from where it is, and ends when it is there and all of `ends` hold."""

    does: Literal["ramp"] = "ramp"
    to_c: Degrees = Field(alias="to")
    over_s: Seconds | None = optional("over", gt=0, le=LONGEST_STEP_S)
    rate_k_per_h: KelvinsPerHour | None = optional("rate")
    not_before: Instant | None = optional(description="Stays where it is until then.")

    @model_validator(mode="after")
    def _moves_in_one_way(self) -> "RampStep":
        if (self.over_s is None) == (self.rate_k_per_h is None):
            raise ValueError(
                f"step '{self.name}' needs 'over' or 'rate', and not both; write 'over: 24 h' or 'rate: 1 K/h'"
            )
        return self

    def seconds_from(self, from_c: float) -> float:
        """How long it takes from a temperature."""
        if self.rate_k_per_h is not None:
            return float(abs(self.to_c - from_c) / self.rate_k_per_h * 3600)
        return float(self.over_s or 0.0)


class FreeRiseStep(StepBase):
    """Lets the beer warm itself, unheated, up to a ceiling."""

    does: Literal["free-rise"] = "free-rise"
    free_rise_c: Degrees = Field(alias="free_rise", description="The ceiling, where cooling begins.")


_STEP_KINDS = {
    "hold": "a hold", "ramp": "a ramp", "free-rise": "a free rise",
    "hold_c": "a hold", "to_c": "a ramp", "to": "a ramp", "free_rise": "a free rise", "free_rise_c": "a free rise",
}  # fmt: skip


def _kind_of_step(value: Any) -> str | None:
    if isinstance(value, dict) and "does" in value:
        return _STEP_KINDS.get(str(value["does"]))
    return told_by_keys(value, _STEP_KINDS) or _STEP_KINDS.get(str(getattr(value, "does", "")))


Step = Annotated[
    Annotated[HoldStep, Tag("a hold")]
    | Annotated[RampStep, Tag("a ramp")]
    | Annotated[FreeRiseStep, Tag("a free rise")],
    Discriminator(
        _kind_of_step,
        custom_error_type="shape",
        custom_error_message="does not say what to do; write 'hold: 18 degC', 'to: 2 degC' or 'free_rise: 22 degC'",
    ),
]


class Profile(Model):
    """Steps in order; the last may be without an end (serving)."""

    profile: Name
    edition: Annotated[int, Field(ge=1)] = Field(default=1, description="Counted up by whoever changes the file.")
    about: Text = ""
    yeast_attenuation_percent: Percent | None = optional(
        "yeast_attenuation", ge=30, description="The most apparent attenuation that this yeast reaches."
    )
    begins_within_s: Seconds = Field(
        default=36 * 3600, alias="begins_within", gt=0, description="Gravity must have begun to fall by then."
    )
    steps: Annotated[tuple[Step, ...], Field(min_length=1, max_length=MOST_STEPS)]

    @model_validator(mode="after")
    def _can_be_gone_through(self) -> "Profile":
        problem = problem_with(self.steps)
        if problem:
            raise ValueError(problem)
        return self


def problem_with(steps: tuple[Step, ...]) -> str:
    """Why nobody can go through these steps from first to last; empty when they can."""
    twice = [name for name, count in Counter(step.name for step in steps).items() if count > 1]
    if twice:
        return f"two steps are named '{twice[0]}'; give each a name of its own"
    stuck = next((step for step in steps[:-1] if never_ends(step)), None)
    if stuck is not None:
        return (
            f"step '{stuck.name}' can never end, and steps come after it; "
            "add 'for: 3 d', 'until: ...' or 'ends: ...' ('ends: {word: ...}' waits for a person)"
        )
    return ""


def never_ends(step: Step) -> bool:
    """Whether nothing but a person's skipping would end it."""
    if isinstance(step, HoldStep) and (step.for_s is not None or step.until is not None):
        return False
    if step.latest_s is not None and step.when_late == "go-on":
        return False
    return step.ends is None and not isinstance(step, RampStep)
