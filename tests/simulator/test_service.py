"""The simulated plant as a service: relays in, raw probe payloads out, as devices would."""

from datetime import UTC, datetime, timedelta
from itertools import islice
from pathlib import Path
from random import Random

import pytest

from schemas.base import ServiceName
from schemas.batches import BatchPhase, BatchState, PlannedStep
from schemas.plant import Plant
from schemas.plant_file import inspect, load, loads
from services.runtime.service import Incoming
from services.simulator.core import Simulator, SimulatorState, TimedFault
from services.simulator.doors import openings
from services.simulator.faults import Fault, FaultKind
from services.simulator.weather import constant

START = datetime(2026, 6, 1, 12, tzinfo=UTC)
BARN = Path("services/simulator/barn.yaml")
PROBES = 13


def barn() -> Plant:
    return load(BARN)


class Bench:
    """A started simulator in a room of 20 degC, and everything its devices said."""

    def __init__(self, plant: Plant | None = None, restored: SimulatorState | None = None, **more: object) -> None:
        self.now = restored.at if restored else START
        self.simulator = Simulator(plant or barn(), restored, weather=lambda start: constant(20.0), **more)  # type: ignore[arg-type]
        assert list(self.simulator.start(self.now)) == []
        self.said: list[tuple[str, bytes]] = []

    def live(self, seconds: float, tick_s: float = 10) -> dict[str, float]:
        """The last value that each probe said meanwhile."""
        begin = len(self.said)
        for _ in range(round(seconds / tick_s)):
            self.now += timedelta(seconds=tick_s)
            self.said += [(one.topic, one.body) for one in self.simulator.tick(self.now)]
        return {topic: float(body) for topic, body in self.said[begin:]}

    def count(self, probe: str) -> int:
        """How often a probe has spoken."""
        return sum(topic == f"simulated/barn/{probe}" for topic, _ in self.said)

    def switch(self, chamber: str, output: str, payload: bytes = b"1") -> None:
        self.hear(f"simulated/barn/{chamber}/{output}/set", payload)

    def hear(self, topic: str, body: object) -> None:
        assert list(self.simulator.receive(Incoming(topic, body), self.now)) == []  # type: ignore[arg-type]

    def pitch(self, chamber: str = "ale-fridge", batch: str = "b1", **more: object) -> None:
        state = BatchState(
            at=self.now, source=ServiceName.SCHEDULER, batch=batch, title=batch, chamber=chamber, profile="ale",
            started=more.pop("started", self.now), step=0, steps=(STEP,), phase=more.pop("phase", BatchPhase.RUNNING),
            **more,
        )  # fmt: skip
        self.hear(f"coldside/barn/batch/{batch}", state)

    def truth(self, chamber: str = "ale-fridge"):
        return self.simulator.physics.truth(chamber)


STEP = PlannedStep(name="primary", does="hold", from_c=19, to_c=19, begins=None, ends=None)


def test_barn_is_a_plant_file_without_fault_or_warning():
    plant, warnings = inspect(BARN)
    assert (len(plant.chambers), warnings) == (5, ())


def test_every_probe_of_the_barn_speaks():
    assert len(Bench().live(10)) == PROBES


def test_probes_speak_at_their_own_pace():
    bench = Bench()
    bench.live(3600)
    assert (bench.count("ale-fridge/beer"), bench.count("conical/gravity")) == (360, 1 + 4)


@pytest.mark.parametrize("tick_s", [1, 10, 60])
def test_pace_does_not_depend_on_ticks(tick_s):
    bench = Bench()
    bench.live(1800, tick_s)
    assert bench.count("ale-fridge/beer") - 1800 / max(10, tick_s) in (0, 1)


def test_payload_is_a_bare_number_and_nothing_is_retained():
    simulator = Bench().simulator
    (first, *_) = simulator.tick(START + timedelta(seconds=10))
    assert (float(first.body), first.retain, first.qos) == (float(first.body), False, 0)


def test_relay_drives_its_machine():
    bench = Bench()
    bench.switch("ale-fridge", "cool")
    values = bench.live(1800)
    assert values["simulated/barn/ale-fridge/air"] < values["simulated/barn/lager-fridge/air"] - 3


def test_relay_that_is_told_zero_stops():
    bench = Bench()
    bench.switch("bath", "chill")
    bench.live(600)
    bench.switch("bath", "chill", b"0")
    bench.live(60)
    assert bench.truth("bath").power_w == 0


@pytest.mark.parametrize("payload", [b"on", b"", b"2", b"-1", b"nan", b"\xff"])
def test_payload_that_no_relay_knows_changes_nothing(payload):
    bench = Bench()
    bench.switch("ale-fridge", "heat", payload)
    bench.live(60)
    assert (bench.truth().power_w, bench.simulator.counts["relay_payload"]) == (0, 1)


def test_unknown_relay_is_counted():
    bench = Bench()
    bench.switch("ale-fridge", "boil")
    assert bench.simulator.counts["relay_payload"] == 1


def test_reservoir_cools_the_jacketed_vessel():
    bench = Bench()
    for chamber, output in (("bath", "chill"), ("conical", "pump")):
        bench.switch(chamber, output)
    bench.live(6 * 3600)
    assert bench.truth("conical").beer_c < 15


class TestBatch:
    """Which beer is where comes from the batches that are running."""

    def test_started_batch_ferments_and_warms(self):
        bench = Bench()
        bench.pitch(original_gravity_sg=1.060)
        bench.live(3 * 86400, tick_s=60)
        assert bench.truth().gravity < 1.05
        assert bench.truth().beer_c > 20.5

    def test_beer_begins_at_its_step_and_gravity(self):
        bench = Bench()
        bench.pitch(original_gravity_sg=1.060)
        assert bench.truth().beer_c == pytest.approx(19)
        assert bench.truth().gravity == pytest.approx(1.060, abs=1e-6)

    def test_repeated_state_does_not_fill_the_vessel_again(self):
        bench = Bench()
        bench.pitch(original_gravity_sg=1.060)
        bench.live(2 * 86400, tick_s=60)
        before = bench.truth().gravity
        bench.pitch(original_gravity_sg=1.060)
        assert bench.truth().gravity == before

    def test_batch_met_half_way_is_as_far_as_its_gravity_says(self):
        bench = Bench()
        bench.pitch(original_gravity_sg=1.060, gravity_sg=1.030)
        assert bench.truth().gravity == pytest.approx(1.030, abs=1e-4)

    def test_batch_met_late_is_as_far_as_one_of_its_age(self):
        bench, other = Bench(), Bench()
        bench.pitch(original_gravity_sg=1.060, started=START - timedelta(days=3))
        other.pitch(original_gravity_sg=1.060)
        other.live(3 * 86400, tick_s=60)
        assert bench.truth().gravity == pytest.approx(other.truth().gravity, abs=0.015)

    @pytest.mark.parametrize("phase", [BatchPhase.IDLE, BatchPhase.COMPLETE, BatchPhase.STOPPED])
    def test_batch_that_does_not_run_fills_nothing(self, phase):
        bench = Bench()
        bench.pitch(original_gravity_sg=1.060, phase=phase)
        assert bench.truth().gravity < 1.02

    @pytest.mark.parametrize("chamber", ["bath", "nowhere"])
    def test_batch_in_no_vessel_is_passed_over(self, chamber):
        bench = Bench()
        bench.pitch(chamber)
        bench.live(10)


class TestDoor:
    """People open doors, by a schedule drawn from the seed."""

    def opened(self, seed: int) -> list[bytes]:
        bench = Bench(seed=seed)
        bench.live(86400)
        return [body for topic, body in bench.said if topic.endswith("keg-fridge/door")]

    def drawn(self, kind: str, count: int) -> list[tuple[datetime, datetime]]:
        return list(islice(openings(Random(3), kind, START, barn().zone), count))

    def test_door_of_the_keg_fridge_is_open_for_a_few_minutes_a_day(self):
        assert 2 <= self.opened(1).count(b"1") <= 90

    def test_same_seed_opens_it_at_the_same_times(self):
        assert self.opened(1) == self.opened(1) != self.opened(2)

    def test_nobody_comes_at_night(self):
        zone = barn().zone
        assert {begins.astimezone(zone).hour for begins, _ in self.drawn("kegerator", 500)} == set(range(8, 23))

    def test_beer_is_fetched_several_times_a_day(self):
        """Six, give or take what chance does to a hundred of them."""
        days = (self.drawn("kegerator", 100)[-1][0] - START).days
        assert 100 / 9 <= days <= 100 / 4

    @pytest.mark.parametrize("kind", ["jacketed", "reservoir"])
    def test_chamber_without_a_door_has_no_openings(self, kind):
        assert self.drawn(kind, 1) == []

    def test_door_open_at_a_restart_is_closed_after_it(self):
        bench = Bench()
        bench.simulator.inject(Fault(FaultKind.DOOR_OPEN, "keg-fridge"))
        again = Bench(restored=bench.simulator.snapshot())
        assert again.live(10)["simulated/barn/keg-fridge/door"] == 0

    def test_who_fetches_a_beer_does_not_shut_a_door_that_was_left_open(self):
        left_open = TimedFault(Fault(FaultKind.DOOR_OPEN, "keg-fridge"), START, START + timedelta(days=2))
        bench = Bench(faults=[left_open])
        bench.live(2 * 86400 - 60, 60)
        bodies = [float(body) for topic, body in bench.said if topic.endswith("keg-fridge/door")]
        assert set(bodies[1:]) == {1.0}
        assert bench.live(120)["simulated/barn/keg-fridge/door"] == 0.0


class TestFaults:
    """What goes wrong can be planned, or injected at any moment."""

    def test_planned_fault_begins_and_ends(self):
        welded = Fault(FaultKind.WELDED_ON, "ale-fridge", "heat")
        times = (START + timedelta(minutes=10), START + timedelta(minutes=20))
        bench = Bench(faults=[TimedFault(welded, *times)])
        powers = [(bench.live(300), bench.truth().power_w > 0)[1] for _ in range(5)]
        assert powers == [False, True, True, False, False]

    def test_dead_probe_says_nothing(self):
        bench = Bench()
        bench.simulator.inject(Fault(FaultKind.PROBE_DEAD, "ale-fridge", "beer"))
        assert len(bench.live(10)) == PROBES - 1

    def test_mended_probe_speaks_again(self):
        bench = Bench()
        fault = Fault(FaultKind.PROBE_DEAD, "ale-fridge", "beer")
        bench.simulator.inject(fault)
        bench.simulator.clear(fault)
        assert len(bench.live(10)) == PROBES

    def test_planned_fault_that_stood_at_a_restart_still_ends(self):
        planned = TimedFault(Fault(FaultKind.PROBE_DEAD, "bath", "bath"), START, START + timedelta(minutes=5))
        bench = Bench(faults=[planned])
        bench.live(60)
        again = Bench(restored=bench.simulator.snapshot(), faults=[planned])
        again.live(300)
        assert "simulated/barn/bath/bath" in dict(again.said)


class TestTime:
    """Time may stand still, jump, or go on after a restart."""

    def test_restored_plant_goes_on_exactly(self):
        bench = Bench()
        bench.switch("ale-fridge", "heat")
        bench.live(600)
        again = Bench(restored=SimulatorState.model_validate_json(bench.simulator.snapshot().model_dump_json()))
        assert again.live(600) == bench.live(600)

    def test_time_that_stands_still_says_nothing(self):
        bench = Bench()
        bench.live(10)
        assert list(bench.simulator.tick(bench.now)) == []

    def test_clock_that_is_set_lets_no_time_pass(self):
        bench = Bench()
        bench.live(60)
        bench.now += timedelta(hours=5)
        list(bench.simulator.clock_stepped(timedelta(hours=5), bench.now))
        bench.live(10)
        assert bench.simulator.physics.elapsed_s == 70

    def test_weeks_away_are_made_up_for_by_a_day_at_most(self):
        bench = Bench()
        bench.live(40 * 86400, tick_s=40 * 86400)
        assert bench.simulator.physics.elapsed_s == 86400


def test_changed_plant_keeps_the_state_of_unchanged_chambers():
    bench = Bench()
    bench.switch("ale-fridge", "heat")
    bench.live(7200)
    before = bench.truth().beer_c
    plant = barn()
    chambers = {name: chamber for name, chamber in plant.chambers.items() if name != "keg-fridge"}
    list(bench.simulator.plant_changed(plant.model_copy(update={"chambers": chambers}), bench.now))
    assert bench.truth().beer_c == before
    assert len(bench.live(10)) > 0


def test_probe_without_a_model_says_something_steady():
    plant = loads("""
site: {name: barn}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {simulated: true}}
      room: {measures: co2, from: {simulated: true}}
""")
    assert Bench(plant).live(100)["simulated/barn/ale/room"] == 450


def test_probe_of_a_real_device_is_left_to_it():
    plant = loads("""
site: {name: barn}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {mqtt: node/beer}}
      air: {measures: temperature, from: {simulated: true}}
""")
    assert list(Bench(plant).live(100)) == ["simulated/barn/ale/air"]


def test_simulator_asked_before_its_start_says_so():
    with pytest.raises(RuntimeError, match="not been started"):
        Simulator(barn()).snapshot()
