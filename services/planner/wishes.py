"""What people wish: beers that wait to be brewed, and when each is to be ready. Written in a file of their own."""

from datetime import date
from typing import Annotated

from pydantic import Field, model_validator

from schemas.base import Model, Name, Text
from schemas.quantities import Litres, Seconds

MOST_BEERS = 20


class Beer(Model):
    """One beer that waits. Without `ready_by` it is to be ready as soon as may be."""

    title: Text = ""
    profile: Annotated[Text, Field(min_length=1, description="A profile's file, or its name.")]
    volume_l: Litres = Field(alias="volume", gt=0)
    ready_by: date | None = None
    not_before: date | None = Field(default=None, description="It is not brewed before that day.")
    chambers: tuple[Name, ...] = Field(default=(), description="Only in one of these; in any when empty.")
    takes_s: Seconds | None = Field(
        default=None, alias="takes", gt=0, le=120 * 86400, description="From pitching until ready, where you know."
    )

    @model_validator(mode="after")
    def _in_order(self) -> "Beer":
        if self.ready_by is not None and self.not_before is not None and self.ready_by <= self.not_before:
            raise ValueError(f"it is to be ready by {self.ready_by} and not begun before {self.not_before}")
        return self


class Wishes(Model):
    """All of them, and chambers that will be free on a day of which nobody else knows."""

    beers: Annotated[dict[Name, Beer], Field(min_length=1, max_length=MOST_BEERS)]
    free_from: dict[Name, date] = Field(default={}, description="When a chamber is free, whatever is in it now.")
