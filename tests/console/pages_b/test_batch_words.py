"""A batch in words."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from schemas.batches import BatchPhase, BatchState, PlannedStep
from services.console.desk.batch_words import (
    PHASES,
    acts_for,
    in_order,
    lasting,
    running_step,
    strips_of,
    suggested_name,
    times_of,
    trust_words,
    when,
)

NOON = datetime(2026, 7, 1, 12, tzinfo=UTC)
DUBLIN = ZoneInfo("Europe/Dublin")


def step(name: str, begins: datetime | None = None, ends: datetime | None = None, **more: object) -> PlannedStep:
    return PlannedStep(name=name, does="hold", from_c=18, to_c=18, begins=begins, ends=ends, **more)


def batch(
    name: str = "41-pale", phase: BatchPhase = BatchPhase.RUNNING, started: datetime | None = NOON, **more: object
) -> BatchState:
    return BatchState(
        at=NOON, source="scheduler", batch=name, title=name, chamber="conical", profile="ale", phase=phase,
        started=started, **{"step": 0, "steps": (step("ferment", NOON),), **more},
    )  # fmt: skip


def test_batches_under_way_come_first_and_ended_ones_last() -> None:
    found = [
        batch("ended", BatchPhase.COMPLETE),
        batch("older", started=NOON - timedelta(days=3)),
        batch("waits", BatchPhase.IDLE, None),
        batch("newer"),
    ]
    assert [one.batch for one in in_order(found)] == ["newer", "older", "waits", "ended"]


@pytest.mark.parametrize("phase", BatchPhase)
def test_every_phase_has_words(phase: BatchPhase) -> None:
    assert PHASES[phase]


def test_only_what_a_batch_allows_is_offered() -> None:
    assert [one.text for one in acts_for(batch(phase=BatchPhase.HELD))] == ["Resume", "Stop", "Give up"]
    assert acts_for(batch(phase=BatchPhase.COMPLETE)) == ()


def test_a_word_is_asked_for_only_where_one_is_awaited() -> None:
    assert "It is done: go on" not in [one.text for one in acts_for(batch())]
    asks = (step("ferment", NOON, ends_when="somebody says: Is the dry hop out?"),)
    assert "It is done: go on" in [one.text for one in acts_for(batch(awaits="Is the dry hop out?", steps=asks))]
    assert "It is done: go on" not in [one.text for one in acts_for(batch(awaits="Add the hops."))]


def test_the_running_step_is_known_while_one_runs() -> None:
    assert running_step(batch()) is not None
    assert running_step(batch(step=None)) is None
    assert running_step(batch(step=7)) is None


def test_a_moment_is_told_on_the_sites_clocks() -> None:
    assert when(NOON, DUBLIN) == "Wed 01 Jul 13:00"
    assert when(None, DUBLIN) == "–"


@pytest.mark.parametrize(
    ("span", "said"),
    [({"days": 3, "hours": 4}, "3 d 4 h"), ({"days": 2}, "2 d"), ({"hours": 5, "minutes": 10}, "5 h 10 min"),
     ({"hours": 1}, "1 h"), ({"seconds": 59}, "1 min"), ({"days": -1}, "0 min")],
)  # fmt: skip
def test_a_span_is_told_in_two_units_at_the_most(span: dict, said: str) -> None:
    assert lasting(timedelta(**span)) == said


def test_a_forecast_end_is_told_with_its_range() -> None:
    shown = step(
        "a",
        NOON,
        NOON + timedelta(days=2),
        ends_earliest=NOON + timedelta(days=1),
        ends_latest=NOON + timedelta(days=3),
    )
    assert times_of(shown, DUBLIN).endswith(
        "four times in five its end lies between Thu 02 Jul 13:00 and Sat 04 Jul 13:00"
    )
    assert times_of(step("a", NOON), DUBLIN) == "from Wed 01 Jul 13:00 on"
    assert times_of(step("a"), DUBLIN) == "when it is its turn"


def test_how_good_forecasts_were_is_told_where_it_is_known() -> None:
    assert trust_words(batch()) == ""
    assert "80% of the time, being 12 h wide" in trust_words(batch(forecasts_held=0.8, forecast_width_h=12.0))


def test_a_step_without_an_end_runs_on_and_hides_what_cannot_be_said() -> None:
    strips = strips_of(
        [step("a", NOON, NOON + timedelta(days=1)), step("b", NOON + timedelta(days=1)), step("c")], NOON
    )
    assert [one.name for one in strips] == ["a", "b"]
    assert strips[1].ends == NOON + timedelta(days=3)


@pytest.mark.parametrize(
    ("title", "known", "name"),
    [("Oat pale", ["41-x", "7-y", "odd"], "42-oat-pale"), ("", [], "1"), ("Weizen & Co. ", [], "1-weizen-co"),
     ("é" * 9, ["3-a"], "4"), ("long " * 20, [], "1-long-long-long-long-long-long-long-lon")],
)  # fmt: skip
def test_a_name_is_suggested_that_can_stand_in_a_topic(title: str, known: list[str], name: str) -> None:
    assert suggested_name(title, known) == name
