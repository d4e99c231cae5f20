"""The small heat model: it conserves, rests where it should, and its exponential is the right one."""

from math import exp, log

import numpy as np
import pytest
from scipy.linalg import expm  # type: ignore[import-untyped]

from services.supervisor.control import Rules
from services.supervisor.model import (
    BATH,
    COAST,
    COOL,
    CORE,
    ELEMENT,
    EVAPORATOR,
    HEAT,
    MEAN_ROW,
    OFF,
    ONE,
    OUTER,
    YEAST,
    Shape,
    air_row,
    exponential,
    shape_for,
)

FRIDGE = Rules("fridge", 20.0, has_heater=True, has_fan=True, has_air_probe=True, cooling_power_w=95.0)
JACKETED = Rules("jacketed", 30.0, has_heater=True)
EVERYWHERE = [pytest.param(FRIDGE, id="cabinet"), pytest.param(JACKETED, id="vessel")]


def parameters(shape: Shape) -> dict[str, float]:
    return {name: guess.median for name, guess in shape.guesses.items()}


def all_at(celsius: float) -> np.ndarray:
    state = np.full(9, celsius)
    state[[ELEMENT, YEAST]] = 0.0
    state[ONE] = 1.0
    return state


@pytest.mark.parametrize("rules", EVERYWHERE)
def test_nothing_moves_where_all_is_equally_warm(rules: Rules) -> None:
    shape = shape_for(rules)
    assert shape.rates(parameters(shape), COAST) @ all_at(18.0) == pytest.approx(np.zeros(9), abs=1e-12)


@pytest.mark.parametrize("rules", EVERYWHERE)
def test_exponential_agrees_with_scipy(rules: Rules) -> None:
    shape = shape_for(rules)
    rates = shape.rates(parameters(shape), COOL)
    assert exponential(rates, 10.0) == pytest.approx(expm(rates * 10.0), abs=1e-7)


@pytest.mark.parametrize("rules", EVERYWHERE)
def test_cooling_cools_and_heating_heats_the_beer(rules: Rules) -> None:
    shape, state = shape_for(rules), all_at(18.0)
    if not shape.is_cabinet:
        state[BATH] = 0.0
    hour = {mode: MEAN_ROW @ expm(shape.rates(parameters(shape), mode) * 3600.0) @ state for mode in (COOL, HEAT)}
    assert hour[COOL] < 17.8
    assert hour[HEAT] > 18.2


@pytest.mark.parametrize("rules", EVERYWHERE)
def test_heat_of_the_yeast_ends_in_the_beer(rules: Rules) -> None:
    shape, state = shape_for(rules), all_at(18.0)
    state[YEAST] = 10.0
    rates = shape.rates(parameters(shape), COAST)
    stored = np.zeros(9)
    stored[CORE], stored[OUTER] = rules.volume_l * 4230.0 * 0.75, rules.volume_l * 4230.0 * 0.25
    assert stored @ rates @ state == pytest.approx(10.0)


def test_stopped_fan_slows_the_exchange_with_the_air() -> None:
    shape, state = shape_for(FRIDGE), all_at(18.0)
    state[EVAPORATOR] = -10.0
    rates = {mode: shape.rates(parameters(shape), mode)[OUTER] @ state for mode in (OFF, COAST)}
    assert rates[COAST] < rates[OFF] < 0.0


def test_air_lies_between_what_it_touches() -> None:
    state = all_at(18.0)
    state[EVAPORATOR] = -10.0
    assert -10.0 < air_row(parameters(shape_for(FRIDGE)), COOL) @ state < 18.0


def test_cooling_alone_follows_newtons_law() -> None:
    """t = tau ln((T0 - Te) / (Tt - Te)); a jacket held at the bath's temperature, 30 L, no room, beer well mixed."""
    shape = shape_for(JACKETED)
    p = {**parameters(shape), "room_w_k": 1e-9, "flow_w_k": 1e5, "mixing_w_k": 1e4, "jacket_w_k": 15.0}
    state = all_at(20.0)
    state[BATH] = -5.0
    after = MEAN_ROW @ expm(shape.rates(p, COOL) * 7200.0) @ state
    assert after == pytest.approx(-5.0 + 25.0 * exp(-7200.0 * 15.0 / (30.0 * 4230.0)), abs=0.05)


def test_guess_of_the_machine_follows_its_rated_power() -> None:
    known, unknown = shape_for(FRIDGE), shape_for(Rules("fridge", 20.0))
    assert known.guesses["cooling_w"].median == pytest.approx(1.25 * 95.0)
    assert known.guesses["cooling_w"].spread < unknown.guesses["cooling_w"].spread


def test_larger_vessels_have_more_wall() -> None:
    small, large = (shape_for(Rules("fridge", litres)).guesses["vessel_w_k"].median for litres in (10.0, 80.0))
    assert log(large / small) == pytest.approx(2.0 / 3.0 * log(8.0))
