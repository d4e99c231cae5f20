"""What temperature is within reach: said early, with its doubt, and borne out by the simulated plant."""

from datetime import timedelta

import pytest

from schemas.control import Reach
from services.simulator.models import (
    BeerModel,
    CompressorModel,
    FridgeModel,
    JacketedModel,
    ReservoirModel,
    glycol_in_a_freezer,
    water_bucket_in_a_fridge,
)
from services.simulator.physics import Plant as SimulatedPlant
from services.simulator.weather import constant
from services.supervisor.controllers import controller_for
from services.supervisor.reach import Chiller
from tests.supervisor.bench import BATH, CONICAL, FRIDGE, START, Bench, plant_of

VESSEL = JacketedModel(
    "bath", beer=BeerModel(volume_l=20.0, fermented=1.0), jacket_w_k=5.0, insulation_w_k=1.4, pump_w=5.0, heater_w=40.0
)
ON_BATH = CONICAL.replace("30 L", "20 L").replace("12 W", "5 W").replace("80 W", "40 W")
WATER = BATH.replace("40 L, coolant: {propylene_glycol: 30 %}", "15 L").replace("260 W", "80 W")
GLYCOL = BATH.replace("40 L", "20 L").replace("260 W", "110 W")


def on_bath(bath: ReservoirModel, block: str, asked_c: float, hours: float) -> Bench:
    """A finished beer on this bath, asked to go so cold, after so long."""
    plant = plant_of(bath=block, conical=ON_BATH)
    bench = Bench(plant, {"bath": bath, "conical": VESSEL}, controllers=controller_for)
    bench.ask("conical", asked_c)
    return bench.run(hours=hours)


def reach_of(bench: Bench, chamber: str) -> Reach:
    """As the status has it."""
    found = bench.status[chamber].reach
    assert found is not None
    return found


def test_water_in_a_fridge_is_said_to_reach_nine_degrees_long_before_it_does() -> None:
    """About 9 degC and no lower: common practice, no source."""
    bench = on_bath(water_bucket_in_a_fridge(), WATER, 1.0, hours=12)
    assert bench.sim.truth("conical").beer_c > 11.0
    early = reach_of(bench, "conical")
    bench.run(hours=48)
    truly_c = bench.sim.truth("conical").beer_c
    assert truly_c == pytest.approx(9.5, abs=0.3)
    assert early.coldest_c == pytest.approx(truly_c, abs=2.0 * early.sd_k)
    assert early.sd_k < 1.5
    late = reach_of(bench, "conical")
    assert late.coldest_c == pytest.approx(truly_c, abs=0.4)
    assert late.sd_k < early.sd_k


def test_asking_for_more_cold_than_there_is_is_told_in_words() -> None:
    bench = on_bath(water_bucket_in_a_fridge(), WATER, 1.0, hours=30)
    assert "is the coldest it gets as things are" in bench.status["conical"].why


def test_glycol_in_a_freezer_is_said_to_reach_freezing() -> None:
    """Near freezing: common practice, no source."""
    bench = on_bath(glycol_in_a_freezer(), GLYCOL, 1.0, hours=12)
    assert reach_of(bench, "conical").coldest_c < 0.5
    assert "coldest it gets" not in bench.status["conical"].why
    bench.run(hours=36)
    assert bench.sim.truth("conical").beer_c == pytest.approx(1.0, abs=0.3)


@pytest.mark.parametrize(("cooling_w", "room_c"), [(45.0, 32.0), (60.0, 38.0)])
def test_weak_fridge_in_a_hot_room_knows_where_it_ends(cooling_w: float, room_c: float) -> None:
    model = FridgeModel(
        compressor=CompressorModel(cooling_w=cooling_w), insulation_w_k=2.2, beer=BeerModel(fermented=1.0)
    )
    sim = SimulatedPlant({"ale": model}, constant(room_c))
    for _ in range(24 * 10):
        sim.advance(3600.0, {("ale", "cool"): 1.0, ("ale", "fan"): 1.0})
    bench = Bench(plant_of(ale=FRIDGE), {"ale": model}, room_c=room_c, controllers=controller_for)
    bench.ask("ale", 0.5)
    bench.run(hours=20)
    reach = reach_of(bench, "ale")
    assert reach.coldest_c == pytest.approx(sim.truth("ale").beer_c, abs=max(1.0, 2.0 * reach.sd_k))


def test_strong_fridge_reaches_all_that_its_beer_bears() -> None:
    bench = Bench(plant_of(ale=FRIDGE), controllers=controller_for)
    bench.ask("ale", 18.0)
    bench.run(hours=12)
    reach = reach_of(bench, "ale")
    assert reach.coldest_c == bench.supervisor.boards["ale"].facts.floor_c
    assert 0.0 < reach.certainty <= 1.0


def test_nobody_can_tell_before_a_reading_has_come() -> None:
    bench = Bench(plant_of(ale=FRIDGE), controllers=controller_for)
    bench.ask("ale", 18.0)
    bench.hold({}, minutes=2)
    assert bench.status["ale"].reach is None


def chilled(chiller: Chiller, power_w: float, slope_w_k: float, load_w: float, bath_c: float = 15.0) -> None:
    """Twenty hours of a machine that takes `power_w` at 5 degC out of 20 L."""
    for minute in range(20 * 60):
        chiller.see(START + timedelta(minutes=minute), bath_c, True, load_w)
        bath_c += (load_w - power_w - slope_w_k * (bath_c - 5.0)) * 60.0 / (20.0 * 3900.0)


@pytest.mark.parametrize(("power_w", "slope_w_k"), [(40.0, 7.0), (100.0, 4.0), (20.0, 5.0)])
def test_chiller_is_learnt_from_how_its_bath_falls(power_w: float, slope_w_k: float) -> None:
    chiller = Chiller(20.0, 90.0, -10.0)
    chilled(chiller, power_w, slope_w_k, load_w=10.0)
    reach = chiller.reach()
    assert reach.rests_at(10.0) == pytest.approx(5.0 + (10.0 - power_w) / slope_w_k, abs=0.5)
    assert reach.certainty > 0.4


def test_chiller_goes_on_from_what_was_kept() -> None:
    chiller, heir = Chiller(20.0, 90.0, -10.0), Chiller(20.0, 90.0, -10.0)
    chilled(chiller, 40.0, 7.0, 10.0)
    heir.recall(chiller.kept())
    assert heir.reach() == chiller.reach()


@pytest.mark.parametrize("kept", [[1.0], [50.0, -3.0, 1.0, 0.0, 0.0, 1.0], [float("nan")] * 6])
def test_nonsense_that_was_kept_is_refused(kept: list[float]) -> None:
    with pytest.raises(ValueError, match="makes no sense"):
        Chiller(20.0, 90.0, -10.0).recall({"takes": kept})


def test_looks_that_are_hours_apart_teach_nothing() -> None:
    chiller = Chiller(20.0, 90.0, -10.0)
    first = chiller.reach()
    for hour in range(20):
        chiller.see(START + timedelta(hours=hour), 15.0 - hour, True, 0.0)
    assert chiller.reach() == first
