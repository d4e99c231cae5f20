"""Chores, quiet hours, and people who are needed."""

import pytest

from schemas.requests import Accepted, ClearChore, ConfirmStep, DoChore, Refused, SetChore, SetQuietHours
from services.scheduler.chores import standard_chores
from tests.scheduler.bench import MONDAY, Bench, days, hours, profile

SATURDAY_TEN = MONDAY + days(5) + hours(2)


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    assert isinstance(bench.ask(SetChore, chore="line-cleaning"), Accepted)
    return bench


def told(bench: Bench, chore: str = "line-cleaning") -> list[object]:
    return [one.at for one in bench.journal if one.event == "chore-due" and one.facts["chore"] == chore]


def test_known_chore_comes_due_on_its_day(bench: Bench) -> None:
    bench.run(days(6))
    assert told(bench) == [SATURDAY_TEN]
    due = bench.condition("chore-due-line-cleaning", "site")
    assert due is not None
    assert due.detail.startswith("Clean the beer lines. Caustic burns")


def test_chore_keeps_its_rhythm_whenever_it_is_done(bench: Bench) -> None:
    for span in (8, 14, 16):
        bench.run(days(span))
        bench.ask(DoChore, chore="line-cleaning")
    assert told(bench) == [SATURDAY_TEN, SATURDAY_TEN + days(14), SATURDAY_TEN + days(28) - hours(1)]


def test_done_chore_is_told_no_longer(bench: Bench) -> None:
    bench.run(days(6))
    bench.ask(DoChore, chore="line-cleaning", who="Bo")
    ended = bench.condition("chore-due-line-cleaning", "site")
    assert ended is not None
    assert not ended.active


def test_chore_done_before_its_time_is_due_a_whole_turn_later(bench: Bench) -> None:
    bench.run(days(4))
    bench.ask(DoChore, chore="line-cleaning")
    bench.run(days(13))
    assert told(bench) == []


def test_chore_missed_in_a_long_power_cut_is_told_once(bench: Bench) -> None:
    bench.sleep(days(40))
    bench.run(days(1))
    assert len(told(bench)) == 1
    assert "it was due 07 Mar" in next(one.why for one in bench.journal if one.event == "chore-due")


def test_chore_in_quiet_hours_is_told_when_they_end() -> None:
    bench = Bench()
    bench.ask(SetChore, chore="weigh", title="Weigh", when="06:00", every_s=0)
    bench.ask(SetQuietHours, span="22:30-07:30")
    bench.run(days(1))
    assert told(bench, "weigh") == [MONDAY + hours(23.5)]


def test_own_chore_needs_a_time() -> None:
    answer = Bench().ask(SetChore, chore="sweep")
    assert isinstance(answer, Refused)
    assert "line-cleaning" in answer.remedy


def test_cleared_chore_is_gone(bench: Bench) -> None:
    bench.ask(ClearChore, chore="line-cleaning")
    bench.run(days(6))
    assert told(bench) == []


@pytest.mark.parametrize("verb", [ClearChore, DoChore])
def test_chore_that_is_not_set_is_refused(verb: type) -> None:
    assert isinstance(Bench().ask(verb, chore="sweep"), Refused)


def test_chores_survive_a_restart(bench: Bench) -> None:
    bench.restart()
    bench.run(days(6))
    assert told(bench) == [SATURDAY_TEN]


@pytest.mark.parametrize("name", standard_chores())
def test_every_known_chore_can_be_set_by_its_name_alone(name: str) -> None:
    assert isinstance(Bench().ask(SetChore, chore=name), Accepted)


def test_instruction_of_a_step_calls_for_a_hand_for_a_day() -> None:
    bench = Bench()
    bench.start(profile("name: a, hold: 18 degC, instruction: Add the hops."))
    called = bench.condition("hand-needed")
    assert called is not None
    assert called.detail == "41-pale: Add the hops."
    bench.run(days(1.1))
    ended = bench.condition("hand-needed")
    assert ended is not None
    assert not ended.active


def test_word_is_asked_for_only_when_it_is_all_that_is_missing() -> None:
    bench = Bench()
    bench.start(
        profile("name: a, hold: 18 degC, ends: {all: [{elapsed: 5 h}, {word: Hops out?}]}", "name: b, hold: 2 degC")
    )
    assert bench.condition("hand-needed") is None
    bench.run(hours(6))
    called = bench.condition("hand-needed")
    assert called is not None
    assert called.since == MONDAY + hours(5)
    bench.ask(ConfirmStep, batch="41-pale")
    assert [name for name, _ in bench.steps_begun()] == ["a", "b"]
