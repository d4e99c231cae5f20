"""A heater that goes on though told off, behind a relay that reports nothing, while cooling keeps up with it."""

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from services.simulator.faults import FaultKind
from services.simulator.models import BeerModel, CompressorModel, FridgeModel
from services.simulator.physics import Plant as SimulatedPlant
from services.simulator.weather import garage
from services.supervisor.controllers import controller_for
from services.supervisor.facts import Facts
from services.supervisor.interlocks import INTERLOCKS
from services.supervisor.trips import Interlock, Trip, next_trip
from tests.supervisor.bench import FRIDGE, Bench, plant_of

NOON = datetime(2026, 5, 1, 12, tzinfo=UTC)
DONE = BeerModel(start_c=18.0, fermented=1.0)
STRONG_BEER = BeerModel(start_c=14.0, original_extract_p=18.0, rate_per_h=0.10)


def heated_once(model: FridgeModel, room_c: float, from_c: float = 18.0, to_c: float = 20.0) -> Bench:
    """Four hours after more warmth was asked for; the heater has done its work."""
    bench = Bench(plant_of(ale=FRIDGE), {"ale": model}, room_c=room_c, controllers=controller_for)
    bench.ask("ale", from_c)
    bench.run(hours=6)
    bench.ask("ale", to_c)
    bench.run(hours=4)
    return bench


def told_within(bench: Bench, hours: int) -> bool:
    """Whether a person was told of a welded relay at any time."""
    for _ in range(hours * 4):
        bench.run(minutes=15)
        if "relay-welded" in bench.standing():
            return True
    return False


@pytest.mark.parametrize(("cooling_w", "room_c"), [(120.0, 18.0), (120.0, 10.0), (270.0, 22.0)])
def test_welded_heater_is_told_though_cooling_keeps_up(cooling_w: float, room_c: float) -> None:
    bench = heated_once(FridgeModel(beer=DONE, compressor=CompressorModel(cooling_w=cooling_w)), room_c)
    bench.fault(FaultKind.WELDED_ON, target="heat")
    assert told_within(bench, 10)
    assert bench.sim.truth("ale").beer_c == pytest.approx(20.0, abs=0.8)


def test_it_stays_told_until_the_air_has_come_down_by_itself() -> None:
    bench = heated_once(FridgeModel(beer=DONE), 18.0)
    bench.fault(FaultKind.WELDED_ON, target="heat")
    assert told_within(bench, 10)
    bench.run(hours=12)
    assert "relay-welded" in bench.standing()
    bench.sim.clear(next(iter(bench.sim.faults)))
    bench.run(hours=8)
    assert bench.standing() == set()


@pytest.mark.parametrize(
    ("beer", "room_c", "from_c", "to_c"),
    [(DONE, 30.0, 18.0, 21.0), (DONE, 12.0, 18.0, 21.0), (STRONG_BEER, 20.0, 14.0, 18.0)],
    ids=["hot-room", "cold-room", "strong-fermentation"],
)
def test_sound_heater_is_never_blamed(beer: BeerModel, room_c: float, from_c: float, to_c: float) -> None:
    assert not told_within(heated_once(FridgeModel(beer=beer), room_c, from_c, to_c), 24)


@pytest.mark.parametrize("month", [1, 7])
def test_day_and_night_in_a_garage_are_no_heater(month: int) -> None:
    bench = Bench(plant_of(ale=FRIDGE), controllers=controller_for)
    weather = garage(datetime(2026, month, 10, tzinfo=UTC), hours=24 * 6, offset_k=6.0)
    bench.sim = SimulatedPlant({"ale": FridgeModel(beer=DONE)}, weather, seed=1)
    bench.ask("ale", 18.0)
    bench.run(hours=18)
    bench.ask("ale", 20.5)
    assert not told_within(bench, 48)


def row(row_id: str) -> Interlock:
    return next(one for one in INTERLOCKS if one.id == row_id)


@pytest.mark.parametrize(
    ("beer_c", "air_c", "is_off"),
    [(11.0, 11.5, True), (11.0, 15.4, True), (2.0, 9.5, True), (11.0, 19.0, False), (18.0, 28.0, False)],
    ids=["near-the-beer", "warm-room", "cold-beer-in-a-warm-room", "small-heater", "heater"],
)
def test_heater_is_believed_off_where_a_warm_room_explains_the_air(beer_c: float, air_c: float, is_off: bool) -> None:
    proven = row("heating-welded").proven
    assert proven is not None
    facts = Facts(beer_c=beer_c, air_c=air_c, heat_off_s=7200.0, cool_off_s=7200.0)
    assert proven(facts) is is_off
    assert not proven(replace(facts, cool_off_s=60.0)), "cooling may have done it"


def test_welded_compressor_is_not_taken_back_within_half_an_hour() -> None:
    welded = row("cooling-welded")
    tripped = next_trip(welded, Trip(0.0, None, None, False), True, 60.0, NOON)
    assert tripped.tripped
    assert next_trip(welded, tripped, False, 60.0 + 1799.0, NOON).tripped
    assert not next_trip(welded, tripped, False, 60.0 + 1801.0, NOON).tripped
