"""Every interlock in a rehearsal: the fault is there, and the harm follows when that one interlock is taken away."""

from collections.abc import Callable, Mapping
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from schemas.conditions import ConditionKind
from schemas.requests import LockOut
from schemas.telemetry import Basis
from services.simulator.faults import FaultKind
from services.simulator.models import BeerModel, FridgeModel, JacketedModel, KegeratorModel, ReservoirModel
from services.supervisor.control import Decision, Estimate, Rules, Sight
from services.supervisor.interlocks import BRIDGE, INTERLOCKS, document
from tests.supervisor.bench import (
    BATH,
    CONICAL,
    FRIDGE,
    JACKETED,
    KEGERATOR,
    Bench,
    fridge,
    jacketed,
    kegerator,
    plant_of,
)

Without = tuple[str, ...]
CONTACT = "{measures: contact, from: {simulated: true}}"
FLOAT = BATH.replace("probes: {", f"probes: {{float: {CONTACT}, ")
METERED = CONICAL.replace("probes: {", "probes: {meter: {measures: flow, from: {simulated: true}}, ")
GASSED = KEGERATOR.replace("probes: {", "probes: {room-gas: {measures: co2, from: {simulated: true}}, ").replace(
    "outputs:", "outputs:\n      gas: {drives: valve, to: {simulated: true}}"
)


def always(cool: float = 0.0, heat: float = 0.0) -> Callable[[Rules], Any]:
    """A controller gone mad: it wishes the same for ever."""

    class Mad:
        def __init__(self, rules: Rules) -> None:
            self.rules = rules

        def decide(self, sight: Sight) -> Decision:
            return Decision(cool, heat, cool, cool, "mad", Estimate(sight.beer_c, 0.1, None, 0.0, 0.0))

        def snapshot(self) -> dict[str, Any]:
            return {}

        def restore(self, state: Mapping[str, Any]) -> None:
            self.restored = state

    return Mad


COOLS, HEATS, BOTH = always(cool=1.0), always(heat=1.0), always(cool=1.0, heat=1.0)


def runs(bench: Bench, output: str, chamber: str = "ale") -> list[tuple[float, float]]:
    """Start and end of each run of an output, in seconds."""
    changes = [(at_s, level) for at_s, key, level in bench.changes if key == (chamber, output)]
    ends = [at_s for at_s, level in changes if not level] + [bench.elapsed_s]
    return list(zip([at_s for at_s, level in changes if level], ends, strict=False))


def locked_out(without: Without) -> bool:
    bench = fridge(controllers=HEATS, without=without)
    bench.ask("ale", 25.0)
    bench.request(LockOut, chamber="ale")
    return bench.run(minutes=10).level("heat") == 1.0


def no_trusted_reading(without: Without) -> bool:
    bench = fridge(controllers=HEATS, without=(*without, "far-above-setpoint"))
    bench.supervisor.boards["ale"].fallback = bench.supervisor.boards["ale"].controller
    bench.ask("ale", 25.0)
    bench.fault(FaultKind.PROBE_DEAD, target="beer")
    bench.fault(FaultKind.PROBE_DEAD, target="air")
    return bench.run(hours=30).sim.truth("ale").beer_c > 30.0


def near_freezing(without: Without) -> bool:
    bench = fridge(
        controllers=COOLS,
        without=(*without, "far-below-setpoint"),
        models={"ale": FridgeModel(beer=BeerModel(start_c=1.0, fermented=1.0))},
    )
    bench.ask("ale", -1.4)
    return bench.run(hours=40).sim.truth("ale").frozen > 0.0


def bath_too_cold(without: Without) -> bool:
    bath = ReservoirModel(start_c=-5.0, insulation_w_k=0.5)
    bench = jacketed(controllers=COOLS, without=without, models={**JACKETED, "bath": bath})
    bench.ask("bath", -8.0)
    return bench.run(hours=24).sim.truth("bath").frozen > 0.0


def level_low(output: str, chamber: str) -> Callable[[Without], bool]:
    def harm(without: Without) -> bool:
        plant = plant_of(bath=FLOAT, conical=CONICAL)
        warm = JacketedModel(cooled_by="bath", beer=BeerModel(start_c=25.0))
        bench = Bench(
            plant,
            {**JACKETED, "conical": warm},
            controllers=COOLS,
            without=without,
            extra={("bath", "float"): ("contact", True)},
        )
        bench.ask("bath", 5.0)
        bench.ask("conical", 15.0)
        return bench.run(minutes=30).level(output, chamber) == 1.0

    return harm


def too_warm_to_heat(without: Without) -> bool:
    bench = fridge(controllers=HEATS, without=(*without, "far-above-setpoint"))
    bench.ask("ale", 29.0)
    return bench.run(hours=12).sim.truth("ale").beer_c > 31.0


def air_too_hot(without: Without) -> bool:
    hot = FridgeModel(heater_w=250.0)
    bench = fridge(controllers=HEATS, without=without, models={"ale": hot})
    bench.ask("ale", 18.0)
    bench.run(seconds=30)
    bench.fault(FaultKind.PROBE_STUCK, target="beer")
    air = []
    for _ in range(60):
        bench.run(minutes=10)
        air.append(bench.sim.read()["ale", "air"])
    return max(air) > 50.0


def room_gas(without: Without) -> bool:
    bench = Bench(plant_of(kegs=GASSED), {"kegs": KegeratorModel()}, without=without)
    bench.extra["kegs", "room-gas"] = ("co2", 600.0)
    assert bench.run(minutes=2).level("gas", "kegs") == 1.0
    bench.extra["kegs", "room-gas"] = ("co2", 6000.0)
    return bench.run(minutes=2).level("gas", "kegs") == 1.0


def open_door(without: Without) -> bool:
    bench = fridge(controllers=COOLS, without=without)
    bench.ask("ale", 12.0)
    bench.run(minutes=10)
    bench.fault(FaultKind.DOOR_OPEN)
    return bench.run(minutes=10).level("cool") == 1.0


def untold(kind: ConditionKind, prepare: Callable[[Without], Bench], chamber: str = "ale") -> Callable[[Without], bool]:
    """The harm is that nobody is told."""
    return lambda without: kind not in prepare(without).standing(chamber)


def door_left_open(without: Without) -> Bench:
    bench = fridge(without=without)
    bench.ask("ale", 12.0)
    bench.fault(FaultKind.DOOR_OPEN)
    return bench.run(minutes=30)


def useless_bath(without: Without) -> bool:
    bench = jacketed(controllers=COOLS, without=without)
    bench.ask("conical", 17.0)
    bench.hold({("conical", "beer"): 18.0, ("bath", "bath"): 25.0}, minutes=8)
    return bench.level("pump", "conical") == 1.0


def far_above(without: Without) -> bool:
    bench = fridge(controllers=HEATS, without=without)
    bench.ask("ale", 18.0)
    return bench.run(hours=20).sim.truth("ale").beer_c > 22.0


def far_below(without: Without) -> bool:
    bench = fridge(controllers=COOLS, without=without)
    bench.ask("ale", 18.0)
    return bench.run(hours=20).sim.truth("ale").beer_c < 14.0


def beer_probe_lost(without: Without) -> Bench:
    bench = fridge(without=without)
    bench.ask("ale", 18.0)
    bench.fault(FaultKind.PROBE_DEAD, target="beer")
    return bench.run(minutes=3)


def unshown(row_id: str, values: Any, asked_c: float) -> Callable[[Without], bool]:
    """The harm is that a person who looks does not see why."""

    def harm(without: Without) -> bool:
        bench = fridge(without=without)
        bench.ask("ale", asked_c)
        bench.run(minutes=2).hold(values, seconds=20)
        return row_id not in bench.ids()

    return harm


def dry_pump(without: Without) -> bool:
    bench = Bench(plant_of(bath=BATH, conical=METERED), JACKETED, controllers=COOLS, without=without)
    bench.extra["conical", "meter"] = ("flow", 0.0)
    bench.ask("conical", 15.0)
    bench.hold({("conical", "beer"): 20.0, ("bath", "bath"): 2.0}, minutes=60)
    return sum(end - start for start, end in runs(bench, "pump", "conical")) > 1800.0


def no_cooling(without: Without) -> bool:
    bench = fridge(without=without, room_c=24.0)
    bench.ask("ale", 12.0)
    bench.fault(FaultKind.NO_COOLING, target="cool")
    bench.run(hours=6)
    return sum(end - start for start, end in runs(bench, "cool")) > 4 * 3600.0


def no_chilling(without: Without) -> bool:
    bench = jacketed(without=without, room_c=30.0, models={**JACKETED, "bath": ReservoirModel(insulation_w_k=3.0)})
    bench.ask("bath", 4.0)
    bench.fault(FaultKind.NO_COOLING, "bath", "chill")
    bench.run(hours=10)
    return sum(end - start for start, end in runs(bench, "chill", "bath")) > 8 * 3600.0


def no_effect(without: Without) -> Bench:
    bench = jacketed(without=without)
    bench.ask("conical", 10.0)
    bench.fault(FaultKind.NO_FLOW, "conical", "pump")
    return bench.run(hours=5)


def dead_heater(without: Without) -> Bench:
    bench = fridge(without=without, room_c=10.0)
    bench.ask("ale", 22.0)
    bench.fault(FaultKind.HEATER_DEAD, target="heat")
    return bench.run(hours=4)


def stuck_on(kind: str, heater_w: float, too_far: Callable[[float], bool]) -> Callable[[Without], bool]:
    """A relay that is welded, and a device that says so."""

    def harm(without: Without) -> bool:
        bench = fridge(without=without, room_c=18.0, models={"ale": FridgeModel(heater_w=heater_w)})
        bench.ask("ale", 18.0)
        bench.fault(FaultKind.WELDED_ON, target=kind)
        for _ in range(360 * 10):
            bench.run(seconds=10)
            bench.send(bench.report(("ale", kind), 1.0, Basis.MEASURED))
        return too_far(bench.sim.truth("ale").beer_c)

    return harm


def never_warms(without: Without) -> Bench:
    bench = fridge(without=without, room_c=10.0, controllers=always())
    bench.ask("ale", 22.0)
    return bench.run(hours=3)


def never_cools(without: Without) -> Bench:
    bench = fridge(without=without, controllers=always())
    bench.ask("ale", 12.0)
    return bench.run(hours=3)


def bath_never_cools(without: Without) -> Bench:
    bench = jacketed(without=without)
    bench.ask("conical", 4.0)
    bench.fault(FaultKind.NO_COOLING, "bath", "chill")
    return bench.run(hours=3)


def bath_falls_on(without: Without) -> Bench:
    """Far below where the chiller was stopped."""
    bench = jacketed(without=without)
    bench.ask("bath", 5.0)
    return bench.hold({("bath", "bath"): -20.0}, minutes=5)


def flapping(hold_off: bool, minutes: tuple[float, float], without: Without) -> Bench:
    """A reading that goes up and down across the setpoint, the compressor following it."""
    bench = fridge(without=(*without, "not-cooling"))
    bench.ask("ale", 18.0)
    high, low = ({("ale", "beer"): c, ("ale", "air"): c, ("ale", "door"): 0.0} for c in (19.0, 17.9))
    bench.hold(low if hold_off else high, minutes=8)
    for _ in range(12):
        bench.hold(high, minutes=minutes[0]).hold(low, minutes=minutes[1])
    return bench


def gaps(bench: Bench) -> list[float]:
    """How long the compressor was off between runs."""
    ran = runs(bench, "cool")
    return [after[0] - before[1] for before, after in zip(ran, ran[1:], strict=False)]


def short_rest(without: Without) -> bool:
    return min(gaps(flapping(False, (4.0, 1.0), without))) < 300.0


def early_start(without: Without) -> bool:
    bench = kegerator("hold: 4 degC", controllers=COOLS, without=without)
    return bench.run(minutes=3).level("cool", "kegs") == 1.0


def short_run(without: Without) -> bool:
    return min(end - start for start, end in runs(flapping(True, (1.0, 6.0), without), "cool")) < 180.0


def many_starts(without: Without) -> bool:
    starts = [start for start, _ in runs(flapping(True, (3.0, 5.5), without), "cool")]
    return max(sum(1 for other in starts if 0.0 <= other - start < 3600.0) for start in starts) > 6


def fight(without: Without) -> bool:
    bench = fridge(controllers=BOTH, without=(*without, "change-over-wait"))
    bench.ask("ale", 18.0)
    bench.run(minutes=20)
    return bench.level("cool") == bench.level("heat") == 1.0


def hasty_change(without: Without) -> bool:
    bench = fridge(without=without)
    bench.ask("ale", 18.0)
    warm, cold = ({("ale", "beer"): c, ("ale", "air"): c, ("ale", "door"): 0.0} for c in (19.0, 17.0))
    bench.hold(warm, minutes=10).hold(cold, minutes=3)
    return bench.level("heat") == 1.0


TWO: Mapping[str, Any] = {"ale": FridgeModel(), "lager": FridgeModel()}


def overload(without: Without) -> bool:
    bench = Bench(
        plant_of(limit="0.5 A", ale=FRIDGE.replace(", inrush: 4", ""), lager=FRIDGE.replace(", inrush: 4", "")),
        TWO,
        controllers=COOLS,
        without=without,
    )
    bench.ask("ale", 12.0)
    bench.ask("lager", 12.0)
    bench.run(minutes=20)
    return bench.level("cool", "ale") == bench.level("cool", "lager") == 1.0


def together(without: Without) -> bool:
    bench = Bench(plant_of(ale=FRIDGE, lager=FRIDGE), TWO, controllers=COOLS, without=without)
    bench.ask("ale", 12.0)
    bench.ask("lager", 12.0)
    bench.run(minutes=20)
    return runs(bench, "cool", "ale")[0][0] == runs(bench, "cool", "lager")[0][0]


def heated_while_rising(without: Without) -> bool:
    bench = fridge(controllers=HEATS, without=without)
    bench.ask("ale", 21.0, may_heat=False)
    bench.hold({("ale", "beer"): 18.0, ("ale", "air"): 18.0}, minutes=20)
    return bench.level("heat") == 1.0


HARMS: dict[str, Callable[[Without], bool]] = {
    "locked-out": locked_out,
    "no-trusted-reading": no_trusted_reading,
    "beer-near-freezing": near_freezing,
    "reservoir-too-cold": bath_too_cold,
    "reservoir-low": level_low("chill", "bath"),
    "source-low": level_low("pump", "conical"),
    "beer-too-warm-for-heat": too_warm_to_heat,
    "air-too-hot": air_too_hot,
    "room-co2-high": room_gas,
    "door-pause": open_door,
    "door-left-open": untold(ConditionKind.DOOR_OPEN, door_left_open),
    "bath-not-colder": useless_bath,
    "left-to-rise": heated_while_rising,
    "far-above-setpoint": far_above,
    "far-below-setpoint": far_below,
    "beer-probe-lost": untold(ConditionKind.NO_TRUSTED_PROBE, beer_probe_lost),
    "implausible-reading": unshown("implausible-reading", {("ale", "beer"): None}, 18.0),
    "setpoint-cut": unshown("setpoint-cut", {}, -5.0),
    "no-flow": dry_pump,
    "not-cooling": no_cooling,
    "bath-not-cooling": no_chilling,
    "pump-without-effect": untold(ConditionKind.PUMP_WITHOUT_FLOW, no_effect, "conical"),
    "not-heating": untold(ConditionKind.NOT_HEATING, dead_heater),
    "cooling-welded": stuck_on("cool", 300.0, lambda beer_c: beer_c < 16.0),
    "heating-welded": stuck_on("heat", 120.0, lambda beer_c: beer_c > 21.0),
    "stays-too-warm": untold(ConditionKind.BEER_TOO_WARM, never_cools),
    "stays-too-cold": untold(ConditionKind.BEER_TOO_COLD, never_warms),
    "bath-still-colder": untold(ConditionKind.RESERVOIR_TOO_COLD, bath_falls_on, "bath"),
    "bath-too-warm": untold(ConditionKind.RESERVOIR_TOO_WARM, bath_never_cools, "bath"),
    "compressor-rest": short_rest,
    "power-up-rest": early_start,
    "compressor-run": short_run,
    "compressor-starts": many_starts,
    "heat-cool-exclusion": fight,
    "change-over-wait": hasty_change,
    "circuit-limit": overload,
    "start-stagger": together,
}


@pytest.mark.parametrize("row_id", HARMS)
def test_the_harm_follows_without_the_interlock_and_not_with_it(row_id: str) -> None:
    assert HARMS[row_id]((row_id,))
    assert not HARMS[row_id](())


def test_every_interlock_of_ours_is_rehearsed() -> None:
    assert set(HARMS) == {row.id for row in INTERLOCKS if row.judge != BRIDGE}


def test_the_page_on_interlocks_is_what_the_table_says() -> None:
    page = Path(__file__).parents[2] / "docs" / "interlocks.md"
    assert page.read_text(encoding="utf-8") == document()


def test_ids_are_unique_and_every_row_speaks_to_people() -> None:
    assert len({row.id for row in INTERLOCKS}) == len(INTERLOCKS)
    assert all(row.reason and row.cause.endswith(".") and row.effect.endswith(".") for row in INTERLOCKS)


def test_a_door_that_stays_open_does_not_cost_the_beer() -> None:
    bench = fridge()
    bench.ask("ale", 12.0)
    bench.run(minutes=10)
    bench.fault(FaultKind.DOOR_OPEN)
    assert bench.run(minutes=14).level("cool") == 0.0
    assert bench.run(minutes=10).level("cool") == 1.0


def test_hot_air_keeps_the_heater_off_after_it_has_cooled() -> None:
    bench = fridge()
    bench.ask("ale", 20.0)
    bench.hold({("ale", "beer"): 15.0, ("ale", "air"): 46.0}, seconds=30)
    bench.hold({("ale", "beer"): 15.0, ("ale", "air"): 15.0}, hours=1)
    assert bench.level("heat") == 0.0
    assert bench.standing() == {"air-too-hot", "beer-too-cold"}


def test_a_condition_says_by_how_much_its_limit_is_passed() -> None:
    bench = fridge(controllers=COOLS)
    bench.ask("ale", 0.0)
    bench.hold({("ale", "beer"): -1.9, ("ale", "air"): -5.0}, seconds=60)
    told = bench.conditions["ale", "beer-near-freezing"]
    assert (told.value, told.limit, told.unit) == (-1.9, pytest.approx(-1.7), "degC")


def test_freezing_outranks_the_minimum_run() -> None:
    bench = fridge(controllers=COOLS)
    bench.ask("ale", 0.0)
    bench.hold({("ale", "beer"): 1.0, ("ale", "air"): 1.0}, minutes=8)
    assert bench.level("cool") == 1.0
    start_s = runs(bench, "cool")[-1][0]
    bench.hold({("ale", "beer"): -1.9, ("ale", "air"): -5.0}, seconds=10)
    assert bench.level("cool") == 0.0
    assert bench.elapsed_s - start_s > 0.0


def test_an_interlock_that_a_person_does_not_reset_ends_by_itself() -> None:
    bench = fridge(controllers=COOLS)
    bench.ask("ale", 0.0)
    bench.hold({("ale", "beer"): -1.9, ("ale", "air"): -5.0}, minutes=1)
    bench.hold({("ale", "beer"): 0.5, ("ale", "air"): 0.5}, minutes=10)
    assert bench.standing() == set()
    assert bench.level("cool") == 1.0


def test_a_lock_out_that_has_ended_by_time_is_gone_from_the_status() -> None:
    bench = fridge()
    bench.request(LockOut, chamber="ale", until=bench.now + timedelta(minutes=5))
    bench.run(minutes=10)
    assert bench.ids() == set()
