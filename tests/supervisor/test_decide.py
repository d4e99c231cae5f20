"""Predictive switching holds, follows, crashes and waits as it should, on a simulated chamber it has never met."""

from dataclasses import replace
from datetime import timedelta
from math import sqrt
from statistics import fmean

import pytest

from services.simulator.models import BeerModel, CompressorModel, FridgeModel
from services.supervisor.control import Rules, Sight
from services.supervisor.controllers import controller_for
from services.supervisor.decide import BeerController
from services.supervisor.reservoir import BathController
from tests.supervisor.trial import RULES, START, trial

STILL = BeerModel(fermented=1.0)


def rms(errors: list[float]) -> float:
    return sqrt(fmean(error * error for error in errors))


@pytest.mark.parametrize("room_c", [12.0, 18.0, 28.0])
def test_beer_is_held_within_hundredths(room_c: float) -> None:
    run = trial(FridgeModel(), room_c).hours(36.0)
    held = run.errors[12 * 360 :]
    assert rms(held) < 0.07
    assert max(map(abs, held)) < 0.25


def test_crash_arrives_without_undershoot_or_ice() -> None:
    run = trial(FridgeModel(beer=STILL), 20.0, lambda hour: 18.0 if hour < 6.0 else 1.0).hours(40.0)
    assert min(run.errors[6 * 360 :]) > -0.2
    assert run.errors[-1] < 0.2
    assert run.truth.frozen == 0.0


def test_crash_with_much_power_does_not_freeze_the_outer_beer() -> None:
    model = FridgeModel(beer=replace(STILL, mixing_w_k=25.0), compressor=CompressorModel(cooling_w=300.0))
    run = trial(model, 20.0, lambda hour: 18.0 if hour < 3.0 else 0.5).hours(20.0)
    assert run.truth.frozen == 0.0
    assert abs(run.errors[-1]) < 0.3


def test_fan_brings_the_stored_cold_to_a_crashing_beer_and_rests_once_it_has_arrived() -> None:
    model = FridgeModel(beer=replace(STILL, volume_l=17.0), compressor=CompressorModel(270.0, 195.0, 70.0, 4000.0))
    run = trial(model, 20.0, lambda hour: 18.0 if hour < 3.0 else 1.0)
    seen = [(run.hours(1 / 360).cool, run.fan, run.errors[-1]) for _ in range(9 * 360)]
    crashing = seen[3 * 360 :]
    assert all(fan for _, fan, error in crashing if error > 0.5)
    arrived = next(k for k, (_, _, error) in enumerate(crashing) if error < 0.4)
    assert not any(fan and not cool for cool, fan, _ in crashing[arrived + 45 : arrived + 90])


def test_fan_does_not_stir_warm_air_round_beer_that_waits_for_its_compressor() -> None:
    controller = BeerController(RULES)
    waits = Sight(START, 10.0, beer_c=18.0, air_c=26.0, ambient_c=30.0, ready_in_s=1e6)
    fans = [controller.decide(waits._replace(now=START + timedelta(seconds=10 * k))).fan for k in range(360)]
    assert not any(fans[60:])


def test_ramp_is_followed_without_overshoot() -> None:
    run = trial(FridgeModel(), 17.0, lambda hour: min(21.0, 18.0 + max(0.0, hour - 12.0) / 8.0)).hours(44.0)
    assert max(run.errors[12 * 360 :]) < 0.2
    assert min(run.errors[16 * 360 :]) > -0.25


def test_heater_and_compressor_are_never_wished_for_together() -> None:
    run = trial(FridgeModel(), 18.0, lambda hour: 18.0 + (int(hour) % 3)).hours(24.0)
    assert all(decision.cool == 0.0 or decision.heat == 0.0 for decision in run.decisions)


def test_compressor_starts_seldom() -> None:
    run = trial(FridgeModel(), 26.0).hours(48.0)
    assert run.truth.starts <= 1.5 * 48
    assert run.truth.short_rests == 0


def test_nothing_is_wished_for_without_any_reading() -> None:
    decision = BeerController(RULES).decide(Sight(START, 18.0))
    assert (decision.cool, decision.heat, decision.estimate.beer_c) == (0.0, 0.0, None)


def test_long_silence_of_the_probe_ends_in_doing_nothing() -> None:
    controller = BeerController(RULES)
    controller.decide(Sight(START, 10.0, beer_c=18.0))
    for minute in range(1, 60 * 72):
        decision = controller.decide(Sight(START + timedelta(minutes=minute), 10.0, cooling_on=minute < 600))
    assert (decision.cool, decision.heat) == (0.0, 0.0)


def test_another_beer_is_noticed() -> None:
    controller = BeerController(RULES)
    for tick in range(400):
        controller.decide(Sight(START + timedelta(seconds=10 * tick), 18.0, beer_c=18.0 if tick < 200 else 9.0))
    assert controller.filter.beer_c == pytest.approx(9.0, abs=0.2)


def test_clock_that_is_set_back_stops_nothing() -> None:
    controller = BeerController(RULES)
    for tick in range(100):
        controller.decide(Sight(START + timedelta(seconds=10 * tick), 18.0, beer_c=18.0))
    for tick in range(200):
        back = controller.decide(Sight(START + timedelta(hours=-3, seconds=10 * tick), 18.0, beer_c=20.0))
    assert back.cool == 1.0


def test_decisions_are_the_same_however_often_it_is_asked() -> None:
    often, seldom = BeerController(RULES), BeerController(RULES)
    for second in range(3600):
        sight = Sight(START + timedelta(seconds=second), 18.0, beer_c=18.0 + second / 36000.0)
        often.decide(sight)
        if second % 10 == 0:
            seldom.decide(sight)
    assert often.filter.beer_c == pytest.approx(seldom.filter.beer_c, abs=0.01)


def test_what_was_learnt_survives_a_restart() -> None:
    run = trial(FridgeModel(), 24.0).hours(24.0)
    heir = BeerController(RULES)
    kept = run.controller.snapshot()
    heir.restore(kept)
    assert heir.snapshot()["runs"] == kept["runs"] > 0
    for name, pair in kept["learnt"].items():
        assert heir.snapshot()["learnt"][name] == pytest.approx(pair, rel=1e-6)


def test_vessel_about_to_crash_wants_a_cold_bath_in_time() -> None:
    controller = BeerController(Rules("jacketed", 30.0, has_heater=True))
    crash = START + timedelta(hours=6)
    sight = Sight(START, 20.0, beer_c=20.0, bath_c=10.0, ahead=((crash, 20.0), (crash, 1.0)))
    want = controller.decide(sight).want
    assert want is not None
    assert want.by == crash
    assert want.bath_c < -20.0


def test_vessel_at_rest_wants_no_colder_a_bath_than_it_needs() -> None:
    controller = BeerController(Rules("jacketed", 30.0, has_heater=True))
    want = controller.decide(Sight(START, 20.0, beer_c=20.0, bath_c=10.0)).want
    assert want is not None
    assert 5.0 < want.bath_c < 17.0


def test_pump_does_not_run_when_the_bath_is_no_colder_than_the_beer() -> None:
    controller = BeerController(Rules("jacketed", 30.0))
    decisions = [
        controller.decide(Sight(START + timedelta(seconds=10 * k), 15.0, beer_c=20.0, bath_c=20.5)) for k in range(60)
    ]
    assert not any(decision.cool for decision in decisions)


def test_each_kind_gets_its_controller() -> None:
    assert isinstance(controller_for(RULES), BeerController)
    assert isinstance(controller_for(Rules("reservoir", 40.0)), BathController)
