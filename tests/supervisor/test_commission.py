"""A guided first run on simulated chambers, right and wrong ones."""

from datetime import timedelta

import pytest

from schemas.requests import Commission, LockOut, StopCommissioning
from services.simulator.faults import FaultKind
from services.simulator.models import CompressorModel, FridgeModel, JacketedModel, ProbeModel, ReservoirModel
from services.supervisor.commission import Course
from services.supervisor.controllers import controller_for
from services.supervisor.findings import Commissioned, Verdict
from services.supervisor.sides import sides_of
from tests.supervisor.bench import BATH, CONICAL, FRIDGE, JACKETED, START, Bench, fridge, jacketed, kegerator, plant_of


def commissioned(bench: Bench, chamber: str = "ale", hours: float = 4) -> Commissioned:
    """Runs one to its end, from a quarter of an hour of ordinary control on."""
    bench.ask(chamber, 18.0)
    bench.run(minutes=15)
    assert bench.request(Commission, chamber=chamber).outcome == "accepted"
    bench.run(hours=hours)
    found = bench.supervisor.boards[chamber].commissioned
    assert found is not None
    return found


def verdicts(found: Commissioned) -> list[Verdict]:
    """Of heating, then of cooling."""
    return [trial.verdict for trial in found.trials]


def test_a_sound_fridge_answers_with_lags_and_rates() -> None:
    found = commissioned(fridge())
    assert verdicts(found) == [Verdict.ANSWERED, Verdict.ANSWERED]
    heat, cool = found.trials
    assert heat.rate_k_per_h is not None
    assert cool.rate_k_per_h is not None
    assert heat.rate_k_per_h > 0.0 > cool.rate_k_per_h
    assert all(trial.lag_s and trial.lag_sd_s and trial.rate_sd_k_per_h is not None for trial in found.trials)
    assert found.text().endswith("Everything answered as it should.")


def test_swapped_relays_are_found_and_nothing_more_is_tried() -> None:
    swapped = FridgeModel(outputs={"cool": "heater", "heat": "compressor", "fan": "fan"})
    found = commissioned(fridge(models={"ale": swapped}))
    assert verdicts(found) == [Verdict.OPPOSITE]
    assert "swapped" in found.text()


def test_probes_in_each_others_place_are_found() -> None:
    crossed = FridgeModel(probes={"beer": ProbeModel("air", 25.0), "air": ProbeModel("beer", 60.0)})
    found = commissioned(fridge(models={"ale": crossed}))
    assert Verdict.OTHER_PROBE in verdicts(found)


def test_a_dead_heater_is_found() -> None:
    bench = fridge()
    bench.fault(FaultKind.HEATER_DEAD, target="heat")
    assert verdicts(commissioned(bench)) == [Verdict.SILENT, Verdict.ANSWERED]


def test_a_machine_that_does_not_cool_is_found() -> None:
    bench = fridge()
    bench.fault(FaultKind.NO_COOLING, target="cool")
    assert verdicts(commissioned(bench)) == [Verdict.ANSWERED, Verdict.SILENT]


def test_a_vessel_on_a_cold_bath_answers() -> None:
    models = {"bath": ReservoirModel(start_c=2.0), "conical": JacketedModel(cooled_by="bath")}
    found = commissioned(jacketed(models=models), "conical", hours=6)
    assert verdicts(found) == [Verdict.ANSWERED, Verdict.ANSWERED]


def test_what_interlocks_keep_off_is_reported_and_not_forced() -> None:
    bench = jacketed(models={**JACKETED, "bath": ReservoirModel(start_c=24.0)}, room_c=24.0, without=())
    bench.fault(FaultKind.NO_COOLING, "bath", "chill")
    found = commissioned(bench, "conical", hours=8)
    assert found.trials[-1].verdict is Verdict.HELD_BACK


def test_it_can_be_stopped_and_ordinary_control_goes_on() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.run(minutes=15)
    bench.request(Commission, "a", chamber="ale")
    bench.run(minutes=2)
    assert bench.status["ale"].why.startswith("Guided first run, part 1 of 3")
    assert bench.request(StopCommissioning, "b", chamber="ale").outcome == "accepted"
    bench.run(minutes=1)
    assert bench.supervisor.boards["ale"].course is None
    assert not bench.status["ale"].why.startswith("Guided")


def test_a_lock_out_stops_every_trial() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.run(minutes=15)
    bench.request(Commission, "a", chamber="ale")
    bench.run(minutes=6)
    assert bench.level("heat") == 1.0
    bench.request(LockOut, "b", chamber="ale")
    assert bench.level("heat") == 0.0


@pytest.mark.parametrize("first", [Commission, LockOut])
def test_it_is_refused_while_another_or_a_lock_out_is_in_force(first: type) -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.run(minutes=5)
    bench.request(first, "a", chamber="ale")
    assert bench.request(Commission, "b", chamber="ale").outcome == "refused"


def test_stopping_what_does_not_run_is_no_trouble() -> None:
    assert fridge().request(StopCommissioning, chamber="ale").outcome == "accepted"


def test_the_result_survives_a_restart() -> None:
    bench = fridge()
    found = commissioned(bench)
    bench.build(bench.supervisor.snapshot())
    assert bench.supervisor.boards["ale"].commissioned == found


def test_only_sides_with_outputs_are_tried() -> None:
    plant = plant_of(ale=FRIDGE, bath=BATH, conical=CONICAL)
    assert [side.outputs for side in sides_of(plant.chambers["ale"])] == [("heat",), ("cool",)]
    assert [side.outputs for side in sides_of(kegerator().plant.chambers["kegs"])] == [("cool",)]
    assert [side.probe for side in sides_of(plant.chambers["bath"])] == ["bath"]


def test_the_figures_go_to_the_journal_by_output() -> None:
    course = Course("ale", plant_of(ale=FRIDGE).chambers["ale"], "Ada", START)
    course.stop()
    facts = course.result(START + timedelta(hours=1)).facts()
    assert facts == {"heat.verdict": "stopped", "cool.verdict": "stopped"}
    assert course.says() == "Guided first run: done."


def test_a_lock_out_half_way_makes_nothing_look_dead() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.run(minutes=15)
    bench.request(Commission, "a", chamber="ale")
    bench.run(minutes=5, seconds=30)
    bench.request(LockOut, "b", chamber="ale")
    bench.run(hours=2)
    found = bench.supervisor.boards["ale"].commissioned
    assert found is not None
    assert verdicts(found) == [Verdict.HELD_BACK, Verdict.HELD_BACK]


def test_a_strap_that_warms_the_vessel_itself_is_in_its_right_place() -> None:
    model = FridgeModel(
        probes={"beer": ProbeModel("strapped", 45.0), "air": ProbeModel("air", 25.0)},
        heater_w=40.0,
        heater_to_vessel=0.7,
        heater_lag_s=300.0,
    )
    assert verdicts(commissioned(fridge(models={"ale": model}), hours=4)) == [Verdict.ANSWERED, Verdict.ANSWERED]


@pytest.mark.parametrize("heater_w", [42.0, 60.0, 90.0])
def test_thermal_power_of_a_heater_that_nobody_has_told_is_measured(heater_w: float) -> None:
    plant = plant_of(ale=FRIDGE.replace(", power: 60 W", ""))
    bench = Bench(plant, {"ale": FridgeModel(heater_w=heater_w)}, controllers=controller_for)
    known = {one.name: one for one in commissioned(bench).model}
    heater = known["heater_w"]
    assert heater.value == pytest.approx(heater_w, rel=0.25)
    assert abs(heater.value - heater_w) < 2.5 * heater.sd
    assert heater.learnt > 0.5


def test_stronger_machines_are_found_stronger() -> None:
    plant = plant_of(ale=FRIDGE.replace("power: 95 W, inrush: 4, ", ""))
    models = [FridgeModel(compressor=CompressorModel(cooling_w=watts)) for watts in (70.0, 120.0, 200.0)]
    benches = [Bench(plant, {"ale": model}, controllers=controller_for) for model in models]
    found = [next(one.value for one in commissioned(bench).model if one.name == "cooling_w") for bench in benches]
    assert found == sorted(found)
    assert found[2] > 1.7 * found[0]


def test_beer_that_drifts_away_ends_it_and_control_takes_over() -> None:
    bench = fridge(room_c=38.0)
    bench.ask("ale", 18.0)
    bench.run(hours=1)
    bench.request(Commission, chamber="ale")
    bench.fault(FaultKind.DOOR_OPEN)
    bench.silent.add(("ale", "door"))
    bench.run(hours=3)
    found = bench.supervisor.boards["ale"].commissioned
    assert found is not None
    assert "farther from its setpoint" in found.text()


@pytest.mark.parametrize("room_c", [5.0, 30.0])
def test_a_sound_fridge_is_found_sound_in_cold_and_in_warm_rooms(room_c: float) -> None:
    assert verdicts(commissioned(fridge(room_c=room_c), hours=4)) == [Verdict.ANSWERED, Verdict.ANSWERED]
