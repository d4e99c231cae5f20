"""Two crashes that a bath cannot carry are found, and the stagger that is proposed works."""

from datetime import timedelta

import pytest

from schemas.plant import Plant
from services.rehearsal.answer import Answer, Conflict, Course, Point, StepTime, plain, thinned
from services.rehearsal.crashes import crashes, together
from services.rehearsal.ensemble import on_stage
from services.rehearsal.identified import plant_as_it_is
from services.rehearsal.listener import Wait
from services.rehearsal.performance import Question
from services.rehearsal.situation import Situation
from services.rehearsal.whatif import answer_to, current_conflicts
from tests.rehearsal.situations import HOUR, START, ask, cellar, programme, situation_of, starting, strong

MINUTE = timedelta(minutes=1)
WEAK = cellar()


def rehearsed(plant: Plant) -> Answer:
    crash = programme(
        "name: wait, hold: 14 degC, for: 4 h",
        "name: crash, to: 6 degC, over: 4 h",
        "name: rest, hold: 6 degC",
    )
    stage, _ = on_stage(plant, START, tick=MINUTE)
    for name in ("east", "west"):
        ask(stage, plant, starting(name, name, crash, stage.now))
    stage.run_until(START + 2 * HOUR)
    situation = situation_of(stage, plant, {"east": crash, "west": crash})
    longest = 24 * HOUR
    return answer_to(Question(situation, "east", model=plant_as_it_is, tick=MINUTE, longest=longest))


def test_bath_that_is_too_small_for_two_crashes_is_told_with_a_stagger_that_works() -> None:
    answer = rehearsed(WEAK)
    conflict = answer.conflicts[0]
    assert (conflict.kind, conflict.where, conflict.parties) == ("reservoir", "bath", ("east", "west"))
    assert conflict.proposal is not None
    assert "cannot carry" in answer.verdict
    late = {one.batch: arrived(answer, one.batch) for one in answer.batches}
    assert conflict.proposal.arrivals["east"] < late["east"] - HOUR
    assert 1 <= conflict.proposal.delay_h <= 60


def test_bath_that_is_large_enough_carries_both() -> None:
    assert rehearsed(strong()).conflicts == []


def arrived(answer: Answer, chamber: str):
    return next(one.at for one in answer.curves[chamber] if one.beer_c <= 6.5)


def course(chamber: str, begins_h: float, from_c: float = 15.0, to_c: float = 1.0) -> Course:
    began = START + begins_h * HOUR
    return Course(chamber, chamber, chamber, (StepTime("crash", began, None, from_c, to_c),))


def falling(begins_h: float, hours: int = 20) -> list[Point]:
    return [Point(START + n * HOUR, max(0.9, 15.0 - max(0.0, n - begins_h)), 1.0) for n in range(hours)]


def test_crash_lasts_from_its_step_until_the_beer_is_there() -> None:
    (found,) = crashes([course("east", 2)], {"east": falling(2, 30)})
    assert (found.begins, found.arrives) == (START + 2 * HOUR, START + 16 * HOUR)


def test_small_step_down_is_no_crash() -> None:
    assert crashes([course("east", 2, from_c=4.0)], {"east": falling(2)}) == []


def test_crash_that_does_not_arrive_lasts_as_long_as_it_was_watched() -> None:
    (found,) = crashes([course("east", 2)], {"east": falling(2, 10)})
    assert found.arrives is None
    assert found.ends == START + 9 * HOUR


@pytest.mark.parametrize(("begins_h", "share", "count"), [(6, 1.0, 1), (6, 0.3, 0), (29, 1.0, 0)])
def test_crashes_are_together_where_they_overlap_and_the_chiller_has_nothing_to_spare(
    begins_h: float, share: float, count: int
) -> None:
    found = crashes([course("east", 2), course("west", begins_h)],
                    {"east": falling(2, 60), "west": falling(begins_h, 60)})  # fmt: skip
    kwh = [(START + n * HOUR, 0.060 * share * n) for n in range(60)]
    assert len(together(WEAK, found, {"bath": kwh})) == count


def test_long_wait_for_current_is_a_conflict_of_its_circuit_and_a_short_one_is_not() -> None:
    waits = [Wait("bath", START, START + 2 * HOUR), Wait("bath", START + 5 * HOUR, START + 5.2 * HOUR)]
    (found,) = current_conflicts(WEAK, waits)
    assert (found.kind, found.where, found.ends) == ("circuit", "ring", START + 2 * HOUR)
    assert list(current_conflicts(WEAK, waits[1:])) == []


def test_conflict_is_told_before_interlocks() -> None:
    conflict = Conflict("circuit", "ring", ("bath",), START, START, "bath waits.")
    assert Answer(conflicts=[conflict], fired={"a": "x"}).verdict == "Careful: bath waits."


def test_waiting_for_a_person_is_told() -> None:
    answer = Answer(batches=[Course("a", "A", "east", waits_for="A, 'hops': Are they in?")])
    assert "wait for you: A, 'hops'" in answer.verdict


def test_answer_for_programs_is_plain_data_with_times_in_utc() -> None:
    told = plain(Answer(curve=[Point(START, 18.04567, 18.0)], steps=[StepTime("a", START, None)], began=START,
                        curves={"east": [Point(START, 1.0, None)]}))  # fmt: skip
    assert told["curve"] == [["2026-11-02T06:00:00.000Z", 18.046, 18.0]]
    assert told["steps"] == [["a", "2026-11-02T06:00:00.000Z", None]]
    assert told["curves"] == {"east": [["2026-11-02T06:00:00.000Z", 1.0, None]]}
    assert told["verdict"]


def test_long_curve_is_thinned_and_keeps_its_end() -> None:
    points = [Point(START + n * MINUTE, 1.0, None) for n in range(10_000)]
    kept = list(thinned(points))
    assert len(kept) <= 1500
    assert kept[-1] is points[-1]


def test_word_is_given_as_soon_as_the_brewer_answers_and_never_if_not() -> None:
    asks = programme("name: hops, hold: 12 degC, ends: {word: Are they in?}", "name: rest, hold: 12 degC, for: 1 h")
    question = Question(Situation(WEAK, START), "east", asks, model=plant_as_it_is, tick=MINUTE, longest=8 * HOUR)
    assert "Are they in?" in answer_to(question).batches[0].waits_for
    answered = answer_to(Question(Situation(WEAK, START), "east", asks, model=plant_as_it_is, tick=MINUTE,
                                  longest=8 * HOUR, answers_after=2 * HOUR))  # fmt: skip
    assert answered.finished
