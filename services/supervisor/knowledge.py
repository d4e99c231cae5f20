"""What control has learnt of a chamber, in words and units for people."""

from collections.abc import Mapping, Sequence
from math import exp, sqrt
from typing import Any

from schemas.base import Finite, Model, NotNegative, Positive, Text


class Known(Model):
    """One figure of a chamber's model, with one standard deviation."""

    name: Text
    says: Text
    unit: Text
    value: Positive
    sd: NotNegative
    learnt: Finite = 0.0
    """0..1: how much less is unknown than before anything was seen."""


MEANINGS: Mapping[str, tuple[str, str]] = {
    "cooling_w": ("Heat that the machine takes out, evaporator at -10 degC", "W"),
    "heater_w": ("Heat that the heater gives", "W"),
    "heater_s": ("Lag of the heater", "s"),
    "probe_s": ("Lag of the beer probe in its well", "s"),
    "vessel_w_k": ("From the air into the beer", "W/K"),
    "jacket_w_k": ("From the jacket into the beer", "W/K"),
    "flow_w_k": ("Carried by the pump between bath and jacket", "W/K"),
    "mixing_w_k": ("Between the core of the beer and its outer layer", "W/K"),
    "evaporator_w_k": ("From the air into the evaporator", "W/K"),
    "evaporator_j_k": ("Cold stored in the evaporator", "J/K"),
    "wall_w_k": ("From the air into the walls", "W/K"),
    "wall_j_k": ("Cold stored in the walls", "J/K"),
    "jacket_j_k": ("Cold stored in the jacket", "J/K"),
    "room_w_k": ("From the room through walls and lid", "W/K"),
    "strap": ("Share of the heater's heat that goes straight into the vessel", "1"),
}
"""The model's parameters, in the order in which people care."""


def known(snapshot: Mapping[str, Any], guesses: Mapping[str, float]) -> tuple[Known, ...]:
    """From what a controller keeps: natural logarithms with their spreads; `guesses` are the spreads at first."""
    lesson: Mapping[str, Sequence[float]] = snapshot.get("learnt", {})
    return tuple(
        _figure(name, lesson[name][0], lesson[name][1], guesses.get(name, 0.0)) for name in MEANINGS if name in lesson
    )


def _figure(name: str, middle: float, spread: float, guessed: float) -> Known:
    says, unit = MEANINGS[name]
    value = exp(middle)
    scatter = value * sqrt(exp(spread * spread) - 1.0) if spread < 3.0 else value * 100.0
    learnt = max(0.0, 1.0 - spread / guessed) if guessed > 0.0 else 0.0
    return Known(name=name, says=says, unit=unit, value=value, sd=scatter, learnt=learnt)
