"""The engine under the interlock table: when a rule trips, how long it stays, who ends it."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.conditions import ConditionKind
from schemas.plant import Fridge
from services.supervisor.roles import Bars, all_of
from services.supervisor.trips import QUIET, Interlock, Reset, Trip, Trips, next_trip

NOW = datetime(2026, 3, 1, tzinfo=UTC)
CHAMBER = Fridge.model_validate(
    {"kind": "fridge", "probes": {"beer": {"measures": "temperature", "from": {"simulated": True}}}}
)
TELLS = ConditionKind.NOT_COOLING


def row(**more: Any) -> Interlock:
    return Interlock(id="x", reason="r", cause="c", effect="e", **more)


def followed(interlock: Interlock, *holds: bool, every_s: float = 10.0, trip: Trip = QUIET) -> list[bool]:
    """Whether it is tripped after each look, at ten-second steps."""
    tripped = []
    for step, one in enumerate(holds):
        now_s = step * every_s
        trip = next_trip(interlock, trip, one, now_s, NOW + timedelta(seconds=now_s))
        tripped.append(trip.tripped)
    return tripped


def test_cause_without_a_delay_trips_at_once() -> None:
    assert followed(row(), False, True) == [False, True]


def test_cause_must_hold_without_a_break_before_it_trips() -> None:
    assert followed(row(after_s=20.0), True, True, False, True, True, True) == [False] * 5 + [True]


def test_trip_ends_with_its_cause() -> None:
    assert followed(row(), True, False) == [True, False]


def test_trip_lasts_its_time_though_its_cause_is_gone() -> None:
    assert followed(row(lasts_s=30.0), True, False, False, False) == [True, True, True, False]


def test_latched_trip_waits_for_a_person() -> None:
    assert followed(row(reset=Reset.BY_PERSON), True, *[False] * 50)[-1]


def test_trip_remembers_since_when() -> None:
    first = next_trip(row(), QUIET, True, 5.0, NOW)
    again = next_trip(row(), first, True, 50.0, NOW + timedelta(seconds=45))
    assert (again.since, again.tripped_s) == (NOW, 5.0)


def test_condition_stays_told_after_the_trip_until_the_opposite_is_proven() -> None:
    interlock = row(tells=TELLS, proven=lambda facts: True)
    ended = next_trip(interlock, next_trip(interlock, QUIET, True, 0.0, NOW), False, 10.0, NOW)
    assert (ended.tripped, ended.told, ended.since) == (False, True, NOW)


def test_condition_without_a_proof_ends_with_its_trip() -> None:
    interlock = row(tells=TELLS)
    assert next_trip(interlock, next_trip(interlock, QUIET, True, 0.0, NOW), False, 10.0, NOW) == QUIET


@given(st.lists(st.booleans(), max_size=30), st.sampled_from([0.0, 20.0]), st.sampled_from([0.0, 30.0]))
def test_nothing_is_tripped_whose_cause_has_not_held_for_its_delay(holds: list[bool], after_s: float, lasts_s: float):
    """Checked against a plain reading of the rule: ten-second steps, so two steps of delay and three of lasting."""
    tripped = followed(row(after_s=after_s, lasts_s=lasts_s), *holds)
    for step, now in enumerate(tripped):
        begun = now and not (step and tripped[step - 1])
        if begun:
            assert all(holds[step - int(after_s // 10) : step + 1])


class Chamber:
    """Interlocks of one chamber, judged by what a test says."""

    def __init__(self, **rows: Any) -> None:
        self.holds = dict.fromkeys(rows, False)
        table = [
            Interlock(id=name, reason="r", cause="c", effect="e", trips=self._judge(name), **more)
            for name, more in rows.items()
        ]
        self.trips = Trips(table, CHAMBER)
        self.now_s = 0.0

    def _judge(self, name: str) -> Any:
        return lambda facts, tripped: self.holds[name]

    def look(self, *holding: str) -> bool:
        self.now_s += 10.0
        self.holds = {name: name in holding for name in self.holds}
        return self.trips.judge(None, self.now_s, NOW)  # type: ignore[arg-type]


def test_tripped_rules_bar_together() -> None:
    chamber = Chamber(a={"bars": Bars.COOL}, b={"bars": Bars.HEAT}, c={"bars": Bars.GAS})
    chamber.look("a", "b")
    assert chamber.trips.bars == Bars.STEER
    assert [one.id for one, _ in chamber.trips.active] == ["a", "b"]


def test_only_rules_that_outrank_the_minimum_run_stop_a_running_machine() -> None:
    chamber = Chamber(a={"bars": Bars.COOL}, b={"bars": Bars.HEAT, "outranks_run": True})
    chamber.look("a", "b")
    assert chamber.trips.stops == Bars.HEAT


def test_change_is_told_once() -> None:
    chamber = Chamber(a={})
    assert [chamber.look(*holding) for holding in (["a"], ["a"], [], [])] == [True, False, True, False]


def test_pending_cause_is_no_change() -> None:
    chamber = Chamber(a={"after_s": 60.0})
    assert not chamber.look("a")
    assert not chamber.trips.is_tripped("a")


def test_reset_of_what_still_holds_trips_again_at_the_next_look() -> None:
    chamber = Chamber(a={"reset": Reset.BY_PERSON})
    chamber.look("a")
    chamber.trips.reset("a")
    assert not chamber.trips.is_tripped("a")
    chamber.look("a")
    assert chamber.trips.is_tripped("a")


def test_latched_trip_comes_back_after_a_restart_with_its_time() -> None:
    chamber = Chamber(a={"reset": Reset.BY_PERSON, "tells": TELLS, "bars": Bars.COOL})
    chamber.trips.latch("a", NOW)
    assert chamber.trips.bars == Bars.COOL
    assert [(one.id, trip.since) for one, trip in chamber.trips.told()] == [("a", NOW)]


def test_trip_that_ends_by_itself_is_judged_anew_after_a_restart() -> None:
    chamber = Chamber(a={})
    chamber.trips.latch("a", NOW)
    assert not chamber.trips.is_tripped("a")


def test_rule_of_an_older_version_that_is_gone_is_not_latched() -> None:
    chamber = Chamber(a={"reset": Reset.BY_PERSON})
    chamber.trips.latch("gone", NOW)
    assert chamber.trips.active == []


def test_rule_that_cannot_trip_in_such_a_chamber_is_not_judged() -> None:
    chamber = Chamber(a={"applies": lambda chamber: False})
    assert not chamber.look("a")


@pytest.mark.parametrize(
    ("bars", "together"), [([], Bars.NOTHING), ([Bars.COOL, Bars.MOVE, Bars.COOL], Bars.COOL | Bars.MOVE)]
)
def test_bars_of_several_rules_are_joined(bars: list[Bars], together: Bars) -> None:
    assert all_of(bars) == together
