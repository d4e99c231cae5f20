"""What the notifier watches itself: pressure, scales, probes out of their wells, beer that heads out of its band."""

from datetime import timedelta
from random import Random

import pytest

from schemas.base import SITE_WIDE
from schemas.contract import topic_for
from schemas.control import ChamberStatus, Estimate, Setpoint
from schemas.plant import Plant
from schemas.requests import Accepted, DeclareTask, EndTask, Refused
from schemas.telemetry import ContactReading, FlowReading, MassReading, PressureReading, TemperatureReading
from schemas.topics import matches
from services.notifier.absence import Absence
from services.notifier.watchers import watchers_for
from services.notifier.watchers.scales import ScaleWatch
from services.notifier.watchers.wandering import greatest_change_k
from services.runtime.service import Incoming
from tests.notifier.bench import NOON, SITE, Bench, site_with

SIMULATED = {"simulated": True}


def probe(measures, **said):
    return {"measures": measures, "from": SIMULATED, "every": "1 min", **said}


KEGS = {
    "kind": "kegerator",
    "contents": {"volume": "20 L"},
    "limits": {"pressure_highest": "1.5 bar"},
    "probes": {
        "beer": probe("temperature"),
        "head": probe("pressure"),
        "keg": probe("mass", weighs={"what": "keg", "empty": "4.5 kg"}),
        "gas": probe("mass", weighs={"what": "cylinder", "empty": "3 kg", "low": "300 g"}),
        "tap": probe("flow"),
        "door": probe("contact"),
    },
}
PLANT = Plant.model_validate({"site": {"name": SITE}, "chambers": {"kegs": KEGS}})


class Room:
    """A watcher's world: readings a minute apart."""

    def __init__(self):
        self.watchers = watchers_for(PLANT)
        self.now = NOON
        self.found = {}

    def read(self, model, probe_name, value, field, quality="good"):
        said = {"at": self.now, "source": "bridge", "chamber": "kegs", "probe": probe_name, "quality": quality}
        self.hear(model.model_validate({**said, field: value}))

    def hear(self, message):
        for watcher in self.watchers:
            watcher.hear(message, self.now)

    def minute(self):
        self.now += timedelta(minutes=1)
        for watcher in self.watchers:
            for one in watcher.judge(self.now):
                self.found[one.name] = one.active
        return self

    def weigh(self, scale, masses, tap=0.0, door=False):
        for mass in masses:
            self.read(FlowReading, "tap", tap, "flow_l_per_min")
            self.read(ContactReading, "door", door, "is_open")
            self.read(MassReading, scale, mass, "mass_kg")
            self.minute()
        return self

    def holds(self, name):
        return self.found.get(name, False)


def test_pressure_over_the_plant_files_limit_is_told_and_its_return_too():
    room = Room()
    for bar, high in ((1.4, False), (1.6, True), (1.48, True), (1.4, False)):
        room.read(PressureReading, "head", bar, "pressure_bar")
        assert room.minute().holds("pressure-high-head") is high


def test_a_pressure_that_is_not_good_tells_nothing():
    room = Room()
    room.read(PressureReading, "head", 9.0, "pressure_bar", quality="bad")
    assert not room.minute().holds("pressure-high-head")


def test_a_keg_is_low_when_four_pints_are_left():
    room = Room().weigh("keg", [6.8] * 12)
    assert not room.holds("keg-low-keg")
    assert room.weigh("keg", [6.4] * 12).holds("keg-low-keg")


def test_a_cylinder_is_low_when_the_plant_file_says():
    assert not Room().weigh("gas", [3.4] * 12).holds("cylinder-low-gas")
    assert Room().weigh("gas", [3.2] * 12).holds("cylinder-low-gas")


def noisy(mass_kg, seed=1, sd=0.004):
    return mass_kg + Random(f"{mass_kg}{seed}").gauss(0, sd)


@pytest.mark.parametrize(("scale", "per_min", "full"), [("keg", 0.01, 20.0), ("gas", 0.003, 6.0)])
def test_what_falls_evenly_though_nobody_pours_is_a_leak_within_an_hour(scale, per_min, full):
    room = Room().weigh(scale, [noisy(full - per_min * minute, sd=0.001) for minute in range(60)])
    assert room.holds(f"leak-{scale}")


@pytest.mark.parametrize(("scale", "per_min", "minutes"), [("keg", 0.08, 9), ("gas", 0.04, 6)])
def test_a_line_that_has_come_off_is_told_within_minutes(scale, per_min, minutes):
    room = Room().weigh(scale, [noisy(6 - per_min * minute, sd=0.001) for minute in range(minutes)])
    assert room.holds(f"leak-{scale}")


def test_a_keg_that_is_purged_or_shaken_with_gas_is_no_leak():
    """20 L take 5 g/L: 100 g in five minutes, ever less of it (common practice, no source)."""
    drawn = [0.0, 0.04, 0.065, 0.08, 0.09, 0.097, 0.1]
    assert not Room().weigh("gas", [6 - kg for kg in drawn] + [5.9] * 40).holds("leak-gas")


def test_a_leak_that_is_stopped_is_told_to_be():
    room = Room().weigh("keg", [20 - 0.02 * minute for minute in range(50)])
    assert not room.weigh("keg", [19.0] * 15).holds("leak-keg")


@pytest.mark.parametrize("signs", [{"tap": 2.0}, {"door": True}])
def test_pouring_is_no_leak(signs):
    room = Room().weigh("keg", [20 - 0.02 * minute for minute in range(60)], **signs)
    assert not room.holds("leak-keg")


@pytest.mark.parametrize("seed", range(5))
def test_a_party_without_a_flow_meter_is_no_leak(seed):
    """Half a litre every few minutes: gulps, and pauses between them."""
    random, mass, masses = Random(seed), 20.0, []
    for _ in range(240):
        mass -= 0.5 if random.random() < 0.12 else 0.0
        masses.append(noisy(mass, seed))
    room = Room()
    for one in masses:
        room.weigh("keg", [one])
        assert not room.holds("leak-keg")


@pytest.mark.parametrize("seed", range(5))
def test_a_scale_that_only_wanders_is_no_leak(seed):
    random, drift = Random(seed), 0.0
    room = Room()
    for _ in range(600):
        drift += random.gauss(0, 0.003)
        room.weigh("keg", [20 + drift])
        assert not room.holds("leak-keg")


def test_a_new_keg_is_no_leak_and_is_not_low():
    room = Room().weigh("keg", [6.0] * 20).weigh("keg", [24.0] * 20)
    assert not room.holds("keg-low-keg")
    assert not room.holds("leak-keg")


def test_a_scale_of_which_nothing_is_said_is_left_alone():
    assert list(ScaleWatch(site_with({}, {})).listens) == []


def beer(room, celsius):
    room.read(TemperatureReading, "beer", celsius, "temperature_c")
    return room.minute()


def test_a_probe_that_hangs_in_the_air_follows_every_run_of_the_compressor_and_is_told():
    room = Room()
    for minute in range(120):
        beer(room, 5.0 + 3.0 * abs((minute % 30) - 15) / 7.5)
    assert room.holds("probe-drifting-beer")


def test_a_fast_crash_of_the_beer_itself_is_no_drift():
    room = Room()
    for minute in range(240):
        beer(room, 20.0 - 0.08 * minute)
    assert not room.holds("probe-drifting-beer")


def test_a_probe_that_was_moved_once_is_no_drift():
    room = Room()
    for minute in range(120):
        beer(room, 18.0 if minute < 60 else 5.0)
    assert not room.holds("probe-drifting-beer")


def test_a_probe_put_back_into_its_well_is_believed_again_after_hours():
    room = Room()
    for minute in range(120):
        beer(room, 5.0 + 3.0 * abs((minute % 30) - 15) / 7.5)
    for _ in range(7 * 60):
        beer(room, 5.0)
    assert not room.holds("probe-drifting-beer")


def test_the_greatest_change_is_what_the_heat_balance_allows():
    """20 L of beer hold 84.6 kJ/K; 12 W/K at 20 K and 40 W of yeast are 280 W, so 1.99 K in ten minutes."""
    assert greatest_change_k(PLANT.chambers["kegs"]) == pytest.approx(280 * 600 / 84600, rel=0.001)


def status(room, beer_c, doing="cooling", setpoint_c=18.0):
    estimate = Estimate(beer_c=beer_c, beer_sd_k=0.05)
    room.hear(ChamberStatus(at=room.now, source="supervisor", chamber="kegs", doing=doing, why="x",
                            setpoint_c=setpoint_c, estimate=estimate))  # fmt: skip
    return room.minute()


def climb(per_h, minutes=120, doing="cooling", start_c=18.05):
    room = Room()
    for minute in range(minutes):
        status(room, start_c + per_h * minute / 60, doing)
    return room


def test_beer_that_warms_while_cooling_gives_all_it_has_is_told_before_it_is_too_warm():
    assert climb(0.15).holds("heading-out")


@pytest.mark.parametrize("case", [{"per_h": 0.02}, {"per_h": 0.15, "doing": "resting"}, {"per_h": -0.2}])
def test_beer_that_does_not_leave_its_band_within_hours_is_not_told(case):
    assert not climb(**case).holds("heading-out")


def test_a_machine_that_only_cycles_is_not_at_full():
    room = Room()
    for minute in range(180):
        status(room, 18.05 + 0.1 * minute / 60, "cooling" if minute % 40 < 20 else "resting")
    assert not room.holds("heading-out")


def test_beer_that_follows_a_setpoint_on_the_move_is_not_told():
    room = Room()
    room.hear(Setpoint(at=room.now, source="scheduler", chamber="kegs", temperature_c=18, rate_k_per_h=-0.5))
    for minute in range(120):
        status(room, 18.1 + 0.15 * minute / 60)
    assert not room.holds("heading-out")


def test_beer_that_cools_while_the_heater_gives_all_it_has_is_told():
    assert climb(-0.15, doing="heating", start_c=17.95).holds("heading-out")


def banded(*temperatures, **band):
    room = Room()
    room.hear(Setpoint(at=NOON, source="scheduler", chamber="kegs", temperature_c=20, step="ferment", **band))
    for celsius in temperatures:
        beer(room, celsius)
    return room


@pytest.mark.parametrize(
    ("temperatures", "holds"), [((23.9,), False), ((24.1,), True), ((24.1, 23.9), True), ((24.1, 23.7), False)]
)
def test_beer_above_what_its_step_allows_is_too_warm_however_near_the_setpoint(temperatures, holds):
    assert banded(*temperatures, alarm_above_c=24).holds("beer-too-warm-step") is holds


def test_beer_below_what_its_step_asks_for_is_too_cold():
    assert banded(17.9, alarm_below_c=18).holds("beer-too-cold-step")
    assert not banded(17.9).holds("beer-too-cold-step")


def test_the_next_step_that_names_no_band_ends_what_was_told():
    room = banded(25.0, alarm_above_c=24)
    room.hear(Setpoint(at=NOON, source="scheduler", chamber="kegs", temperature_c=20, step="rest"))
    assert not beer(room, 25.0).holds("beer-too-warm-step")


def test_every_watcher_hears_only_what_it_listens_to():
    reading = PressureReading(at=NOON, source="bridge", chamber="kegs", probe="head", quality="good", pressure_bar=1.0)
    topic = topic_for(SITE, reading)
    assert any(matches(wanted, topic) for watcher in watchers_for(PLANT) for wanted in watcher.listens)


def test_what_a_watcher_finds_becomes_an_alarm():
    bench = Bench(PLANT)
    reading = PressureReading(at=bench.now, source="bridge", chamber="kegs", probe="head", quality="good",
                              pressure_bar=1.9)  # fmt: skip
    bench.said += bench.notifier.receive(Incoming(topic_for(SITE, reading), reading), bench.now)
    assert bench.after(0.1).after(0.5).raised("pressure-high-head", "kegs") == 1


@pytest.mark.parametrize(
    ("away", "booted", "told"), [(3, None, False), (130, None, True), (130, 60, True), (130, -10, False)]
)
def test_the_power_was_off_when_nobody_was_here_and_the_computer_was_started_meanwhile(away, booted, told):
    started = None if booted is None else NOON + timedelta(minutes=booted)
    words = Absence(NOON, started).returned(NOON + timedelta(minutes=away), 300)
    assert bool(words) is told
    assert "2.2 h" in words or not told


def test_a_power_cut_is_told_after_the_return_and_once():
    bench = Bench().after(1)
    bench.now += timedelta(hours=3)
    assert bench.restart().after(1).raised("power-returned", SITE_WIDE) == 1
    assert bench.restart().after(30).raised("power-returned", SITE_WIDE) == 1


def test_a_door_that_is_open_for_declared_work_is_not_told_until_the_work_is_over():
    bench = Bench()
    asked = {"at": bench.now, "source": "cli", "client": "cli", "who": "Ann", "chamber": "left"}
    work = DeclareTask(id="w1", until=bench.now + timedelta(hours=3), **asked)
    bench.hear(work, "notifier", work.verb).condition("door-open").after(170)
    assert bench.raised("door-open") == 0
    assert bench.after(15).after(5).raised("door-open") == 1


def test_work_that_is_ended_early_has_the_door_told_again():
    bench = Bench()
    asked = {"at": bench.now, "source": "cli", "client": "cli", "who": "Ann", "chamber": "left"}
    work = DeclareTask(id="w1", until=bench.now + timedelta(hours=3), **asked)
    bench.hear(work, "notifier", work.verb).condition("door-open").after(20)
    bench.hear(EndTask(id="w2", **asked), "notifier", "end-task").after(10)
    assert bench.raised("door-open") == 1


@pytest.mark.parametrize(("chamber", "hours"), [("nowhere", 1), ("left", -1), ("left", 30)])
def test_work_needs_a_chamber_and_an_end_within_a_day(chamber, hours):
    bench = Bench()
    work = DeclareTask(at=bench.now, source="cli", id="w1", client="cli", who="Ann", chamber=chamber,
                       until=bench.now + timedelta(hours=hours))  # fmt: skip
    bench.hear(work, "notifier", work.verb)
    assert isinstance(bench.replies[-1], Refused)


def test_declared_work_survives_a_restart():
    bench = Bench()
    work = DeclareTask(at=bench.now, source="cli", id="w1", client="cli", who="Ann", chamber="left",
                       until=bench.now + timedelta(hours=3))  # fmt: skip
    bench.hear(work, "notifier", work.verb)
    assert isinstance(bench.replies[-1], Accepted)
    assert bench.restart().condition("door-open").after(60).raised("door-open") == 0


def test_in_a_chamber_that_is_not_in_use_only_the_critical_is_told():
    bench = Bench(site_with({}, {}, left={"in_use": False}))
    bench.said += bench.notifier.start(bench.now)
    bench.condition("beer-too-warm").condition("relay-welded").after(60)
    assert bench.raised("beer-too-warm") == 0
    assert bench.raised("relay-welded") == 1


def test_the_plant_file_changes_the_catalogue_for_a_chamber_and_for_the_site():
    bench = Bench(site_with({}, {"alarms": {"door-open": {"on_delay": "2 min"}}},
                            left={"alarms": {"door-open": {"on_delay": "20 min", "priority": "low"}}}))  # fmt: skip
    bench.condition("door-open").condition("door-open", chamber="right").after(3)
    assert (bench.raised("door-open"), bench.raised("door-open", "right")) == (0, 1)
    bench.after(18)
    assert bench.of(type(bench.notifier.alarms[0]))[-1].priority == "low"


@pytest.mark.parametrize(("litres", "minutes"), [("5 L", 15), ("20 L", 30), ("100 L", 60)])
def test_what_is_heavy_is_told_later(litres, minutes):
    bench = Bench(site_with({}, {}, left={"contents": {"volume": litres}}))
    bench.condition("beer-too-warm").after(minutes - 1)
    assert bench.raised("beer-too-warm") == 0
    assert bench.after(1).raised("beer-too-warm") == 1
