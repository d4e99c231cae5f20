"""What operation teaches of a chamber, and the matrices that follow from it."""

import numpy as np
import pytest

from services.simulator.models import CompressorModel, FridgeModel
from services.supervisor.control import Rules
from services.supervisor.identify import Learnt, Outlook, guess_variance, sureness
from services.supervisor.model import BATH, COAST, COOL, ELEMENT, HEAT, MEAN_ROW, ONE, YEAST, shape_for
from tests.supervisor.trial import RULES, trial

SHAPE = shape_for(RULES)


def test_parameters_stay_within_physical_bounds() -> None:
    learnt = Learnt(SHAPE)
    learnt.adopt(learnt.theta + 100.0)
    assert learnt.theta == pytest.approx(learnt.highest)
    assert all(0.0 < value < 1e6 for value in learnt.parameters.values())


def test_steps_compose() -> None:
    learnt = Learnt(SHAPE)
    assert learnt.step[COOL][2] @ learnt.step[COOL][4] == pytest.approx(learnt.step[COOL][6], abs=1e-9)


def test_slope_predicts_what_other_parameters_would_do() -> None:
    learnt, state = Learnt(SHAPE), np.full(9, 18.0)
    state[ONE] = 1.0
    nudge = np.zeros(len(learnt.names))
    nudge[learnt.names.index("cooling_w")] = 0.05
    other = Learnt(SHAPE, learnt.theta + nudge)
    predicted = learnt.step[COOL][6] @ state + nudge @ (learnt.slope[COOL][6] @ state)
    assert predicted == pytest.approx(other.step[COOL][6] @ state, abs=0.02)


def test_outlook_is_the_model_run_on() -> None:
    learnt = Learnt(SHAPE)
    outlook, state = Outlook(learnt, 180.0), np.full(9, 18.0)
    state[ONE] = 1.0
    run = np.linalg.matrix_power(learnt.step[HEAT][6], 40) @ state
    assert outlook.seconds[9] == 2400.0
    assert outlook.mean[HEAT][9] @ state == pytest.approx(MEAN_ROW @ run, abs=1e-6)


def test_pulse_ends_between_coasting_and_cooling() -> None:
    outlook, state = Outlook(Learnt(SHAPE), 180.0), np.full(9, 18.0)
    state[ONE] = 1.0
    assert outlook.mean[COOL][5] @ state < outlook.pulse[5] @ state < outlook.mean[COAST][5] @ state


def test_nothing_is_sure_before_anything_was_seen() -> None:
    assert sureness(guess_variance(SHAPE), guess_variance(SHAPE)) == 0.0
    assert sureness(guess_variance(SHAPE), guess_variance(SHAPE) / 100.0) == pytest.approx(0.9)


def test_ordinary_operation_makes_sure() -> None:
    run = trial(FridgeModel(), 24.0).hours(48.0)
    assert run.controller.filter.sureness > 0.25


@pytest.mark.parametrize("cooling_w", [70.0, 240.0])
def test_strength_of_the_machine_is_learnt(cooling_w: float) -> None:
    model = FridgeModel(compressor=CompressorModel(cooling_w=cooling_w))
    p = trial(model, 26.0, lambda hour: 18.0 if hour < 12.0 else 8.0).hours(24.0).controller.filter.learnt.parameters
    effect, truth = p["cooling_w"] / p["evaporator_j_k"], cooling_w / (model.compressor.evaporator_j_k + 900.0)
    guess = SHAPE.guesses["cooling_w"].median / SHAPE.guesses["evaporator_j_k"].median
    assert abs(np.log(p["cooling_w"] / cooling_w)) < 0.45 or abs(np.log(effect / truth)) < abs(np.log(guess / truth))


def test_coldest_is_where_endless_cooling_ends() -> None:
    learnt, state = Learnt(SHAPE), np.full(9, 18.0)
    state[ONE], state[YEAST], state[ELEMENT] = 1.0, 2.0, 0.0
    end = np.linalg.matrix_power(learnt.step[COOL][6], 100_000) @ state
    assert Outlook(learnt, 180.0).coldest @ state == pytest.approx(MEAN_ROW @ end, abs=1e-3)


def test_warm_bath_is_said_to_reach_no_further() -> None:
    learnt, state = Learnt(shape_for(Rules("jacketed", 20.0))), np.full(9, 20.0)
    state[ONE], state[YEAST], state[BATH] = 1.0, 0.0, 6.0
    coldest = Outlook(learnt, 0.0).coldest
    warm = coldest @ state
    state[BATH] = -8.0
    assert 6.0 < warm < 9.0
    assert coldest @ state < warm - 8.0
