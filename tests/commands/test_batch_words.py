"""What commands read and show: one batch in sentences and rows, answers, moments, a request as somebody makes it."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import typer
from pydantic import ValidationError
from rich.console import Console, RenderableType

from schemas.batches import BatchPhase, BatchState, PlannedStep
from schemas.requests import Accepted, HoldBatch, LogGravity, Refused, RequestBase
from services.commands.batch_views import StepsFile, entries_table, facts_of, first_replaced, steps_table
from services.commands.common import Asker, because, fail, local, quantity, show_answer, show_json
from tests.rehearsal.situations import programme

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
HOUR = timedelta(hours=1)
REST = programme("name: warm, hold: 18 degC, for: 5 h", "name: rest, hold: 8 degC")
FACTS = {"open": 1.0, "profile": REST.model_dump_json()}


def batch(**facts: object) -> BatchState:
    state: dict[str, object] = {"at": NOW, "source": "scheduler", "batch": "a", "title": "A", "chamber": "ale",
                                "profile": "trial", "phase": BatchPhase.RUNNING, "started": NOW, "step": 0,
                                "steps": ()}  # fmt: skip
    return BatchState(**(state | facts))


def step(**facts: object) -> PlannedStep:
    return PlannedStep(
        **({"name": "warm", "does": "hold", "from_c": 18, "to_c": 18, "begins": None, "ends": None} | facts)
    )


def shown(what: RenderableType) -> str:
    plain = Console(width=200, no_color=True)
    with plain.capture() as capture:
        plain.print(what)
    return capture.get()


class Service:
    """Answers everything alike, as a visit's other side."""

    name = "cli-1"

    def __init__(self, answer: Accepted | Refused) -> None:
        self.answer = answer
        self.asked: list[RequestBase] = []

    def ask(self, site: str, request: RequestBase) -> Accepted | Refused:
        self.asked.append(request)
        return self.answer


def accepted(**more: object) -> Accepted:
    return Accepted(**({"at": NOW, "source": "scheduler", "id": "1"} | more))


def refused(**more: object) -> Refused:
    return Refused(**({"at": NOW, "source": "scheduler", "id": "1", "reason": "No such batch."} | more))


def asker(answer: Accepted | Refused, who: str = "Ada") -> Asker:
    return Asker(Service(answer), "barn", who, "a test")


def test_steps_are_replaced_from_the_first_open_one_where_none_is_named() -> None:
    assert first_replaced(FACTS, "") == 1


def test_named_step_is_replaced_from_its_place_on() -> None:
    assert [first_replaced(FACTS, name) for name in ("warm", "rest")] == [0, 1]


def test_step_that_is_not_there_is_refused_with_those_that_are(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(typer.Exit) as ended:
        first_replaced(FACTS, "crash")
    assert ended.value.exit_code == 2
    assert "no step 'crash'; there are warm, rest" in capsys.readouterr().err


def test_file_without_steps_is_no_file_with_steps() -> None:
    with pytest.raises(ValidationError):
        StepsFile(steps=())


def test_batch_of_which_nothing_is_known_has_no_facts() -> None:
    assert list(facts_of(batch())) == []


def test_gravity_is_told_with_four_decimals() -> None:
    assert list(facts_of(batch(gravity_sg=1.05))) == ["Gravity 1.0500."]


def test_attenuation_is_told_beside_the_gravity() -> None:
    assert list(facts_of(batch(gravity_sg=1.012, attenuation_percent=75.4))) == ["Gravity 1.0120, 75 % attenuated."]


def test_attenuation_without_a_gravity_is_not_told() -> None:
    assert list(facts_of(batch(attenuation_percent=75.0))) == []


def test_what_is_waited_for_is_told() -> None:
    assert list(facts_of(batch(awaits="Add the hops."))) == ["Waits for you: Add the hops."]


def test_forecasts_are_told_with_their_share_and_width() -> None:
    (told,) = facts_of(batch(forecasts_held=0.75, forecast_width_h=9.6))
    assert "75% of the 80 % intervals held what happened; they were 10 h wide on average." in told


def test_forecasts_that_never_held_are_told_as_well() -> None:
    (told,) = facts_of(batch(forecasts_held=0.0))
    assert told.endswith("0% of the 80 % intervals held what happened.")


def test_batch_without_steps_has_a_table_without_rows() -> None:
    assert steps_table(batch()).row_count == 0


def test_step_without_an_end_is_shown_with_what_ends_it() -> None:
    assert "when it is dry" in shown(steps_table(batch(steps=(step(ends_when="when it is dry"),))))


def test_known_end_of_a_step_is_shown_in_place_of_what_ends_it() -> None:
    assert "when it is dry" not in shown(steps_table(batch(steps=(step(ends=NOW, ends_when="when it is dry"),))))


def test_half_an_interval_is_not_shown() -> None:
    assert " to " not in shown(steps_table(batch(steps=(step(ends_earliest=NOW),)))).splitlines()[1]


def test_arrival_is_shown_with_its_interval_where_there_is_one() -> None:
    row = step(arrives=NOW, arrives_earliest=NOW - HOUR, arrives_latest=NOW + HOUR)
    assert f"{local(NOW)} ({local(NOW - HOUR)} to {local(NOW + HOUR)})" in shown(steps_table(batch(steps=(row,))))


def test_struck_entry_is_shown_with_why_it_no_longer_counts() -> None:
    entry = {"entry": "g1", "at": NOW.isoformat(), "sg": 1.05, "by": "hydrometer", "mark": "misread"}
    assert "hydrometer  no: misread" in shown(entries_table([entry]))


def test_entry_that_counts_says_so() -> None:
    entry = {"entry": "g1", "at": NOW.isoformat(), "sg": 1.05, "by": "hydrometer", "mark": ""}
    assert shown(entries_table([entry])).rstrip().endswith("yes")


@pytest.mark.parametrize(("zone", "words"), [("UTC", "Wed 25 Nov 10:00"), ("Australia/Sydney", "Wed 25 Nov 21:00")])
def test_moment_is_written_as_on_the_clocks_of_the_site(zone: str, words: str) -> None:
    assert local(NOW, ZoneInfo(zone)) == words


def test_full_stop_of_a_reason_gives_way_to_the_remedy() -> None:
    assert because(refused(reason="Taken...", remedy="wait")) == "Taken; wait"


@pytest.mark.parametrize(("written", "unit", "value"), [("64.4 degF", "degC", 18.0), ("2 h", "second", 7200.0)])
def test_quantity_is_read_in_the_unit_that_is_needed(written: str, unit: str, value: float) -> None:
    assert quantity(written, unit) == pytest.approx(value)


def test_failure_is_told_on_standard_error_with_its_status(capsys: pytest.CaptureFixture[str]) -> None:
    assert fail("[no] markup", 7).exit_code == 7
    assert "[no] markup" in capsys.readouterr().err


def test_document_for_programs_keeps_its_letters(capsys: pytest.CaptureFixture[str]) -> None:
    show_json({"name": "Kölsch"})
    assert capsys.readouterr().out == '{"name": "Kölsch"}\n'


@pytest.mark.parametrize(("detail", "words"), [("", "Done.\n"), ("Held at 18 [degC].", "Held at 18 [degC].\n")])
def test_accepted_request_is_told_with_its_detail(detail: str, words: str, capsys: pytest.CaptureFixture[str]) -> None:
    show_answer(accepted(detail=detail), as_json=False)
    assert capsys.readouterr().out == words


def test_request_carries_who_asks_and_why() -> None:
    request = asker(accepted()).request(HoldBatch, batch="a")
    assert (request.client, request.who, request.why, request.source) == ("cli-1", "Ada", "a test", "cli")


def test_request_that_makes_no_sense_is_refused_before_it_is_sent(capsys: pytest.CaptureFixture[str]) -> None:
    asking = asker(accepted())
    with pytest.raises(typer.Exit) as ended:
        asking.ask(LogGravity, as_json=False, batch="a", hydrometer_sg=9.0, sample_c=20.0)
    assert (ended.value.exit_code, asking.visit.asked) == (2, [])
    assert "hydrometer_sg 9.0" in capsys.readouterr().err


def test_facts_of_an_accepted_question_are_handed_on() -> None:
    assert asker(accepted(facts={"open": 2.0})).facts(HoldBatch, batch="a") == {"open": 2.0}


def test_refused_question_ends_the_command_with_the_reason(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(typer.Exit):
        asker(refused()).facts(HoldBatch, batch="a")
    assert "Refused: No such batch." in capsys.readouterr().err
