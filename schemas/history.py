"""Where history is kept, and for how long, as the plant file says it."""

from typing import Annotated, Literal

from pydantic import Field, StringConstraints

from schemas.base import Model
from schemas.quantities import Seconds

DAY_S = 86400.0


class Keep(Model):
    """How long each kind of sum is kept; hourly sums and annotations are kept for ever."""

    samples_s: Seconds = Field(default=30 * DAY_S, alias="samples", ge=DAY_S, description="Every sample as it came.")
    minutes_s: Seconds = Field(default=730 * DAY_S, alias="minutes", ge=DAY_S)
    quarters_s: Seconds = Field(default=3650 * DAY_S, alias="quarters", ge=DAY_S, description="Sums of 15 minutes.")


class Influx(Model):
    """An InfluxDB server that history goes to instead of the embedded store."""

    address: Annotated[str, StringConstraints(pattern=r"^https?://[^/\s]+/?$")]
    database: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{1,64}$")] = "coldside"
    organisation: str = ""
    token_file: str | None = None
    user: str | None = None
    password_file: str | None = None
    writes: Literal["v1", "v2"] = Field(default="v2", description="'v1' for servers before 1.8.")


class History(Model):
    """The store, and how long things are kept in it."""

    keep: Keep = Keep()
    influx: Influx | None = None
