"""Answers, chores and setpoints of people's own at their edges: none, one, the last, the moment itself."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from schemas.requests import (
    Accepted,
    ClearChore,
    ClearTemperature,
    DoChore,
    SetChore,
    SetQuietHours,
    SetTemperature,
    TellChores,
)
from services.scheduler.answers import KEPT, Answer, Answers, Refusal
from services.scheduler.book import Book
from services.scheduler.chores import ChoreList, out_of_quiet, standard_chores
from services.scheduler.manual import ManualSetpoints
from tests.scheduler.bench import MONDAY, PLANT, days, hours

DUBLIN = ZoneInfo("Europe/Dublin")
ASKED = {"at": MONDAY, "source": "cli", "id": "r1", "client": "cli", "who": "Ada"}


def answer(number: int) -> Answer:
    reply = Accepted(at=MONDAY, source="scheduler", id=f"r{number}")
    return Answer(client="cli", reply=reply)


def chores(*names: str, **more: object) -> ChoreList:
    found = ChoreList(DUBLIN)
    for name in names:
        found.set(SetChore(**ASKED, chore=name, **more), MONDAY)
    return found


def manual(book: Book | None = None, **more: object) -> ManualSetpoints:
    found = ManualSetpoints(book or Book(PLANT))
    found.set(SetTemperature(**ASKED, chamber="ale-fridge", temperature_c=12.0, **more), MONDAY)
    return found


def test_answer_is_remembered_by_its_request() -> None:
    answers = Answers()
    answers.keep(answer(1))
    assert (answers.get("r1"), answers.get("r2")) == (answer(1), None)


def test_oldest_answer_is_forgotten_beyond_the_limit() -> None:
    answers = Answers()
    for number in range(KEPT + 1):
        answers.keep(answer(number))
    assert len(answers.kept) == KEPT
    assert answers.get("r0") is None
    assert answers.get("r1") is not None


def test_answers_survive_a_restart_in_their_order() -> None:
    answers = Answers([answer(2), answer(1)])
    assert Answers(answers.kept).kept == (answer(2), answer(1))


def test_moment_outside_the_quiet_hours_is_left_alone() -> None:
    assert out_of_quiet(MONDAY, "22:30-07:00", DUBLIN) == MONDAY


def test_quiet_hours_include_their_begin_and_not_their_end() -> None:
    begins, over = datetime(2026, 1, 7, 13, tzinfo=UTC), datetime(2026, 1, 7, 15, tzinfo=UTC)
    assert [out_of_quiet(one, "13:00-15:00", DUBLIN) for one in (begins, over)] == [over, over]


def test_quiet_hours_over_midnight_end_the_next_morning() -> None:
    late = datetime(2026, 1, 7, 23, tzinfo=UTC)
    assert out_of_quiet(late, "22:30-07:00", DUBLIN) == datetime(2026, 1, 8, 7, tzinfo=UTC)


def test_list_without_chores_wakes_nobody() -> None:
    assert (ChoreList(DUBLIN).wakes_at(), ChoreList(DUBLIN).come_due(MONDAY)) == (None, [])


def test_list_wakes_for_its_soonest_chore() -> None:
    found = chores("sweep", when="Tue 09:00")
    found.set(SetChore(**ASKED, chore="line-cleaning"), MONDAY)
    assert found.wakes_at() == MONDAY + hours(25)


def test_chore_comes_due_at_its_very_moment_and_is_told_once() -> None:
    found = chores("sweep", when="09:00", every_s=0)
    told = [len(found.come_due(MONDAY + hours(after))) for after in (0.99, 1, 1, 25)]
    assert told == [0, 1, 0, 0]


def test_quiet_hours_put_off_what_is_told_and_not_what_is_due() -> None:
    found = chores("sweep", when="09:00", every_s=0)
    found.set_quiet(SetQuietHours(**ASKED, span="08:30-10:00"), MONDAY)
    assert (found.wakes_at(), found.chores["sweep"].due) == (MONDAY + hours(2), MONDAY + hours(1))


def test_chore_says_who_did_it_and_when() -> None:
    found = chores("line-cleaning")
    found.do(DoChore(**ASKED, chore="line-cleaning"), MONDAY + hours(3))
    done = found.chores["line-cleaning"]
    assert (done.done, done.done_by) == (MONDAY + hours(3), "Ada")


@pytest.mark.parametrize("kind", [ClearChore, DoChore])
def test_chore_that_is_not_set_can_be_neither_done_nor_cleared(kind: type[ClearChore | DoChore]) -> None:
    change = {ClearChore: ChoreList.clear, DoChore: ChoreList.do}[kind]
    with pytest.raises(Refusal, match="no chore sweep"):
        change(ChoreList(DUBLIN), kind(**ASKED, chore="sweep"), MONDAY)


def test_cleared_chore_is_forgotten() -> None:
    found = chores("line-cleaning")
    found.clear(ClearChore(**ASKED, chore="line-cleaning"), MONDAY)
    assert found.told(TellChores(**ASKED))["chores"] == "[]"


def test_every_standard_chore_can_be_set_by_its_name_alone() -> None:
    assert set(chores(*standard_chores()).chores) == set(standard_chores())


def test_own_temperature_lapses_at_its_time_and_not_before() -> None:
    found = manual(until=MONDAY + hours(2))
    assert found.lapse(MONDAY + hours(1.99)) == []
    assert [one.event for one in found.lapse(MONDAY + hours(2))] == ["temperature-cleared"]


def test_own_temperature_without_an_end_stays_and_wakes_nobody() -> None:
    found = manual()
    assert (found.wakes_at(), found.lapse(MONDAY + days(99))) == (None, [])


def test_chamber_goes_on_holding_what_a_person_had_asked_for() -> None:
    book = Book(PLANT)
    manual(book, until=MONDAY + hours(2)).lapse(MONDAY + hours(2))
    assert book.rests_at("ale-fridge") == 12.0


def test_temperature_that_nobody_set_cannot_be_taken_back() -> None:
    with pytest.raises(Refusal, match="nobody has set"):
        ManualSetpoints(Book(PLANT)).clear(ClearTemperature(**ASKED, chamber="ale-fridge"), MONDAY)


def test_temperature_at_the_chambers_limit_may_be_set_and_one_beyond_may_not() -> None:
    Book(PLANT).ask_temperature("ale-fridge", 30.0)
    with pytest.raises(Refusal, match="outside ale-fridge's 0 degC to 30 degC"):
        Book(PLANT).ask_temperature("ale-fridge", 30.1)
