"""Questions to the scheduler: what was measured by hand, which chores there are. They change nothing."""

import json

import pytest

from schemas.requests import (
    Accepted,
    DoChore,
    LogGravity,
    Refused,
    RequestBase,
    SetChore,
    SetQuietHours,
    StrikeGravity,
    TellChores,
    TellGravity,
)
from tests.scheduler.bench import Bench, profile

HOLD = profile("name: a, hold: 18 degC, for: 9 d")


def facts(bench: Bench, kind: type[RequestBase], **fields: object) -> dict[str, object]:
    answer = bench.ask(kind, **fields)
    assert isinstance(answer, Accepted)
    return dict(answer.facts)


def test_entries_are_told_with_the_name_to_strike_them_by() -> None:
    bench = Bench()
    bench.start(HOLD, original_gravity_sg=1.050)
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.030)
    (entry,) = json.loads(str(facts(bench, TellGravity, batch="41-pale")["entries"]))
    assert entry["sg"] == pytest.approx(1.030, abs=0.0005)
    assert (entry["by"], entry["mark"]) == ("Ada", "")
    assert isinstance(bench.ask(StrikeGravity, batch="41-pale", entry=entry["entry"], why="misread"), Accepted)


def test_struck_entry_is_still_told_with_why_it_counts_no_longer() -> None:
    bench = Bench()
    bench.start(HOLD, original_gravity_sg=1.050)
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.030)
    (entry,) = json.loads(str(facts(bench, TellGravity, batch="41-pale")["entries"]))
    bench.ask(StrikeGravity, batch="41-pale", entry=entry["entry"], why="misread")
    (struck,) = json.loads(str(facts(bench, TellGravity, batch="41-pale")["entries"]))
    assert "misread" in struck["mark"]
    assert bench.batch().gravity_sg is None


def test_unknown_batch_has_nothing_to_tell() -> None:
    assert isinstance(Bench().ask(TellGravity, batch="nobody"), Refused)


def test_chores_are_told_soonest_first_with_the_quiet_hours() -> None:
    bench = Bench()
    bench.ask(SetChore, chore="line-cleaning")
    bench.ask(SetChore, chore="sweep", title="Sweep", when="Tue 09:00")
    bench.ask(SetQuietHours, span="22:30-07:00")
    told = facts(bench, TellChores)
    assert [one["chore"] for one in json.loads(str(told["chores"]))] == ["sweep", "line-cleaning"]
    assert told["quiet"] == "22:30-07:00"


def test_chore_that_was_done_says_by_whom() -> None:
    bench = Bench()
    bench.ask(SetChore, chore="line-cleaning")
    bench.ask(DoChore, chore="line-cleaning")
    (chore,) = json.loads(str(facts(bench, TellChores)["chores"]))
    assert chore["done_by"] == "Ada"


def test_names_that_are_enough_are_told_also_when_nothing_is_set() -> None:
    told = facts(Bench(), TellChores)
    assert json.loads(str(told["chores"])) == []
    assert "line-cleaning" in str(told["known"])


def test_question_changes_nothing_and_is_answered_anew_each_time() -> None:
    bench = Bench()
    before = bench.scheduler.snapshot()
    for _ in range(2):
        facts(bench, TellChores)
    assert bench.scheduler.snapshot() == before
    assert bench.journal == []
