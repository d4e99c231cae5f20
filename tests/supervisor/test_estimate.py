"""The filter finds the true beer behind lag, steps and noise, and says how sure it is."""

from statistics import fmean

import pytest

from services.simulator.models import BeerModel, FridgeModel
from services.supervisor.estimate import Estimator
from services.supervisor.model import COAST, OFF, YEAST, shape_for
from tests.supervisor.trial import RULES, trial

STILL = BeerModel(fermented=1.0)


def settled(reading: float) -> Estimator:
    filter_ = Estimator(shape_for(RULES))
    filter_.begin(reading, reading, reading)
    for _ in range(60):
        filter_.pass_time(OFF, 6)
        filter_.see(reading, reading, reading, None)
    return filter_


def test_steady_readings_are_believed() -> None:
    filter_ = settled(18.0)
    assert filter_.beer_c == pytest.approx(18.0, abs=0.02)
    assert filter_.beer_sd_k < 0.05


def test_without_readings_it_becomes_less_sure() -> None:
    filter_ = settled(18.0)
    before = filter_.beer_sd_k
    filter_.see(None, None, None, None)
    filter_.pass_time(COAST, 6 * 60 * 6)
    assert filter_.beer_sd_k > 2.0 * before


def test_mean_beer_is_found_within_hundredths_while_the_probe_lags_and_steps() -> None:
    run = trial(FridgeModel(beer=STILL), 26.0).hours(12.0)
    wrong = []
    for _ in range(120):
        run.hours(1.0 / 60.0)
        wrong.append(run.controller.filter.beer_c - run.truth.beer_c)
    assert max(map(abs, wrong)) < 0.06
    assert abs(fmean(wrong)) < 0.03


def test_stated_deviation_is_honest() -> None:
    run = trial(FridgeModel(), 22.0).hours(10.0)
    within = 0
    for _ in range(100):
        run.hours(0.1)
        within += abs(run.controller.filter.beer_c - run.truth.beer_c) < 3.0 * run.controller.filter.beer_sd_k
    assert within >= 90


def test_heat_of_the_yeast_is_found() -> None:
    run = trial(FridgeModel(), 20.0).hours(60.0)
    assert run.controller.filter.state[YEAST] == pytest.approx(run.truth.heat_w, abs=1.5)


def test_yeast_is_never_believed_to_cool() -> None:
    run = trial(FridgeModel(beer=STILL), 12.0).hours(24.0)
    assert run.controller.filter.state[YEAST] > -0.7


def test_one_wild_reading_moves_little() -> None:
    filter_ = settled(18.0)
    filter_.see(25.0, 18.0, 18.0, None)
    filter_.pass_time(OFF, 6)
    assert abs(filter_.beer_c - 18.0) < 0.15


def test_lesson_can_be_recalled() -> None:
    run = trial(FridgeModel(), 24.0).hours(24.0)
    lesson = run.controller.filter.lesson()
    heir = Estimator(shape_for(RULES))
    heir.recall(lesson)
    heir.begin(18.0, 18.0, None)
    assert heir.learnt.theta == pytest.approx(run.controller.filter.learnt.theta, abs=0.03)
    assert heir.sureness == pytest.approx(run.controller.filter.sureness, abs=0.05)


def test_lesson_that_is_no_number_is_refused() -> None:
    with pytest.raises(ValueError, match="no number"):
        Estimator(shape_for(RULES)).recall({"cooling_w": [float("nan"), 0.1]})
