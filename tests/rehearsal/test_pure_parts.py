"""A rehearsal's parts by themselves: verdicts, curves, crashes, outages, who listens, which plants can be played."""

from collections.abc import Mapping
from datetime import timedelta
from random import Random
from types import SimpleNamespace

import pytest

from schemas.alarms import Alarm, AlarmPhase, Priority
from schemas.base import ServiceName
from schemas.control import ActiveInterlock, Activity, ChamberStatus
from schemas.requests import Refused
from services.rehearsal.answer import MOST_POINTS, Answer, Course, Point, StepTime, plain, thinned
from services.rehearsal.crashes import LEAST_FALL_K, NEAR_K, Crash, Together, arrival, crashes, together
from services.rehearsal.ensemble import LONGEST_LEASE_S, SHORTEST_LEASE_S, Ensemble, Tally, guard_words
from services.rehearsal.faults import draw_outages, rough_bus
from services.rehearsal.listener import EVERYDAY, Listener, Wait
from services.rehearsal.past import Gathered, barn_batches, start_request
from services.rehearsal.performance import BATCH, Question, word_of
from services.rehearsal.plant_model import NoSuchModel, Pouring, Truthful, built, factory_named
from services.rehearsal.situation import Situation
from services.rehearsal.stagger import examine
from services.rehearsal.whatif import current_conflicts
from services.runtime.service import Outgoing
from services.supervisor import guards
from tests.rehearsal.situations import HOUR, START, cellar, programme

MINUTE = timedelta(minutes=1)
PLANT = cellar()
FALL = programme("name: warm, hold: 18 degC, for: 5 h", "name: crash, to: 2 degC, over: 8 h")


def points(*beer_c: float) -> list[Point]:
    """An hour apart."""
    return [Point(START + n * HOUR, one, None) for n, one in enumerate(beer_c)]


def crash(chamber: str, begins_h: float, arrives_h: float | None = None) -> Crash:
    arrives = None if arrives_h is None else START + arrives_h * HOUR
    return Crash(chamber, chamber, 1, "crash", 18.0, 2.0, START + begins_h * HOUR, arrives, START + 20 * HOUR)


def status(*interlocks: str) -> ChamberStatus:
    held = tuple(ActiveInterlock(id=one, reason=f"{one} holds", since=START) for one in interlocks)
    return ChamberStatus(at=START, source="supervisor", chamber="east", doing=Activity.WAITING, why="Waiting.",
                         setpoint_c=12.0, interlocks=held)  # fmt: skip


def alarm(phase: AlarmPhase) -> Alarm:
    return Alarm(at=START, source="notifier", chamber="east", name="warm", phase=phase, priority=Priority.HIGH,
                 since=START, detail="Too warm.", cause="c", consequence="c", response="r")  # fmt: skip


def hearing(*bodies: object) -> Listener:
    """Who has heard these, a minute apart."""
    listener = Listener()
    for minutes, body in enumerate(bodies):
        listener.hear(Outgoing("any", body), START + minutes * MINUTE)
    return listener


class Still:
    """A plant in which nothing moves, and which tells nothing but its probes."""

    def advance(self, seconds: float, outputs: Mapping[tuple[str, str], float]) -> Mapping[tuple[str, str], float]:
        return {}


def test_frozen_beer_is_worse_than_any_conflict_or_alarm() -> None:
    assert Answer(frozen=1e-6, alarms={"a": "late"}, finished=True).verdict.startswith("Do not")


def test_alarm_is_told_before_what_waits_for_a_person() -> None:
    waiting = Course("a", "A", "east", waits_for="Are they in?")
    assert Answer(batches=[waiting], alarms={"a": "east: late"}).verdict == "It would call you: east: late"


def test_reason_that_two_interlocks_share_is_told_once() -> None:
    assert Answer(fired={"a": "too cold", "b": "too cold", "c": "dry"}).verdict == "Careful: dry; too cold"


def test_batches_that_wait_for_nobody_are_not_told() -> None:
    assert Answer(batches=[Course("a", "A", "east")], finished=True).verdict == "It runs as written."


def test_empty_answer_is_still_a_document() -> None:
    told = plain(Answer())
    assert (told["curve"], told["steps"], told["began"], told["cost"]) == ([], [], None, None)


def test_ended_step_is_told_with_both_its_times() -> None:
    told = plain(Answer(steps=[StepTime("a", START, START + HOUR)]))
    assert told["steps"] == [["a", "2026-11-02T06:00:00.000Z", "2026-11-02T07:00:00.000Z"]]


@pytest.mark.parametrize("count", [0, 1, MOST_POINTS])
def test_short_curve_is_not_thinned(count: int) -> None:
    curve = points(*[1.0] * count)
    assert list(thinned(curve)) == curve


def test_curve_one_point_too_long_is_halved_and_keeps_its_end() -> None:
    curve = points(*range(MOST_POINTS + 1))
    kept = list(thinned(curve))
    assert (len(kept), kept[-1]) == ((MOST_POINTS + 2) // 2, curve[-1])


def test_beer_arrives_when_it_is_near_enough_first() -> None:
    assert arrival(points(18, 10, 2 + NEAR_K, 2), START, 2.0) == START + 2 * HOUR


def test_beer_that_was_cold_before_the_crash_has_not_arrived_by_it() -> None:
    assert arrival(points(2, 18), START, 2.0) is None


def test_nothing_arrives_on_an_empty_curve() -> None:
    assert arrival((), START, 2.0) is None


@pytest.mark.parametrize(("fall_k", "count"), [(LEAST_FALL_K, 1), (LEAST_FALL_K - 0.1, 0), (-10.0, 0)])
def test_step_is_a_crash_from_the_least_fall_on(fall_k: float, count: int) -> None:
    course = Course("a", "A", "east", (StepTime("s", START, None, 10.0, 10.0 - fall_k),))
    assert len(crashes([course], {})) == count


def test_crash_of_which_no_curve_is_known_lasts_no_time() -> None:
    (found,) = crashes([Course("a", "A", "east", (StepTime("s", START, None, 18.0, 2.0),))], {})
    assert (found.arrives, found.lasts) == (None, timedelta(0))


def test_crashes_come_in_the_order_of_their_begins() -> None:
    late = Course("late", "L", "east", (StepTime("s", START + HOUR, None, 18.0, 2.0),))
    early = Course("early", "E", "west", (StepTime("s", START, None, 18.0, 2.0),))
    assert [one.batch for one in crashes([late, early], {})] == ["early", "late"]


def test_crash_ends_when_the_beer_is_there() -> None:
    assert (crash("east", 1, 5).lasts, crash("east", 1).lasts) == (4 * HOUR, 19 * HOUR)


def test_overlap_is_from_the_second_begin_to_the_first_end() -> None:
    pair = Together("bath", crash("east", 0, 6), crash("west", 2, 9))
    assert (pair.begins, pair.ends) == (START + 2 * HOUR, START + 6 * HOUR)


@pytest.mark.parametrize(("begins_h", "count"), [(5.5, 0), (4.5, 1)])
def test_overlap_shorter_than_an_hour_is_not_worth_telling(begins_h: float, count: int) -> None:
    busy = {"bath": [(START + n * 10 * MINUTE, 0.01 * n) for n in range(120)]}
    assert len(together(PLANT, [crash("east", 0, 6), crash("west", begins_h, 9)], busy)) == count


def test_bath_that_used_nothing_is_not_overloaded() -> None:
    idle = {"bath": [(START + n * HOUR, 0.0) for n in range(20)]}
    assert together(PLANT, [crash("east", 0, 6), crash("west", 1, 9)], idle) == []


def test_two_crashes_in_one_chamber_are_not_at_odds() -> None:
    busy = {"bath": [(START + n * HOUR, 0.06 * n) for n in range(20)]}
    assert together(PLANT, [crash("east", 0, 6), crash("east", 1, 9)], busy) == []


def test_conflict_from_which_nothing_can_be_tried_is_told_without_a_proposal() -> None:
    pair = Together("bath", crash("east", 0, 6), crash("west", 2, 9))
    found = examine(Question(Situation(PLANT, START), "east"), pair, [])
    assert found is not None
    assert found.proposal is None
    assert found.detail.endswith("; put one of them off.")


def test_second_crash_that_began_before_the_rehearsal_cannot_be_put_off() -> None:
    pair = Together("bath", crash("east", 0, 6), crash("west", 0, 9))
    found = examine(Question(Situation(PLANT, START), "east"), pair, [(START, {})])
    assert found is not None
    assert found.parties == ("east", "west")
    assert found.proposal is None


def test_outages_last_from_five_seconds_to_a_quarter_of_an_hour() -> None:
    drawn = draw_outages(Random(1), [ServiceName.BRIDGE], START, HOUR, 200)
    assert {one.lasts.total_seconds() for one in drawn} == {5, 30, 90, 300, 900}


def test_another_seed_draws_other_outages() -> None:
    drawn = [draw_outages(Random(seed), ServiceName, START, HOUR, 5) for seed in (1, 2)]
    assert drawn[0] != drawn[1]


def test_every_service_of_the_cast_is_struck_some_time() -> None:
    cast = (ServiceName.BRIDGE, ServiceName.RECORDER, ServiceName.SCHEDULER)
    assert {one.service for one in draw_outages(Random(1), cast, START, HOUR, 60)} == set(cast)


@pytest.mark.parametrize(("topic", "rough"), [("simulated/a/b", True), ("coldside/barn/command/a/b", True),
                                              ("coldside/barn/request/scheduler/x", False)])  # fmt: skip
def test_rough_bus_strikes_devices_and_readings_alone(topic: str, rough: bool) -> None:
    assert rough_bus(Random(1)).strike(topic) is rough


@pytest.mark.parametrize(("tick_s", "lease_s"), [(1, SHORTEST_LEASE_S), (10, 60), (60, 360), (3600, LONGEST_LEASE_S)])
def test_lease_is_six_ticks_within_its_limits(tick_s: float, lease_s: float) -> None:
    assert Ensemble(PLANT, tick=timedelta(seconds=tick_s)).lease_s == lease_s


def test_plant_ticks_before_whoever_looks_at_it() -> None:
    assert next(iter(Ensemble(PLANT).factories())) is ServiceName.SIMULATOR


def test_truth_of_a_chamber_comes_from_the_simulator_that_was_built() -> None:
    ensemble = Ensemble(PLANT)
    ensemble.factories()[ServiceName.SIMULATOR](None).start(START)
    assert ensemble.truth("east").starts == 0


def test_tally_counts_samples_and_annotations_apart() -> None:
    tally = Tally()
    tally.write([], [])
    tally.write([object()] * 3, [object()])
    assert (tally.samples, tally.annotations) == (3, 1)


def test_guards_of_a_bath_and_two_vessels_switch_off_chiller_and_pumps() -> None:
    words = guard_words(PLANT)
    assert [one.topic.split("/")[-3:-1] for one in words] == [["bath", "chill"], ["east", "pump"], ["west", "pump"]]
    assert {one.body for one in words} == {b"0"}


@pytest.mark.parametrize("ordinary", sorted(EVERYDAY))
def test_interlock_of_ordinary_days_is_not_told(ordinary: str) -> None:
    assert hearing(status(ordinary)).fired == {}


def test_interlock_is_told_with_its_first_moment() -> None:
    heard = hearing(status(), status("too-cold"), status("too-cold"))
    assert [(one.id, one.first) for one in heard.fired.values()] == [("too-cold", START + MINUTE)]


def test_wait_for_current_lasts_until_it_is_over() -> None:
    heard = hearing(status(guards.CIRCUIT), status(guards.CIRCUIT), status())
    assert [one.length for one in heard.waits] == [2 * MINUTE]


def test_who_still_waits_at_the_end_has_waited_until_then() -> None:
    heard = hearing(status(guards.CIRCUIT))
    heard.close(START + HOUR)
    heard.close(START + 2 * HOUR)
    assert heard.waits == [Wait("east", START, START + HOUR)]


@pytest.mark.parametrize("phase", AlarmPhase)
def test_only_an_alarm_that_nobody_has_seen_would_call_you(phase: AlarmPhase) -> None:
    expected = {"east/warm": "east: Too warm."} if phase is AlarmPhase.UNACKNOWLEDGED else {}
    assert hearing(alarm(phase)).alarms == expected


@pytest.mark.parametrize(("remedy", "words"), [("", "Taken."), ("wait", "Taken.; wait")])
def test_refusal_is_kept_with_its_remedy(remedy: str, words: str) -> None:
    assert hearing(Refused(at=START, source="scheduler", id="1", reason="Taken.", remedy=remedy)).refused == words


def test_devices_own_traffic_says_nothing_to_who_listens() -> None:
    assert hearing(b"1", b"") == Listener()


def test_listener_catches_up_with_what_was_said_before() -> None:
    listener = Listener()
    listener.catch_up([status(), b"raw"])
    assert listener.wanted_c == {"east": 12.0}


def test_nobody_waited_is_no_conflict() -> None:
    assert list(current_conflicts(PLANT, [])) == []


def test_longest_wait_of_a_chamber_is_the_one_that_is_told() -> None:
    waits = [Wait("bath", START, START + n * HOUR) for n in (2, 5, 3)]
    (found,) = current_conflicts(PLANT, waits)
    assert found.detail == "bath waits 5.0 h for current on ring from 2026-11-02T06:00:00.000Z on."


def test_situation_without_a_profile_has_the_programmes_that_run() -> None:
    question = Question(Situation(PLANT, START, programmes={"a": FALL}), "east")
    assert question.programmes == {"a": FALL}


def test_profile_that_is_asked_about_runs_beside_the_others() -> None:
    question = Question(Situation(PLANT, START, programmes={"a": FALL}), "east", FALL)
    assert set(question.programmes) == {"a", BATCH}


def test_step_that_asks_nobody_has_no_word() -> None:
    assert [word_of(FALL, step) for step in (0, 1)] == ["", ""]


def test_word_that_a_step_asks_for_is_found() -> None:
    assert word_of(programme("name: hops, hold: 12 degC, ends: {word: Are they in?}"), 0) == "Are they in?"


@pytest.mark.parametrize("name", ["", "only", ":build", "module:"])
def test_half_a_name_of_a_model_is_refused_with_an_example(name: str) -> None:
    with pytest.raises(NoSuchModel, match="write it like 'cellar.model:build'"):
        factory_named(name)


def test_model_that_only_advances_is_enough() -> None:
    model = built(lambda _: Still(), Situation(PLANT, START))
    assert not isinstance(model, Pouring | Truthful)


def test_thing_whose_advance_cannot_be_called_is_refused_by_its_kind() -> None:
    with pytest.raises(NoSuchModel, match="SimpleNamespace is no plant model"):
        built(lambda _: SimpleNamespace(advance=1), Situation(PLANT, START))


def test_heap_that_is_not_full_is_kept_back() -> None:
    tally = Tally()
    gathered = Gathered(tally, heap=3)
    gathered.write([object()] * 2)
    assert (tally.samples, len(gathered.samples)) == (0, 2)


def test_full_heap_is_handed_on_whole_and_once() -> None:
    tally = Tally()
    gathered = Gathered(tally, heap=3)
    gathered.write([object()] * 4, [object()])
    gathered.hand_on()
    assert (tally.samples, tally.annotations, gathered.samples) == (4, 1, [])


def test_beer_of_the_past_is_asked_for_in_its_own_chamber() -> None:
    one = barn_batches()[0]
    request = start_request(PLANT, one, START).body
    assert (request.batch, request.chamber, request.at) == (one.batch, one.chamber, START)
