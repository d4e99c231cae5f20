"""The simulated plant: its heat adds up, it behaves as such machines do, and repeats itself for a seed."""

import json
from collections.abc import Mapping
from datetime import UTC, datetime

import pytest

from services.simulator.cabinet import door_w_k
from services.simulator.faults import Fault, FaultKind
from services.simulator.models import (
    BeerModel,
    ChamberModel,
    CompressorModel,
    FridgeModel,
    JacketedModel,
    KegeratorModel,
    ProbeModel,
    ReservoirModel,
    glycol_in_a_freezer,
    water_bucket_in_a_fridge,
)
from services.simulator.physics import Plant
from services.simulator.weather import constant, garage

STILL = BeerModel(fermented=1.0)
HOUR = 3600.0
NOTHING: dict[tuple[str, str], float] = {}


def five_chambers(seed: int = 1) -> Plant:
    return Plant(
        {
            "ale": FridgeModel(),
            "lager": FridgeModel(heater_to_vessel=0.6),
            "bath": ReservoirModel(),
            "conical": JacketedModel("bath"),
            "kegs": KegeratorModel(),
        },
        garage(datetime(2026, 6, 1, tzinfo=UTC)),
        seed,
    )


def busy(hour: int) -> dict[tuple[str, str], float]:
    on = float(hour % 3 == 0)
    return {("ale", "cool"): on, ("ale", "fan"): on, ("lager", "heat"): 1 - on, ("bath", "chill"): 1.0,
            ("conical", "pump"): on, ("conical", "heat"): 1 - on, ("kegs", "cool"): 1.0}  # fmt: skip


@pytest.mark.parametrize("name", ["ale", "lager", "bath", "conical", "kegs"])
def test_heat_in_is_heat_held(name: str) -> None:
    plant = five_chambers()
    chamber = plant.chambers[name]
    before = chamber.stored_j()
    plant.inject(Fault(FaultKind.DOOR_OPEN, "ale"))
    for hour in range(60):
        plant.advance(HOUR, busy(hour))
    held = chamber.stored_j() - before
    assert held == pytest.approx(chamber.gained_j, rel=1e-6)
    assert abs(held) > 5e3


def test_heat_in_is_heat_held_through_freezing_and_thawing() -> None:
    plant = Plant({"ale": FridgeModel(beer=STILL)}, constant(20.0))
    chamber = plant.chambers["ale"]
    before = chamber.stored_j()
    plant.advance(48 * HOUR, {("ale", "cool"): 1.0})
    assert plant.truth("ale").frozen > 0.02
    assert chamber.stored_j() - before == pytest.approx(chamber.gained_j, rel=1e-6)
    plant.advance(96 * HOUR, {("ale", "heat"): 1.0})
    assert plant.truth("ale").frozen == 0.0
    assert chamber.stored_j() - before == pytest.approx(chamber.gained_j, rel=1e-6)


def test_outer_beer_freezes_before_the_core_is_there() -> None:
    plant = Plant({"ale": FridgeModel(beer=STILL, compressor=CompressorModel(cooling_w=300.0))}, constant(20.0))
    while plant.truth("ale").frozen == 0.0:
        plant.advance(600.0, {("ale", "cool"): 1.0})
    truth = plant.truth("ale")
    assert truth.beer_c > truth.outer_c + 0.3


def test_cooling_goes_on_after_the_compressor_has_stopped() -> None:
    plant = Plant({"ale": FridgeModel(beer=STILL)}, constant(20.0))
    plant.advance(HOUR, {("ale", "cool"): 1.0})
    at_stop = plant.truth("ale").beer_c
    plant.advance(600.0, NOTHING)
    assert plant.truth("ale").beer_c < at_stop - 0.02


def test_capacity_falls_in_a_hot_room() -> None:
    def after_eight_hours(room_c: float) -> float:
        plant = Plant({"k": KegeratorModel()}, constant(room_c))
        plant.advance(8 * HOUR, {("k", "cool"): 1.0})
        return plant.truth("k").beer_c

    assert after_eight_hours(38.0) > after_eight_hours(18.0) + 0.3


def test_fermentation_sets_free_the_heat_of_its_extract() -> None:
    """587 kJ per kg of real extract, industry value; Balling's 0.8192 turns apparent into real."""
    plant = Plant({"ale": FridgeModel()}, constant(18.0))
    released = 0.0
    for _ in range(14 * 24 * 6):
        plant.advance(600.0, NOTHING)
        released += plant.truth("ale").heat_w * 600.0
    extract_kg = plant.chambers["ale"].beer.mass_kg * 0.12 * 0.78 * 0.8192  # type: ignore[union-attr]
    assert released == pytest.approx(587_000.0 * extract_kg, rel=0.02)
    assert plant.truth("ale").gravity == pytest.approx(1.0104, abs=0.0005)


def test_yeast_is_slower_in_the_cold() -> None:
    def fermented(at_c: float) -> float:
        plant = Plant({"ale": FridgeModel(beer=BeerModel(start_c=at_c))}, constant(at_c))
        plant.advance(48 * HOUR, NOTHING)
        return 1.048 - plant.truth("ale").gravity

    assert fermented(18.0) > 2.0 * fermented(10.0)


def held_by(bath: ReservoirModel) -> float:
    """The coldest a 20 L jacketed vessel gets on this bath in a room of 20 degC, the pump and the machine always on."""
    vessel = JacketedModel(
        "bath", beer=BeerModel(volume_l=20.0, fermented=1.0), jacket_w_k=5.0, insulation_w_k=1.4, pump_w=5.0
    )
    plant = Plant({"bath": bath, "v": vessel}, constant(20.0))
    for _ in range(8 * 24):
        plant.advance(HOUR, {("bath", "chill"): 1.0, ("v", "pump"): 1.0})
    return plant.truth("v").beer_c


def test_water_bucket_in_a_domestic_fridge_brings_a_vessel_to_nine_degrees_and_no_lower() -> None:
    """Common practice, no source."""
    assert 8.0 <= held_by(water_bucket_in_a_fridge()) <= 10.0


def test_glycol_in_a_freezer_brings_a_vessel_near_freezing() -> None:
    """Common practice, no source."""
    assert -3.0 <= held_by(glycol_in_a_freezer()) <= 1.0


def test_open_door_follows_gosney_and_olama() -> None:
    """0.1351 m3/s for 0.72 m2 by 1.2 m, 4 degC 80 % to 22 degC 50 % (ASHRAE's equation, densities by PsychroLib)."""
    door = FridgeModel(door_area_m2=0.72, door_height_m=1.2, cabinet_l=10_000.0)
    assert door_w_k(door, 4.0, 22.0) / 1230.0 == pytest.approx(0.1351, rel=0.03)


def test_open_door_warms_the_air_in_seconds_and_the_beer_hardly() -> None:
    plant = Plant({"k": KegeratorModel()}, constant(25.0))
    plant.inject(Fault(FaultKind.DOOR_OPEN, "k"))
    plant.advance(120.0, NOTHING)
    reads = plant.advance(60.0, NOTHING)
    assert reads["k", "door"] == 1.0
    assert reads["k", "air"] > 15.0
    assert plant.truth("k").beer_c < 5.2


def test_lumped_cooling_agrees_with_the_closed_form() -> None:
    """Newton's law: t = tau ln((T0 - Te) / (Tt - Te)); 20 L, core and outer closely joined, 8 W/K to the room."""
    beer = BeerModel(volume_l=20.0, start_c=20.0, original_extract_p=0.0, mixing_w_k=400.0)
    vessel = JacketedModel("b", beer=beer, jacket_w_k=1e-9, hose_w_k=0.0, insulation_w_k=8.0)
    plant = Plant({"b": ReservoirModel(), "v": vessel}, constant(-5.0))
    plant.advance(2 * HOUR, NOTHING)
    tau_s = 20.0 * 4050.0 / 8.0
    expected = -5.0 + 25.0 * 2.718281828 ** (-2 * HOUR / tau_s)
    assert plant.truth("v").beer_c == pytest.approx(expected, abs=0.12)


def test_two_vessels_on_one_bath_share_it() -> None:
    models: dict[str, ChamberModel] = {"bath": ReservoirModel(), "a": JacketedModel("bath"), "b": JacketedModel("bath")}
    plant = Plant(models, constant(20.0))
    both = {("bath", "chill"): 1.0, ("a", "pump"): 1.0, ("b", "pump"): 1.0}
    plant.advance(6 * HOUR, both)
    alone = Plant(models, constant(20.0))
    alone.advance(6 * HOUR, {**both, ("b", "pump"): 0.0})
    assert alone.truth("a").beer_c < plant.truth("a").beer_c - 0.5


def test_short_rests_are_counted() -> None:
    plant = Plant({"ale": FridgeModel()}, constant(20.0))
    for seconds, level in ((600.0, 1.0), (100.0, 0.0), (600.0, 1.0), (300.0, 0.0), (60.0, 1.0)):
        plant.advance(seconds, {("ale", "cool"): level})
    assert (plant.truth("ale").starts, plant.truth("ale").short_rests) == (3, 1)


FAULTS: Mapping[FaultKind, tuple[str, str]] = {
    FaultKind.WELDED_ON: ("ale", "heat"),
    FaultKind.WELDED_OFF: ("ale", "cool"),
    FaultKind.NO_COOLING: ("ale", "cool"),
    FaultKind.NO_FLOW: ("conical", "pump"),
    FaultKind.POWER_CUT: ("", ""),
    FaultKind.DOOR_OPEN: ("ale", ""),
}


@pytest.mark.parametrize("kind", FAULTS)
def test_fault_of_an_output_leaves_the_beer_warmer(kind: FaultKind) -> None:
    chamber, target = FAULTS[kind]
    judged = chamber or "ale"
    sound, broken = five_chambers(), five_chambers()
    broken.inject(Fault(kind, chamber, target))
    cooling = {("ale", "cool"): 1.0, ("bath", "chill"): 1.0, ("conical", "pump"): 1.0}
    sound.advance(6 * HOUR, cooling)
    broken.advance(6 * HOUR, cooling)
    assert broken.truth(judged).beer_c > sound.truth(judged).beer_c + 0.2


def test_dead_heater_neither_heats_nor_uses_power() -> None:
    plant = Plant({"ale": FridgeModel(beer=STILL)}, constant(10.0))
    plant.inject(Fault(FaultKind.HEATER_DEAD, "ale", "heat"))
    plant.advance(6 * HOUR, {("ale", "heat"): 1.0})
    assert plant.truth("ale").beer_c < 18.0
    assert plant.truth("ale").kwh == 0.0


def test_probe_faults_show_in_the_reading_alone() -> None:
    plant = five_chambers()
    first = plant.advance(10.0, NOTHING)["lager", "beer"]
    plant.inject(Fault(FaultKind.PROBE_POWER_ON, "ale", "beer"))
    plant.inject(Fault(FaultKind.PROBE_STUCK, "lager", "beer"))
    plant.inject(Fault(FaultKind.PROBE_DEAD, "conical", "beer"))
    plant.inject(Fault(FaultKind.PROBE_OUT, "kegs", "beer"))
    reads = plant.advance(5 * HOUR, {("lager", "cool"): 1.0})
    assert reads["ale", "beer"] == 85.0
    assert reads["lager", "beer"] == first
    assert ("conical", "beer") not in reads
    assert reads["kegs", "beer"] == pytest.approx(reads["kegs", "air"], abs=0.2)


def test_mended_fault_is_gone() -> None:
    plant = five_chambers()
    fault = Fault(FaultKind.PROBE_DEAD, "ale", "beer")
    plant.inject(fault)
    plant.clear(fault)
    assert ("ale", "beer") in plant.advance(10.0, NOTHING)
    assert plant.faults == frozenset()


def test_fault_of_something_that_is_not_there_is_refused() -> None:
    with pytest.raises(KeyError, match="no output or probe 'pump'"):
        five_chambers().inject(Fault(FaultKind.NO_FLOW, "ale", "pump"))


def test_same_seed_gives_the_same_readings() -> None:
    one, two, other = five_chambers(7), five_chambers(7), five_chambers(8)
    reads = [[p.advance(10.0, busy(hour)) for hour in range(50)] for p in (one, two, other)]
    assert reads[0] == reads[1] != reads[2]


def test_restored_plant_goes_on_as_if_never_stopped() -> None:
    plant = five_chambers()
    plant.fill("lager", BeerModel(volume_l=12.0, start_c=9.0))
    plant.inject(Fault(FaultKind.PROBE_STUCK, "ale", "air"))
    plant.advance(HOUR, busy(0))
    saved = json.loads(json.dumps(plant.snapshot()))
    twin = five_chambers(seed=99)
    twin.restore(saved)
    assert twin.advance(HOUR, busy(3)) == plant.advance(HOUR, busy(3))
    assert twin.truth("lager") == plant.truth("lager")


def test_strapped_probe_lies_between_wall_and_air() -> None:
    model = FridgeModel(beer=STILL, probes={"s": ProbeModel("strapped", 0.0, noise=0.0, resolution=1e-6)})
    plant = Plant({"ale": model}, constant(20.0))
    reads = plant.advance(HOUR, {("ale", "cool"): 1.0})
    assert -10.0 < reads["ale", "s"] < plant.truth("ale").outer_c
