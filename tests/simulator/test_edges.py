"""Simulated parts at their limits: nothing to do, one thing to do, too much of it."""

from datetime import UTC, datetime, timedelta
from itertools import islice
from random import Random

import pytest

from services.simulator.cabinet import Cabinet, door_w_k
from services.simulator.chamber import Chamber
from services.simulator.contents import Contents
from services.simulator.doors import LEAST_S, MOST_S, WAKING, openings
from services.simulator.faults import FaultKind
from services.simulator.machines import Compressor, Heater
from services.simulator.models import BeerModel, CompressorModel, FridgeModel, ProbeModel
from services.simulator.sensors import Sensor
from services.simulator.weather import Spell, Weather, garage
from services.simulator.yeast_heat import Fermentation

DAY = datetime(2026, 3, 2, tzinfo=UTC)


def doors(kind: str, seed: int = 1) -> list[tuple[datetime, datetime]]:
    return list(islice(openings(Random(seed), kind, DAY, UTC), 200))


def run(machine: Compressor, *levels: float, dt: float = 10.0) -> float:
    heat = 0.0
    for level in levels:
        heat = machine.step(level, 5.0, -10.0, 25.0, dt, 1.0)
    return heat


def test_reservoir_has_no_door_to_open() -> None:
    assert doors("reservoir") == []


def test_nobody_opens_a_door_at_night() -> None:
    assert {opened.hour for opened, _ in doors("kegerator")} <= set(WAKING)


def test_doors_stand_open_between_their_shortest_and_longest_time() -> None:
    assert all(LEAST_S <= (shut - opened).total_seconds() <= MOST_S for opened, shut in doors("fridge"))


def test_door_is_shut_before_it_is_opened_again() -> None:
    found = doors("kegerator")
    assert all(shut < opened for (_, shut), (opened, _) in zip(found, found[1:], strict=False))


def test_doors_are_opened_more_often_where_beer_is_served() -> None:
    assert doors("kegerator")[-1][0] < doors("fridge")[-1][0]


def test_doors_of_one_seed_open_at_the_same_times() -> None:
    assert doors("fridge") == doors("fridge") != doors("fridge", seed=2)


def test_open_door_lets_nothing_in_when_it_is_as_warm_outside() -> None:
    assert door_w_k(FridgeModel(), 18.0, 18.0) == 0.0


def test_open_door_lets_as_much_out_as_in() -> None:
    assert door_w_k(FridgeModel(), 5.0, 25.0) == door_w_k(FridgeModel(), 25.0, 5.0)


def test_wide_open_door_changes_no_more_air_than_the_cabinet_holds() -> None:
    wide = door_w_k(FridgeModel(door_area_m2=5.0), 2.0, 30.0)
    assert wide == door_w_k(FridgeModel(door_area_m2=50.0), 2.0, 30.0)


def test_compressor_that_stands_takes_no_power() -> None:
    machine = Compressor(CompressorModel())
    assert (run(machine, 0.0), machine.power_w, machine.starts) == (0.0, 0.0, 0)


def test_compressor_does_not_run_at_half_level() -> None:
    machine = Compressor(CompressorModel())
    run(machine, 0.5)
    assert not machine.running


def test_compressor_that_goes_on_has_started_once() -> None:
    machine = Compressor(CompressorModel())
    run(machine, *[1.0] * 20)
    assert (machine.starts, machine.short_rests) == (1, 0)


def test_first_start_follows_no_short_rest() -> None:
    machine = Compressor(CompressorModel())
    run(machine, 1.0)
    assert machine.short_rests == 0


def test_rest_of_five_minutes_is_long_enough_and_a_step_less_is_not() -> None:
    rested, hurried = Compressor(CompressorModel()), Compressor(CompressorModel())
    run(rested, 1.0, *[0.0] * 30, 1.0)
    run(hurried, 1.0, *[0.0] * 29, 1.0)
    assert (rested.short_rests, hurried.short_rests) == (0, 1)


def test_compressor_draws_nothing_from_an_evaporator_too_cold_for_it() -> None:
    machine = Compressor(CompressorModel())
    assert machine.step(1.0, 5.0, -60.0, 25.0, 10.0, 1.0) == 0.0


def test_compressor_takes_more_power_in_a_hotter_room() -> None:
    cool, hot = Compressor(CompressorModel()), Compressor(CompressorModel())
    cool.step(1.0, 5.0, -10.0, 20.0, 10.0, 1.0)
    hot.step(1.0, 5.0, -10.0, 40.0, 10.0, 1.0)
    assert hot.power_w > cool.power_w


def test_heater_that_is_off_gives_and_holds_nothing() -> None:
    heater = Heater(60.0, 180.0)
    assert (heater.step(0.0, 10.0), heater.stored_j, heater.power_w) == (0.0, 0.0, 0.0)


def test_heater_holds_what_it_took_and_has_not_given() -> None:
    heater = Heater(60.0, 180.0)
    given = heater.step(1.0, 10.0) * 10.0
    assert heater.stored_j == pytest.approx(600.0 - given)


def test_heater_at_half_level_takes_half_the_power() -> None:
    heater = Heater(60.0, 180.0)
    heater.step(0.5, 10.0)
    assert heater.power_w == 30.0


def test_chamber_without_faults_is_sound() -> None:
    chamber = Chamber({})
    chamber.suffer(frozenset(FaultKind))
    chamber.suffer(frozenset())
    assert (chamber.charge, chamber.heats, chamber.flows, chamber.door_open) == (1.0, 1.0, 1.0, False)


@pytest.mark.parametrize(
    ("kind", "left"),
    [
        (FaultKind.NO_COOLING, (0.0, 1.0, 1.0, False)),
        (FaultKind.HEATER_DEAD, (1.0, 0.0, 1.0, False)),
        (FaultKind.NO_FLOW, (1.0, 1.0, 0.0, False)),
        (FaultKind.DOOR_OPEN, (1.0, 1.0, 1.0, True)),
    ],
)
def test_each_fault_harms_its_own_part_alone(kind: FaultKind, left: tuple[float, float, float, bool]) -> None:
    chamber = Chamber({})
    chamber.suffer(frozenset({kind}))
    assert (chamber.charge, chamber.heats, chamber.flows, chamber.door_open) == left


def test_each_drive_has_a_level_of_its_own() -> None:
    chamber = Chamber({})
    chamber.drive("pump", 0.7)
    assert (chamber.pump_level, chamber.compressor_level, chamber.heater_level, chamber.fan_level) == (0.7, 0, 0, 0)


def test_air_of_a_cabinet_without_a_fan_moves_all_the_time() -> None:
    fanless = Cabinet(FridgeModel(outputs={"cool": "compressor"}), 20.0)
    fanned = Cabinet(FridgeModel(), 20.0)
    for cabinet in (fanless, fanned):
        cabinet.drive("heater", 1.0)
        cabinet.air_c = 10.0
        cabinet.step(20.0, 10.0)
    assert fanless.air_c > fanned.air_c


def test_running_fan_warms_the_ledger_by_what_it_takes() -> None:
    cabinet = Cabinet(FridgeModel(fan_w=3.0), 18.0)
    cabinet.drive("fan", 1.0)
    cabinet.step(18.0, 10.0)
    assert cabinet.used_j == pytest.approx(30.0)


def test_beer_of_one_temperature_stays_as_it_is() -> None:
    beer = Contents(BeerModel(fermented=1.0, start_c=12.0))
    assert beer.step(0.0, 10.0) == 0.0
    assert (beer.core_c, beer.outer_c) == (12.0, 12.0)


def test_heat_into_the_outer_layer_is_heat_held() -> None:
    beer = Contents(BeerModel(fermented=1.0))
    before = beer.stored_j()
    for _ in range(50):
        beer.step(40.0, 10.0)
    assert beer.stored_j() - before == pytest.approx(40.0 * 500.0)


def test_mean_of_the_beer_lies_between_its_shares_by_their_mass() -> None:
    beer = Contents(BeerModel(outer_share=0.25))
    beer.core_c, beer.outer_c = 20.0, 12.0
    assert beer.mean_c == pytest.approx(18.0)


def test_stronger_wort_weighs_more_by_the_litre() -> None:
    assert Contents(BeerModel(original_extract_p=20.0)).mass_kg > Contents(BeerModel(original_extract_p=5.0)).mass_kg


def test_water_does_not_ferment() -> None:
    water = Fermentation(BeerModel(original_extract_p=0.0), 20.0)
    assert (water.step(18.0, 3600.0), water.fermented, water.gravity()) == (0.0, 0.0, 1.0)


def test_fermentation_never_passes_its_end() -> None:
    yeast = Fermentation(BeerModel(), 20.0)
    for _ in range(3000):
        yeast.step(22.0, 3600.0 / 4)
    assert 0.999 < yeast.fermented <= 1.0


def test_wort_of_twelve_plato_has_the_gravity_of_the_tables() -> None:
    """ASBC tables of extract in wort and beer, as widely reprinted (from memory): 12 degP is SG 1.04838 20/20."""
    assert Fermentation(BeerModel(original_extract_p=12.0), 20.0).gravity() == pytest.approx(1.04838, abs=1e-4)


def test_heat_wave_is_felt_within_its_time_alone() -> None:
    wave = Spell(begin_h=24.0, length_h=48.0, extra_k=8.0)
    assert [wave.extra(hour) for hour in (0.0, 24.0, 48.0, 72.0, 96.0)] == [0.0, 0.0, 8.0, 0.0, 0.0]


def test_heat_wave_has_half_its_strength_in_the_middle_of_its_slope() -> None:
    wave = Spell(begin_h=0.0, length_h=48.0, extra_k=8.0)
    assert wave.extra(6.0) == wave.extra(42.0) == 4.0


def test_short_heat_wave_never_gets_to_its_full_strength() -> None:
    wave = Spell(begin_h=0.0, length_h=12.0, extra_k=8.0)
    assert max(wave.extra(hour / 4) for hour in range(60)) == 4.0


def test_cold_snap_takes_away() -> None:
    assert Spell(0.0, 48.0, -5.0).extra(24.0) == -5.0


def test_weather_of_one_hour_never_changes() -> None:
    assert {Weather([7.0]).at(hour * 1800.0) for hour in range(10)} == {7.0}


def test_street_that_never_changes_gives_a_garage_that_is_warmer_by_its_offset() -> None:
    room = garage(DAY, [10.0, 10.0], hours=48, offset_k=4.0)
    assert [room.at(hour * 3600.0) for hour in (0, 1, 47)] == pytest.approx([14.0] * 3)


def test_garage_begins_at_the_hour_of_the_year_it_is_asked_for() -> None:
    hourly = [float(hour) for hour in range(24)]
    room = garage(DAY.replace(month=1, day=1, hour=5), hourly, hours=2, offset_k=0.0, swing=1.0, damping_h=1.0)
    assert room.at(0.0) == pytest.approx(5.0)


def test_sensor_is_there_at_once_when_it_first_touches_something() -> None:
    sensor = Sensor(ProbeModel("beer", lag_s=600.0, noise=0.0), Random(1))
    sensor.follow(18.0, 1.0)
    assert sensor.read() == 18.0


def test_sensor_without_lag_is_always_there() -> None:
    sensor = Sensor(ProbeModel("door", lag_s=0.0, noise=0.0), Random(1))
    for truth in (0.0, 1.0):
        sensor.follow(truth, 1.0)
    assert sensor.read() == 1.0


def test_sensor_has_gone_the_same_way_in_one_step_as_in_many() -> None:
    quick, slow = (Sensor(ProbeModel("air", lag_s=30.0, noise=0.0, resolution=1e-9), Random(1)) for _ in range(2))
    for sensor, steps in ((quick, 1), (slow, 60)):
        sensor.follow(0.0, 1.0)
        for _ in range(steps):
            sensor.follow(10.0, 60.0 / steps)
    assert quick.read() == pytest.approx(slow.read())


def test_sensor_that_touched_nothing_yet_shows_its_offset() -> None:
    assert Sensor(ProbeModel("beer", offset=0.5, noise=0.0), Random(1)).read() == 0.5


def test_openings_go_on_for_weeks() -> None:
    assert doors("fridge")[-1][1] > DAY + timedelta(days=100)
