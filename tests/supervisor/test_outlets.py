"""Small parts of the supervisor: time, gauges, outlets, what is asked, what happened lately, circuits, orders."""

from datetime import timedelta
from math import inf

import pytest

from schemas.control import Setpoint
from schemas.plant import Drive
from schemas.requests import ClearLockOut, LockOut, ResetInterlock, SetTemperature
from schemas.telemetry import Basis, Report
from services.simulator.models import FridgeModel
from services.supervisor import asked, words
from services.supervisor.asked import Asked
from services.supervisor.conditions import Conditions
from services.supervisor.control import Rules, Sight, Want
from services.supervisor.deadband import Deadband
from services.supervisor.gauges import Gauge, highest
from services.supervisor.guards import Verdict
from services.supervisor.history import Effect, Hour
from services.supervisor.outlets import Lease, Outlet, outlets_of
from services.supervisor.roles import Bars, all_of, role_of
from services.supervisor.steady import Steady
from tests.supervisor.bench import (
    BATH,
    CONICAL,
    FRIDGE,
    START,
    Bench,
    fridge,
    jacketed,
    plant_of,
    reading,
    with_lines,
)

SECOND = timedelta(seconds=1)
ALE = plant_of(ale=FRIDGE).chambers["ale"]


def walk(steady: Steady, *gaps_s: float) -> float:
    """Steady seconds after looks at the wall clock that are so far apart."""
    now = START
    for gap_s in gaps_s:
        now += gap_s * SECOND
        steady.reach(now)
    return steady.elapsed_s


def test_steady_time_counts_seconds() -> None:
    assert walk(Steady(START), 1, 1, 0.5, 1) == 3.5


def test_steady_time_ignores_a_jump_of_the_wall_clock() -> None:
    assert walk(Steady(START), 1, 1, 3600, 1, 1) == 4.0


def test_steady_time_never_goes_back() -> None:
    assert walk(Steady(START), 1, 1, -3600, 1) == 3.0


def test_steady_time_gets_used_to_slower_looks() -> None:
    assert walk(Steady(START), 10, 10, 10, 60, 60) == 80.0


def test_a_step_that_is_told_of_does_not_count() -> None:
    steady = Steady(START)
    steady.reach(START + SECOND)
    steady.stepped(timedelta(hours=1))
    assert steady.reach(START + timedelta(hours=1, seconds=2)) == 2.0
    assert not steady.jumped


def gauge() -> Gauge:
    """Of the fridge's beer."""
    return Gauge(ALE.probes["beer"])


def test_a_gauge_has_no_reading_before_the_first() -> None:
    assert gauge().reading(START) is None


@pytest.mark.parametrize(("age_s", "value"), [(60, 18.0), (61, None), (-5, 18.0), (-6, None)])
def test_a_reading_counts_while_it_is_fresh_and_not_from_the_future(age_s: int, value: float | None) -> None:
    found = gauge()
    found.take(reading("ale", "beer", 18.0, START), START)
    assert found.reading(START + age_s * SECOND) == value


def test_a_reading_that_comes_late_does_not_replace_a_newer_one() -> None:
    found = gauge()
    found.take(reading("ale", "beer", 18.0, START), START)
    found.take(reading("ale", "beer", 5.0, START - 10 * SECOND), START)
    assert found.reading(START) == 18.0


def test_after_the_clock_was_set_back_new_readings_count_again() -> None:
    found = gauge()
    found.take(reading("ale", "beer", 18.0, START), START)
    earlier = START - timedelta(hours=1)
    found.take(reading("ale", "beer", 5.0, earlier), earlier)
    assert found.reading(earlier) == 5.0


def test_a_bad_reading_leaves_the_last_good_value() -> None:
    found = gauge()
    found.take(reading("ale", "beer", 18.0, START), START)
    found.take(reading("ale", "beer", None, START + SECOND), START + SECOND)
    assert not found.good
    assert found.reading(START + SECOND) == 18.0


def test_only_what_passes_a_bound_is_urgent() -> None:
    found = gauge()
    found.high = 20.0
    assert not found.take(reading("ale", "beer", 19.9, START), START)
    assert found.take(reading("ale", "beer", 20.0, START + SECOND), START + SECOND)


def test_a_contact_is_urgent_when_it_changes() -> None:
    door = Gauge(ALE.probes["door"])
    assert door.take(reading("ale", "door", True, START, "contact"), START)
    assert not door.take(reading("ale", "door", True, START + SECOND, "contact"), START + SECOND)


def test_the_highest_of_no_readings_is_none() -> None:
    assert highest([gauge()], START) is None


def outlet(name: str = "cool") -> Outlet:
    """Of the fridge, of which nothing is known."""
    found = outlets_of("barn", "ale", ALE, Lease(60.0, 10.0))[name]
    found.forget(0.0)
    return found


def test_how_often_a_compressor_may_start_is_the_plant_files_to_say() -> None:
    frequent = ALE.model_copy(
        update={"outputs": {"cool": ALE.outputs["cool"].model_copy(update={"starts_per_hour": 12})}}
    )
    assert outlet().times.starts_per_hour == 6
    assert outlets_of("barn", "ale", frequent, Lease(60.0, 10.0))["cool"].times.starts_per_hour == 12


def report(level: float | None, at_s: float, basis: Basis = Basis.ECHOED) -> Report:
    """Of the compressor."""
    at, lease = START + at_s * SECOND, START + (at_s + 60) * SECOND
    return Report(
        at=at, source="bridge", chamber="ale", output="cool", level=level, basis=basis, since=at, lease_ends=lease
    )


def tell(found: Outlet, level: float, at_s: float) -> None:
    """Commands it."""
    found.want(Verdict(level))
    found.command(at_s, START + at_s * SECOND, "test")


def test_an_outlet_is_commanded_at_once_and_then_from_time_to_time() -> None:
    found = outlet()
    assert found.is_due(0.0)
    tell(found, 1.0, 0.0)
    assert not found.is_due(10.0)
    assert found.is_due(20.0)
    found.want(Verdict(0.0))
    assert found.is_due(1.0)


def test_what_is_surely_off_is_said_less_often() -> None:
    found = outlet()
    tell(found, 0.0, 100.0)
    assert not found.is_due(120.0)
    assert found.is_due(150.0)


def test_a_report_of_before_our_change_proves_nothing() -> None:
    found = outlet()
    tell(found, 1.0, 100.0)
    tell(found, 0.0, 130.0)
    found.hear(report(0.0, 90.0), 131.0, START + 131 * SECOND)
    assert found.relay.may_be_on(132.0)
    found.hear(report(0.0, 131.0), 132.0, START + 402 * SECOND)
    assert not found.relay.may_be_on(132.0)


def test_a_report_from_the_future_proves_nothing() -> None:
    found = outlet()
    tell(found, 1.0, 100.0)
    tell(found, 0.0, 130.0)
    found.hear(report(0.0, 230.0), 131.0, START + 131 * SECOND)
    assert found.relay.may_be_on(132.0)


def test_a_device_may_take_a_while_to_say_that_it_runs() -> None:
    found = outlet()
    tell(found, 1.0, 100.0)
    found.hear(report(0.0, 102.0, Basis.MEASURED), 102.0, START + 102 * SECOND)
    assert found.relay.level == 1.0
    found.hear(report(0.0, 130.0, Basis.MEASURED), 130.0, START + 130 * SECOND)
    assert found.relay.level == 0.0


def test_a_switch_knows_only_on_and_off() -> None:
    assert [outlet("heat").in_steps(level) for level in (0.0, 0.4, 0.5, 1.0)] == [0.0, 0.0, 1.0, 1.0]


@pytest.mark.parametrize(
    ("drive", "kind", "role"),
    [
        (Drive.COMPRESSOR, "fridge", Bars.COOL),
        (Drive.HEATER, "jacketed", Bars.HEAT),
        (Drive.PUMP, "jacketed", Bars.COOL),
        (Drive.VALVE, "jacketed", Bars.COOL),
        (Drive.PUMP, "reservoir", Bars.MOVE),
        (Drive.VALVE, "kegerator", Bars.GAS),
        (Drive.FAN, "fridge", Bars.MOVE),
    ],
)
def test_an_output_has_one_purpose(drive: Drive, kind: str, role: Bars) -> None:
    assert role_of(drive, kind) is role


def test_bars_add_up() -> None:
    assert all_of([Bars.COOL, Bars.HEAT, Bars.COOL]) == Bars.STEER


def setpoint(temperature_c: float, at_s: float = 0.0, **fields: object) -> Setpoint:
    """For the fridge."""
    return Setpoint(at=START + at_s * SECOND, source="scheduler", chamber="ale", temperature_c=temperature_c, **fields)


def test_a_setpoint_from_the_future_is_not_taken() -> None:
    held = Asked()
    assert not held.take(setpoint(5.0, 60.0), START)
    assert held.current(START) is None


def test_a_lapsed_setpoint_gives_way_to_the_programme() -> None:
    held = Asked()
    held.take(setpoint(5.0), START)
    held.take(setpoint(9.0, 1.0, expires=START + 60 * SECOND), START + SECOND)
    assert held.current(START + 59 * SECOND).temperature_c == 9.0
    assert held.current(START + 60 * SECOND).temperature_c == 5.0


@pytest.mark.parametrize(("said_c", "floor_c"), [(-2.2, -1.7), (-9.0, -2.0), (12.0, 0.5), (None, -1.5)])
def test_the_floor_follows_the_beer_within_its_limits(said_c: float | None, floor_c: float) -> None:
    assert asked.bounds(ALE, setpoint(4.0, freezes_at_c=said_c)).floor_c == pytest.approx(floor_c)


def test_a_bath_of_glycol_may_go_lower_than_one_of_water() -> None:
    plant = plant_of(bath=BATH, tub=BATH.replace(", coolant: {propylene_glycol: 30 %}", ""), conical=CONICAL)
    assert asked.bounds(plant.chambers["bath"], None).floor_c == pytest.approx(-10.8, abs=0.2)
    assert asked.bounds(plant.chambers["tub"], None).floor_c == 2.0


def test_ethylene_glycol_has_its_own_freezing_point() -> None:
    tub = plant_of(tub=BATH.replace("propylene", "ethylene"), conical=CONICAL.replace("bath", "tub")).chambers["tub"]
    assert asked.coolant_freezes_at(tub) < -13.5


def test_the_plant_file_asks_when_nobody_else_does() -> None:
    assert asked.temperature(None, plant_of(ale=with_lines(FRIDGE, "hold: 6 degC")).chambers["ale"]) == 6.0
    assert asked.temperature(setpoint(5.0), ALE) == 5.0
    assert asked.temperature(None, ALE) is None


def test_a_vessel_names_its_bath() -> None:
    plant = plant_of(bath=BATH, conical=CONICAL)
    assert asked.source_of(plant, plant.chambers["conical"]) == "bath"
    assert asked.source_of(plant, plant.chambers["bath"]) is None


def test_an_hour_knows_how_far_it_went() -> None:
    hour = Hour()
    for minute in range(31):
        assert hour.note(60.0 * minute, 10.0 - 0.1 * minute, 20.0, 30.0 * minute)
    assert not hour.note(1810.0, 0.0, 0.0, 0.0)
    assert hour.felt_change(10) == pytest.approx(-1.0)
    assert hour.beer_change(30) == 0.0
    assert hour.beer_change(60) is None
    assert hour.heated_s() == 900.0


def test_an_effect_is_what_a_run_brought_about_and_what_came_back() -> None:
    effect = Effect(-1.0)
    for on, felt_c in ((False, 18.0), (True, 18.0), (True, 12.0), (False, 12.0), (False, 11.0), (False, 14.0)):
        effect.note(on, felt_c)
    assert (effect.gain_k, effect.recovery_k) == (6.0, 3.0)


def sight(**fields: object) -> Sight:
    """At 18 degC asked for."""
    return Sight(now=START, setpoint_c=18.0, **fields)


FRIDGE_RULES = Rules("fridge", 20.0, has_heater=True)


@pytest.mark.parametrize(
    ("beer_c", "cooling", "heating", "wish"),
    [
        (18.4, False, False, (1, 0)),
        (18.2, False, False, (0, 0)),
        (18.2, True, False, (1, 0)),
        (17.6, False, False, (0, 1)),
        (17.9, False, True, (0, 1)),
    ],
)
def test_the_plain_band_has_a_differential(beer_c: float, cooling: bool, heating: bool, wish: tuple[int, int]) -> None:
    decision = Deadband(FRIDGE_RULES).decide(sight(beer_c=beer_c, cooling_on=cooling, heating_on=heating))
    assert (decision.cool, decision.heat) == wish


def test_the_plain_band_wishes_nothing_without_a_temperature() -> None:
    band = Deadband(FRIDGE_RULES)
    band.restore(band.snapshot())
    assert band.decide(sight()).why == "No temperature to go by."


def test_the_plain_band_runs_a_pump_only_towards_a_colder_bath() -> None:
    band = Deadband(Rules("jacketed", 30.0))
    assert band.decide(sight(beer_c=20.0, bath_c=17.0)).cool == 1.0
    assert band.decide(sight(beer_c=20.0, bath_c=19.0)).cool == 0.0
    assert band.decide(sight(beer_c=20.0)).want == Want(12.0, START, 0.5)


def test_a_bath_goes_as_cold_as_its_vessels_want_and_its_coolant_bears() -> None:
    band = Deadband(Rules("reservoir", 40.0))
    wants = (Want(-20.0, START, 1.0),)
    decision = band.decide(sight(beer_c=-7.0, wants=wants, freezes_at_c=-12.0, cooling_on=True))
    assert decision.cool == 0.0


def test_an_unknown_interlock_or_chamber_is_refused_with_a_remedy() -> None:
    bench = fridge()
    assert "ale" in bench.request(LockOut, "a", chamber="other").remedy
    assert "air-too-hot" in bench.request(ResetInterlock, "b", chamber="ale", interlock="nothing").remedy
    assert bench.request(ResetInterlock, "c", chamber="ale", interlock="door-pause").outcome == "refused"
    assert bench.request(LockOut, "d", chamber="ale", until=bench.now - SECOND).outcome == "refused"


def test_a_request_twice_has_one_effect_and_one_answer() -> None:
    bench = fridge()
    first = bench.request(LockOut, "same", chamber="ale")
    bench.request(ClearLockOut, "other", chamber="ale")
    assert bench.request(LockOut, "same", chamber="ale") == first
    assert bench.supervisor.boards["ale"].lock is None


def test_answers_are_remembered_through_a_restart() -> None:
    bench = fridge()
    first = bench.request(LockOut, "same", chamber="ale")
    bench.build(bench.supervisor.snapshot())
    bench.now += SECOND
    assert bench.request(LockOut, "same", chamber="ale") == first


def test_requests_of_other_services_are_not_answered() -> None:
    bench = fridge()
    bench.send(
        SetTemperature(at=bench.now, source="test", id="x", client="test", who="Ada", chamber="ale", temperature_c=5.0)
    )
    assert bench.replies == []


def test_what_did_not_trip_needs_no_reset_and_what_is_not_locked_no_unlocking() -> None:
    bench = fridge()
    assert bench.request(ResetInterlock, "a", chamber="ale", interlock="air-too-hot").detail == "It had not tripped."
    assert bench.request(ClearLockOut, "b", chamber="ale").detail == "It was not locked out."


def test_a_better_rank_is_served_first_when_the_circuit_is_short() -> None:
    plain = FRIDGE.replace(", inrush: 4", "")
    plant = plant_of(limit="0.5 A", first=with_lines(plain, "priority: 1"), second=plain)
    bench = Bench(plant, {"first": FridgeModel(), "second": FridgeModel()})
    bench.ask("first", 12.0)
    bench.ask("second", 12.0)
    bench.run(minutes=30)
    assert (bench.level("cool", "first"), bench.level("cool", "second")) == (1.0, 0.0)
    assert bench.status["second"].why == "Waiting for room on the circuit."


def test_conditions_of_a_chamber_that_is_gone_end() -> None:
    bench = fridge("steer_by_air: false")
    bench.ask("ale", 12.0)
    bench.hold({}, minutes=2)
    kept = Conditions("barn", bench.supervisor.conditions.standing())
    ended = kept.end_all("ale", bench.now)
    assert [message.body.active for message in ended] == [False]
    assert kept.again() == []


def test_a_condition_the_broker_kept_is_ended_by_the_next_look() -> None:
    bench = fridge("steer_by_air: false")
    bench.ask("ale", 15.0)
    bench.hold({}, minutes=2)
    told = bench.conditions["ale", "no-trusted-probe"]
    bench.build(None)
    bench.supervisor.conditions.adopt(told)
    bench.hold({("ale", "beer"): 15.0, ("ale", "air"): 15.0}, minutes=1)
    assert bench.standing() == set()


def test_the_words_count_minutes_down() -> None:
    bench = jacketed()
    bench.ask("conical", 10.0)
    bench.run(minutes=2)
    board = bench.supervisor.boards["bath"]
    assert words.holder(board) is board.outlets["chill"]
    assert bench.status["bath"].why.endswith("min left.")
    assert words.activity(board) == "waiting"
    assert inf not in words.substance(board, 0.0)
