"""The alarm catalogue: what is known of every alarm before it ever happens. The data is in `catalogue.toml`."""

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Literal

from pydantic import Field

from schemas.alarms import Priority
from schemas.base import Model, NotNegative, Positive, Text
from schemas.conditions import ConditionKind, kind_of
from schemas.plant import Plant
from services.notifier.loads import USUAL_L, Loads, patience

DOUBTFUL = 4.0
"""A return nearer to the limit than the deadband may be chatter; it must last this many times as long."""


class Definition(Model):
    """One kind of alarm as it was thought through beforehand."""

    title: Text
    priority: Priority
    cause: Text
    consequence: Text
    response: Text = Field(description="What the person is to do.")
    respond_within_s: Positive = Field(description="How long a person has before harm is likely.")
    on_delay_s: NotNegative
    off_delay_s: NotNegative
    deadband: NotNegative = Field(default=0, description="In the unit of the condition's value.")
    latching: bool = Field(default=False, description="Stays until a person has acknowledged and reset it.")
    delay_follows: Literal["nothing", "volume", "load"] = Field(
        default="nothing",
        description="The delay is for 20 L, and follows the vessel's volume, or what stands there now.",
    )
    suppressed_by: tuple[Text, ...] = Field(
        default=(), description="Conditions of the same chamber or of the site that explain this one away."
    )

    def off_delay(self, value: float | None, limit: float | None) -> float:
        """Seconds a return must last, given where the value was and its limit when the condition ended."""
        doubtful = value is not None and limit is not None and abs(value - limit) < self.deadband
        return self.off_delay_s * (DOUBTFUL if doubtful else 1.0)

    def for_litres(self, volume_l: float, load_l: float) -> "Definition":
        """The same for a vessel of so many litres, of which so many are there: what is heavy may be told later."""
        if self.delay_follows == "nothing":
            return self
        by_volume = min(LARGEST_SHARE, max(SMALLEST_SHARE, volume_l / USUAL_L))
        share = by_volume if self.delay_follows == "volume" else patience(load_l)
        return self.model_copy(update={"on_delay_s": round(self.on_delay_s * share)})


Catalogue = Mapping[ConditionKind, Definition]

SMALLEST_SHARE, LARGEST_SHARE = 0.5, 2.0

UNKNOWN = Definition(
    title="Unknown condition",
    priority=Priority.MEDIUM,
    cause="A service reports something that this version has no entry for.",
    consequence="Not known.",
    response="Read the detail, and look at the service that reports it.",
    respond_within_s=86400,
    on_delay_s=60,
    off_delay_s=60,
)
"""Stands in for a condition of no known kind, so that it still reaches somebody."""


@lru_cache(maxsize=1)
def standard_catalogue() -> Catalogue:
    """The catalogue that ships; raises pydantic's ValidationError when an entry is not whole."""
    tables = tomllib.loads(Path(__file__).with_name("catalogue.toml").read_text(encoding="utf-8"))
    return {ConditionKind(kind): Definition.model_validate(table) for kind, table in tables.items()}


def definition_of(name: str, catalogue: Catalogue) -> Definition:
    """What is known of a condition by its name; an entry of last resort when nothing is."""
    kind = kind_of(name)
    return UNKNOWN if kind is None else catalogue.get(kind, UNKNOWN)


def span(seconds: float) -> str:
    """`2 h`, `15 min`, `30 s`: the largest unit that leaves a whole number."""
    for unit, length in (("d", 86400), ("h", 3600), ("min", 60)):
        if seconds and seconds % length == 0:
            return f"{seconds / length:g} {unit}"
    return f"{seconds:g} s"


class Definitions:
    """The catalogue as one plant changes it: for the whole site, for a chamber, for one alarm of a kind.

    `loads` knows what stands in each chamber; without it, what the plant file says.
    """

    def __init__(self, plant: Plant, catalogue: Catalogue, loads: Loads | None = None) -> None:
        self._plant = plant
        self._catalogue = catalogue
        self._loads = loads or Loads(plant)
        self._found: dict[tuple[str, str, float], Definition] = {}

    def __call__(self, chamber: str, name: str) -> Definition:
        """What holds of one alarm in one chamber."""
        key = (chamber, name, self._loads.litres(chamber))
        if key not in self._found:
            self._found[key] = self._look_up(*key)
        return self._found[key]

    def _look_up(self, chamber: str, name: str, load_l: float) -> Definition:
        found = definition_of(name, self._catalogue)
        here = self._plant.chambers.get(chamber)
        if here is not None:
            found = found.for_litres(here.contents.volume_l, load_l)
        for changes in (self._plant.notifier.alarms, here.alarms if here is not None else {}):
            for named in (kind_of(name) or "", name):
                change = changes.get(named)
                found = found if change is None else found.model_copy(update=change.said)
        return found
