"""A profile: the named programme of steps that a batch goes through."""

from typing import Annotated, Literal

from pydantic import Field, model_validator

from schemas.base import Instant, Model, Name, Text
from schemas.quantities import Degrees, Kelvins, Seconds

LONGEST_STEP_S = 60 * 86400


class StepBase(Model):
    """What all steps share: a name, the band that is still well, and what ends them."""

    name: Text
    tolerance_k: Kelvins = Field(default=0.5, alias="tolerance")
    instruction: Text = Field(default="", description="What a person is to do now.")


class HoldStep(StepBase):
    """Holds a temperature for a time, until a moment, or (with neither) until somebody moves it on."""

    does: Literal["hold"] = "hold"
    hold_c: Degrees = Field(alias="hold")
    for_s: Seconds | None = Field(default=None, alias="for", le=LONGEST_STEP_S)
    until: Instant | None = None

    @model_validator(mode="after")
    def _ends_in_one_way(self) -> "HoldStep":
        if self.for_s is not None and self.until is not None:
            raise ValueError(f"step '{self.name}' has both 'for' and 'until'; keep one")
        return self


class RampStep(StepBase):
    """Moves the setpoint in a straight line from where it is."""

    does: Literal["ramp"] = "ramp"
    to_c: Degrees = Field(alias="to")
    over_s: Seconds = Field(alias="over", gt=0, le=LONGEST_STEP_S)
    not_before: Instant | None = None


Step = Annotated[HoldStep | RampStep, Field(discriminator="does")]


class Profile(Model):
    """Steps in order; the last may be without an end (serving)."""

    profile: Name
    about: Text = ""
    steps: Annotated[tuple[Step, ...], Field(min_length=1, max_length=60)]
