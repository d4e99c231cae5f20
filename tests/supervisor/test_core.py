"""The supervisor's core on a bench: readings, setpoints, silence, restarts, requests, new plant files."""

from datetime import timedelta
from typing import Any

import pytest

from schemas.base import ServiceName
from schemas.control import Activity, Setpoint
from schemas.requests import ClearLockOut, LockOut, ResetInterlock
from schemas.telemetry import Basis
from services.supervisor.control import Decision, Estimate, Rules, Sight
from services.supervisor.core import Supervisor, build
from tests.supervisor.bench import BATH, CONICAL, FRIDGE, Bench, fridge, jacketed, kegerator, plant_of, reading

WARM = {("ale", "beer"): 20.0, ("ale", "air"): 20.0, ("ale", "door"): 0.0}
COLD = {("ale", "beer"): 15.0, ("ale", "air"): 15.0, ("ale", "door"): 0.0}


def test_a_fridge_brings_warm_beer_down_and_holds_it() -> None:
    bench = fridge()
    bench.ask("ale", 12.0)
    bench.run(hours=8)
    assert bench.sim.truth("ale").beer_c == pytest.approx(12.0, abs=1.0)
    assert bench.sim.truth("ale").short_rests == 0


def test_a_vessel_on_a_bath_is_cooled_through_it() -> None:
    bench = jacketed()
    bench.ask("conical", 10.0)
    bench.run(hours=14)
    assert bench.sim.truth("conical").beer_c == pytest.approx(10.0, abs=1.0)
    assert bench.sim.truth("bath").beer_c < 9.0


def test_a_pump_stays_off_while_the_bath_is_no_colder() -> None:
    bench = jacketed()
    bench.ask("conical", 10.0)
    bench.hold({("conical", "beer"): 12.0, ("bath", "bath"): 12.0}, minutes=10)
    assert bench.level("pump", "conical") == 0.0


def test_a_kegerator_holds_what_its_file_says_when_nobody_asks() -> None:
    bench = kegerator("hold: 4 degC")
    bench.run(hours=8)
    assert bench.sim.truth("kegs").beer_c == pytest.approx(4.0, abs=1.0)


def test_a_chamber_of_which_nobody_asks_anything_stays_off_and_says_so() -> None:
    bench = fridge().run(minutes=5)
    assert not any(bench.relays.values())
    assert bench.status["ale"].why == "Nobody has asked for a temperature."


def test_outputs_are_safe_until_readings_have_come() -> None:
    bench = fridge()
    bench.ask("ale", 12.0)
    bench.hold({}, minutes=10)
    assert not any(bench.relays.values())
    assert bench.status["ale"].doing is Activity.SAFE


def test_a_stale_probe_makes_outputs_safe() -> None:
    bench = fridge("steer_by_air: false")
    bench.ask("ale", 25.0)
    bench.hold(COLD, minutes=8)
    assert bench.level("heat") == 1.0
    bench.silent.add(("ale", "beer"))
    bench.hold(COLD, seconds=90)
    assert bench.level("heat") == 0.0
    assert bench.standing() == {"no-trusted-probe"}


def test_without_a_beer_reading_the_air_is_held_where_that_is_allowed() -> None:
    bench = fridge()
    bench.ask("ale", 12.0)
    bench.silent.add(("ale", "beer"))
    bench.run(hours=20)
    assert bench.sim.truth("ale").beer_c == pytest.approx(12.0, abs=1.5)
    assert bench.ids() == {"beer-probe-lost"}


def test_a_bad_reading_is_passed_over_and_the_last_good_one_counts_until_it_is_stale() -> None:
    bench = fridge("steer_by_air: false")
    bench.ask("ale", 25.0)
    bench.hold(COLD, minutes=8)
    bad: Any = {**COLD, ("ale", "beer"): None}
    bench.hold(bad, seconds=50)
    assert bench.level("heat") == 1.0
    bench.hold(bad, seconds=30)
    assert bench.level("heat") == 0.0


def test_a_reading_from_the_future_steers_nothing() -> None:
    bench = fridge()
    bench.ask("ale", 25.0)
    for _ in range(60):
        bench.send(reading("ale", "beer", 15.0, bench.now + timedelta(minutes=1)))
        bench.hold({}, seconds=10)
    assert bench.level("heat") == 0.0


def test_the_last_setpoint_is_held_while_the_scheduler_is_silent() -> None:
    bench = fridge()
    bench.ask("ale", 12.0)
    bench.run(hours=30)
    assert bench.status["ale"].setpoint_c == 12.0


def test_the_last_setpoint_survives_a_restart() -> None:
    bench = fridge()
    bench.ask("ale", 12.0)
    bench.run(minutes=10)
    bench.build(bench.supervisor.snapshot())
    bench.run(minutes=10)
    assert bench.status["ale"].setpoint_c == 12.0


def test_an_older_setpoint_that_comes_late_changes_nothing() -> None:
    bench = fridge()
    old = Setpoint(at=bench.now, source="scheduler", chamber="ale", temperature_c=5.0)
    bench.now += timedelta(minutes=1)
    bench.ask("ale", 12.0)
    bench.send(old)
    bench.run(minutes=1)
    assert bench.status["ale"].setpoint_c == 12.0


def test_a_persons_own_setpoint_lapses_to_what_was_programmed() -> None:
    bench = fridge()
    bench.ask("ale", 12.0)
    bench.ask("ale", 16.0, expires=bench.now + timedelta(hours=1))
    bench.run(minutes=30)
    assert bench.status["ale"].setpoint_c == 16.0
    bench.run(hours=1)
    assert bench.status["ale"].setpoint_c == 12.0


def test_commands_are_renewed_well_within_their_lease() -> None:
    bench = fridge()
    bench.ask("ale", 25.0)
    bench.hold(COLD, minutes=20)
    sent = [one.at for one in bench.commands if one.output == "heat" and one.level]
    assert max(late - early for early, late in zip(sent, sent[1:], strict=False)) <= timedelta(seconds=20)


def test_a_reading_that_must_switch_a_heater_off_does_so_before_the_next_tick() -> None:
    bench = fridge()
    bench.ask("ale", 25.0)
    bench.hold(COLD, minutes=8)
    assert bench.level("heat") == 1.0
    bench.now += timedelta(seconds=1)
    bench.send(reading("ale", "beer", 30.5, bench.now))
    assert bench.level("heat") == 0.0


def test_a_compressor_rests_between_runs_and_people_are_told_for_how_long() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold(WARM, minutes=10)
    bench.hold(COLD, minutes=1)
    bench.hold(WARM, seconds=90)
    assert bench.level("cool") == 0.0
    assert bench.status["ale"].doing is Activity.WAITING
    assert bench.status["ale"].why.startswith("Compressor resting, ")


def test_a_restart_begins_the_rest_anew() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold(WARM, minutes=10)
    bench.hold(COLD, minutes=30)
    bench.build(bench.supervisor.snapshot())
    bench.hold(WARM, minutes=4)
    assert bench.level("cool") == 0.0
    bench.hold(WARM, minutes=4)
    assert bench.level("cool") == 1.0


def test_a_compressor_found_running_after_a_restart_goes_on() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold(WARM, minutes=10)
    bench.build(bench.supervisor.snapshot())
    bench.send(bench.report(("ale", "cool"), 1.0))
    bench.hold(WARM, minutes=10)
    assert len([one for one in bench.history if one[1] == ("ale", "cool")]) == 1


def test_a_run_that_the_bridge_ended_is_followed_by_a_rest() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold(WARM, minutes=10)
    bench.now += timedelta(seconds=1)
    bench.send(bench.report(("ale", "cool"), None, Basis.UNKNOWN))
    bench.hold(WARM, minutes=4)
    assert bench.level("cool") == 0.0


def test_heating_waits_after_cooling() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold(WARM, minutes=10)
    bench.hold(COLD, minutes=4)
    assert bench.level("heat") == 0.0
    assert bench.level("cool") == 0.0
    bench.hold(COLD, minutes=3)
    assert bench.level("heat") == 1.0


class Broken:
    """A controller that fails, or wishes what makes no sense."""

    def __init__(self, rules: Rules) -> None:
        self.level = float("nan") if rules.has_heater else 0.0

    def decide(self, sight: Sight) -> Decision:
        """Nonsense."""
        return Decision(self.level, 2.0, 0.0, 0.0, "", Estimate(None, 0.0, None, 0.0, 0.0))

    def snapshot(self) -> dict[str, Any]:
        """Nothing."""
        return {"learnt": 1}

    def restore(self, state: Any) -> None:
        """Cannot."""
        raise ValueError(f"cannot read {state}")


def test_the_plain_band_takes_over_from_a_controller_that_fails() -> None:
    bench = fridge(controllers=Broken)
    bench.ask("ale", 12.0)
    bench.run(hours=8)
    assert bench.sim.truth("ale").beer_c == pytest.approx(12.0, abs=1.0)


def test_a_model_that_cannot_be_read_back_is_learnt_anew() -> None:
    bench = fridge(controllers=Broken)
    bench.build(bench.supervisor.snapshot())
    assert isinstance(bench.supervisor.boards["ale"].controller, Broken)


def test_what_was_learnt_survives_a_restart() -> None:
    bench = Bench(plant_of(ale=FRIDGE))
    bench.supervisor = build(bench.plant)
    bench.take(bench.supervisor.start(bench.now))
    bench.ask("ale", 18.0)
    bench.run(hours=1)
    kept = bench.supervisor.snapshot()
    again = build(bench.plant, type(kept).model_validate_json(kept.model_dump_json()))
    again.start(bench.now)
    learnt, before = again.snapshot().chambers["ale"].learnt["learnt"], kept.chambers["ale"].learnt["learnt"]
    assert {name: value[0] for name, value in learnt.items()} == {name: value[0] for name, value in before.items()}


def test_a_lock_out_switches_everything_off_at_once_and_says_who() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold(WARM, minutes=7)
    assert bench.level("cool") == 1.0
    assert bench.request(LockOut, chamber="ale", why="new gasket").outcome == "accepted"
    assert not any(bench.relays.values())
    assert "Ada" in bench.conditions["ale", "locked-out"].detail
    assert bench.status["ale"].doing is Activity.LOCKED_OUT


def test_a_lock_out_survives_a_restart_and_ends_by_request() -> None:
    bench = fridge()
    bench.ask("ale", 25.0)
    bench.request(LockOut, chamber="ale")
    bench.build(bench.supervisor.snapshot())
    bench.hold(COLD, minutes=20)
    assert not any(bench.relays.values())
    bench.request(ClearLockOut, "r2", chamber="ale")
    bench.hold(COLD, minutes=8)
    assert bench.level("heat") == 1.0


def test_a_lock_out_ends_at_its_time() -> None:
    bench = fridge()
    bench.ask("ale", 25.0)
    bench.request(LockOut, chamber="ale", until=bench.now + timedelta(minutes=10))
    bench.hold(COLD, minutes=9)
    assert bench.standing() == {"locked-out"}
    bench.hold(COLD, minutes=10)
    assert bench.standing() == set()
    assert bench.level("heat") == 1.0


def test_conditions_end_when_their_cause_does() -> None:
    bench = fridge("steer_by_air: false")
    bench.ask("ale", 15.0)
    bench.hold({}, minutes=2)
    assert bench.standing() == {"no-trusted-probe"}
    bench.hold(COLD, minutes=1)
    assert bench.standing() == set()


def test_a_condition_of_an_earlier_life_ends_after_a_restart() -> None:
    bench = fridge("steer_by_air: false")
    bench.ask("ale", 15.0)
    bench.hold({}, minutes=2)
    bench.build(bench.supervisor.snapshot())
    bench.hold(COLD, minutes=1)
    assert bench.standing() == set()


def test_status_is_told_at_least_every_minute() -> None:
    bench = fridge()
    bench.ask("ale", 15.0)
    bench.hold(COLD, minutes=10)
    before = bench.status["ale"].at
    bench.hold(COLD, minutes=1)
    assert bench.status["ale"].at > before


def test_rejoining_tells_statuses_and_standing_conditions_again() -> None:
    bench = fridge()
    bench.hold({}, minutes=2)
    said = [message.body for message in bench.supervisor.rejoin(bench.now)]
    assert {type(body).__name__ for body in said} == {"ChamberStatus", "Condition"}


def test_a_clean_stop_releases_every_output() -> None:
    bench = fridge()
    bench.ask("ale", 25.0)
    bench.hold(COLD, minutes=8)
    bench.take(bench.supervisor.stop(bench.now))
    assert not any(bench.relays.values())


def test_a_clock_that_is_set_forward_ends_no_rest() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold(WARM, minutes=2)
    bench.now += timedelta(hours=3)
    bench.take(bench.supervisor.clock_stepped(timedelta(hours=3), bench.now))
    bench.hold(WARM, minutes=2)
    assert bench.level("cool") == 0.0


def test_a_clock_that_is_set_back_stops_nothing_for_long() -> None:
    bench = fridge()
    bench.ask("ale", 25.0)
    bench.hold(COLD, minutes=2)
    bench.now -= timedelta(hours=3)
    bench.hold(COLD, minutes=12)
    assert bench.level("heat") == 1.0


def test_a_new_plant_file_leaves_the_other_chambers_alone() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold(WARM, minutes=10)
    before = bench.supervisor.boards["ale"]
    bench.take(bench.supervisor.plant_changed(plant_of(ale=FRIDGE, bath=BATH, conical=CONICAL), bench.now))
    bench.hold(WARM, minutes=1)
    assert bench.supervisor.boards["ale"] is before
    assert bench.level("cool") == 1.0
    assert bench.supervisor.boards["conical"].source is bench.supervisor.boards["bath"]


def test_an_output_that_left_the_plant_file_is_switched_off() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold(WARM, minutes=10)
    bench.take(bench.supervisor.plant_changed(plant_of(bath=BATH), bench.now))
    assert not any(bench.relays.values())
    assert bench.standing() == set()


def test_a_chamber_whose_block_changed_remembers_its_setpoint_and_its_machines() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold(WARM, minutes=10)
    changed = plant_of(ale=FRIDGE + "    priority: 2\n")
    bench.take(bench.supervisor.plant_changed(changed, bench.now))
    bench.hold(WARM, minutes=1)
    assert bench.level("cool") == 1.0
    assert bench.status["ale"].setpoint_c == 18.0


def test_a_refused_plant_file_changes_nothing() -> None:
    bench = fridge()
    assert not list(bench.supervisor.plant_refused("line 3", bench.now))


def test_messages_of_chambers_that_are_not_here_change_nothing() -> None:
    bench = fridge().run(minutes=1)
    bench.send(reading("other", "beer", 3.0, bench.now))
    bench.send(bench.report(("other", "cool"), 1.0))
    bench.ask("other", 3.0)
    assert set(bench.status) == {"ale"}


def test_it_listens_to_what_it_needs_and_no_more() -> None:
    listens = fridge().supervisor.listens
    assert "coldside/barn/reading/+/+" in listens
    assert "coldside/barn/request/supervisor/+" in listens
    assert Supervisor.name is ServiceName.SUPERVISOR


def test_a_latched_interlock_stays_through_a_restart_until_a_person_resets_it() -> None:
    bench = fridge()
    bench.ask("ale", 18.0)
    bench.hold({**COLD, ("ale", "air"): 50.0}, minutes=1)
    bench.build(bench.supervisor.snapshot())
    bench.hold(COLD, minutes=20)
    assert bench.level("heat") == 0.0
    bench.request(ResetInterlock, chamber="ale", interlock="air-too-hot")
    bench.hold(COLD, minutes=1)
    assert bench.level("heat") == 1.0


def test_the_shipping_control_holds_a_fridge() -> None:
    bench = Bench(plant_of(ale=FRIDGE))
    bench.supervisor = build(bench.plant)
    bench.take(bench.supervisor.start(bench.now))
    bench.ask("ale", 18.0)
    bench.run(hours=24)
    assert bench.sim.truth("ale").beer_c == pytest.approx(18.0, abs=0.3)
