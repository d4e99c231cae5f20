"""The parts of which simulated chambers are built."""

import pytest

from brewing.fermentation import Wort
from brewing.fermentation_heat import HEAT_J_KG
from services.simulator.contents import Contents
from services.simulator.faults import Fault, FaultKind
from services.simulator.machines import Compressor, Heater
from services.simulator.models import BeerModel, CompressorModel
from services.simulator.snapshots import dump, load, state_names
from services.simulator.weather import constant
from services.simulator.yeast_heat import Fermentation


def drawn(machine: Compressor, evaporator_c: float, room_c: float = 25.0, charge: float = 1.0) -> float:
    for _ in range(100):
        heat = machine.step(1.0, 5.0, evaporator_c, room_c, 10.0, charge)
    return heat


def test_compressor_gives_its_rated_cooling_at_its_rated_point() -> None:
    assert drawn(Compressor(CompressorModel(cooling_w=120.0)), -10.0) == pytest.approx(120.0, rel=0.01)


def test_compressor_is_weaker_with_a_colder_evaporator_and_in_a_hotter_room() -> None:
    machine = Compressor(CompressorModel())
    assert drawn(machine, -25.0) < drawn(machine, -10.0)
    assert drawn(machine, -10.0, room_c=40.0) < drawn(machine, -10.0)


def test_compressor_comes_up_slowly() -> None:
    machine = Compressor(CompressorModel(cooling_w=120.0, pull_down_s=80.0))
    assert machine.step(1.0, 5.0, -10.0, 25.0, 10.0, 1.0) < 20.0


def test_lost_refrigerant_takes_power_and_draws_nothing() -> None:
    machine = Compressor(CompressorModel())
    assert drawn(machine, -10.0, charge=0.0) == 0.0
    assert machine.power_w > 40.0


def test_own_thermostat_stops_the_machine_and_lets_it_start_again_warmer() -> None:
    machine = Compressor(CompressorModel(own_coldest_c=2.0))
    ran = []
    for air_c in (5.0, 1.9, 3.0, 4.1):
        machine.step(1.0, air_c, -10.0, 20.0, 10.0, 1.0)
        ran.append(machine.running)
    assert ran == [True, False, False, True]


def test_heater_gives_in_the_end_what_it_took() -> None:
    heater = Heater(60.0, 180.0)
    given = sum(heater.step(1.0, 10.0) * 10.0 for _ in range(30))
    given += sum(heater.step(0.0, 10.0) * 10.0 for _ in range(300))
    assert given == pytest.approx(60.0 * 300.0, rel=1e-3)


def test_gravity_falls_to_what_attenuation_leaves() -> None:
    beer = BeerModel(original_extract_p=12.0, attenuation=0.75)
    assert Fermentation(beer, 20.0).gravity() == pytest.approx(1.0484, abs=3e-4)
    assert Fermentation(BeerModel(fermented=1.0, attenuation=0.75), 20.0).gravity() == pytest.approx(1.0117, abs=3e-4)


def test_beer_freezes_lower_than_wort() -> None:
    wort, beer = Fermentation(BeerModel(), 20.0), Fermentation(BeerModel(fermented=1.0), 20.0)
    assert beer.freezes_at_c() < wort.freezes_at_c() - 1.0
    assert -3.0 < beer.freezes_at_c() < -1.5


def test_finished_beer_sets_no_heat_free() -> None:
    assert Fermentation(BeerModel(fermented=1.0), 20.0).step(18.0, 10.0) == 0.0


def test_all_the_heat_of_a_fermentation_is_that_of_the_extract_that_went() -> None:
    """Two models, one balance: the simulated yeast against the arithmetic's, between the same two gravities."""
    beer = BeerModel(original_extract_p=12.0, attenuation=0.75)
    wort = Wort(20.0, 1.0484, 1.0117)
    yeast = Fermentation(beer, wort.mass_kg)
    freed_j = sum(yeast.step(18.0, 60.0) * 60.0 for _ in range(20 * 1440))
    assert freed_j == pytest.approx(wort.mass_kg * wort.fermentable * HEAT_J_KG, rel=0.03)


def test_core_and_outer_layer_come_together() -> None:
    beer = Contents(BeerModel(fermented=1.0))
    beer.outer_c = 10.0
    before = beer.mean_c
    for _ in range(2000):
        beer.step(0.0, 10.0)
    assert beer.core_c == pytest.approx(beer.outer_c, abs=0.01)
    assert beer.mean_c == pytest.approx(before, abs=1e-6)


def test_ice_keeps_the_outer_layer_near_its_freezing_point() -> None:
    beer = Contents(BeerModel(fermented=1.0, start_c=0.0))
    for _ in range(2000):
        beer.step(-60.0, 10.0)
    assert 0.0 < beer.frozen < 0.4
    assert beer.fermentation.freezes_at_c() / 0.6 < beer.outer_c <= beer.fermentation.freezes_at_c() + 0.05


def test_state_is_dumped_and_loaded_whole() -> None:
    beer, twin = Contents(BeerModel()), Contents(BeerModel())
    for _ in range(100):
        beer.step(-20.0, 10.0)
    load(twin, dump(beer))
    assert dump(twin) == dump(beer)
    assert "core_c" in state_names(beer)


def test_faults_are_told_apart_by_all_their_parts() -> None:
    assert Fault(FaultKind.PROBE_DEAD, "ale", "beer") != Fault(FaultKind.PROBE_DEAD, "ale", "air")


def test_room_before_the_first_hour_is_the_first_hours() -> None:
    assert constant(12.5).at(0.0) == 12.5
