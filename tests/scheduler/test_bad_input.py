"""Everything that cannot be is refused with the reason, and changes nothing: no batch, no setpoint, no journal line."""

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from pydantic import ValidationError

from schemas.profiles import Profile
from schemas.requests import Accepted, EditSteps, MoveBatch, Refused, RequestBase, SkipStep, StartBatch
from tests.scheduler.bench import MONDAY, Bench, profile

SERVE = "name: serve, hold: 4 degC"
WARM = "name: warm, hold: 18 degC, for: 2 d"
YEAST = {"yeast_attenuation": "75 %"}
Case = tuple[str, Callable[[Bench], tuple[type[RequestBase], dict[str, Any]]], list[str]]


def starting(programme: Profile, **more: Any) -> Callable[[Bench], tuple[type[RequestBase], dict[str, Any]]]:
    base = {"batch": "new", "chamber": "third", "profile": programme, "original_gravity_sg": 1.050}
    return lambda bench: (StartBatch, {**base, **more})


def editing(first: int, *steps: str) -> Callable[[Bench], tuple[type[RequestBase], dict[str, Any]]]:
    return lambda bench: (EditSteps, {"batch": "41-pale", "first": first, "steps": profile(*steps).steps})


def endless(bench: Bench) -> tuple[type[RequestBase], dict[str, Any]]:
    steps = (*profile("name: x, hold: 18 degC").steps, *profile("name: y, hold: 4 degC").steps)
    return EditSteps, {"batch": "41-pale", "first": 1, "steps": steps}


CASES: list[Case] = [
    ("a programme that can never end", endless, ["'x' can never end"]),
    (
        "a gravity below what the yeast can reach",
        starting(profile("name: a, hold: 18 degC, ends: {gravity_at_most: 1.005}", SERVE, **YEAST)),
        ["90 % of attenuation", "75 %"],
    ),
    (
        "an attenuation above what the yeast can reach",
        starting(profile("name: a, hold: 18 degC, ends: {attenuation_at_least: 80 %}", SERVE, **YEAST)),
        ["80 %", "75 %"],
    ),
    ("a begin in the past", starting(profile(WARM, SERVE), begins=MONDAY - timedelta(days=1)), ["past"]),
    (
        "a step until the past",
        starting(profile("name: a, hold: 18 degC, until: 2026-03-01T18:00:00Z", SERVE)),
        ["01 Mar 2026 18:00"],
    ),
    ("a step outside the limits", starting(profile("name: a, hold: 35 degC, for: 1 d", SERVE)), ["35 degC", "30 degC"]),
    ("two batches in one chamber", starting(profile(WARM, SERVE), chamber="ale-fridge"), ["41-pale is in ale-fridge"]),
    ("a batch of the same name", starting(profile(WARM, SERVE), batch="41-pale"), ["there is a batch 41-pale already"]),
    ("an unknown chamber", starting(profile(WARM, SERVE), chamber="attic"), ["there is no chamber attic"]),
    ("a move into a taken chamber", lambda _: (MoveBatch, {"batch": "41-pale", "chamber": "fourth"}), ["42-bock"]),
    ("an edit to a finished step", editing(0, WARM, SERVE), ["'first' is finished"]),
    ("an edit outside the limits", editing(1, "name: a, hold: -9 degC, for: 1 d", SERVE), ["-9 degC"]),
    ("an edit to an unknown batch", lambda _: (EditSteps, {"batch": "nobody", "first": 0,
                                               "steps": profile(WARM).steps}), ["there is no batch nobody"]),
]  # fmt: skip


@pytest.fixture
def site() -> Bench:
    bench = Bench()
    bench.start(profile("name: first, hold: 18 degC, for: 2 d", "name: second, hold: 17 degC, for: 2 d", SERVE))
    bench.start(profile(WARM, SERVE), "42-bock", "fourth")
    bench.ask(SkipStep, batch="41-pale")
    return bench


@pytest.mark.parametrize(("case", "words"), [row[1:] for row in CASES], ids=[row[0] for row in CASES])
def test_what_cannot_be_is_refused_with_the_reason_and_changes_nothing(
    site: Bench, case: Any, words: list[str]
) -> None:
    before, said = site.scheduler.snapshot().model_copy(update={"answers": ()}), len(site.said)
    kind, fields = case(site)
    answer = site.ask(kind, **fields)
    assert isinstance(answer, Refused)
    assert all(word in answer.reason for word in words), answer.reason
    assert site.said[said:] == [answer]
    assert site.scheduler.snapshot().model_copy(update={"answers": ()}) == before


def test_refused_request_that_is_repeated_gets_the_same_answer(site: Bench) -> None:
    kind, fields = CASES[6][1](site)
    first = site.ask(kind, id="again", **fields)
    site.run(timedelta(hours=1))
    assert site.ask(kind, id="again", **fields) == first


def test_same_programme_is_accepted_where_nothing_speaks_against_it(site: Bench) -> None:
    assert isinstance(site.start(profile(WARM, SERVE), "43-mild", "third"), Accepted)


@pytest.mark.parametrize("step", ["name: a, hold: 18 degC", "name: a, free_rise: 22 degC"])
def test_profile_that_can_never_end_is_none(step: str) -> None:
    with pytest.raises((ValidationError, ValueError), match="can never end"):
        profile(step, SERVE)
