"""Sampling once a minute instead of every ten seconds does not change what a rehearsal answers."""

from datetime import timedelta
from math import sqrt
from pathlib import Path

import pytest

from schemas.plant import Plant
from schemas.plant_file import load
from services.rehearsal.answer import Answer
from services.rehearsal.ensemble import on_stage
from services.rehearsal.identified import plant_as_it_is
from services.rehearsal.performance import Question, sampled
from services.rehearsal.whatif import answer_to
from tests.rehearsal.situations import HOUR, START, ask, programme, situation_of, starting

MINUTE = timedelta(minutes=1)
CRASH = programme(
    "name: hold, hold: 18 degC, for: 5 h",
    "name: crash, to: 8 degC, over: 8 h",
    "name: keep, hold: 8 degC, ends: {within_tolerance: 1 h}",
    "name: rest, hold: 8 degC",
)
CHAMBERS = ("ale-fridge", "conical")


def small_barn() -> Plant:
    """A fridge, and a vessel on its bath."""
    barn = load(Path("services/simulator/barn.yaml"))
    kept = {name: one for name, one in barn.chambers.items() if name in (*CHAMBERS, "bath")}
    return barn.model_copy(update={"chambers": kept})


PLANT = small_barn()


@pytest.fixture(scope="module")
def both() -> tuple[Answer, Answer]:
    stage, _ = on_stage(PLANT, START, tick=MINUTE)
    for name in CHAMBERS:
        ask(stage, PLANT, starting(name, name, CRASH, stage.now))
    stage.run_until(START + HOUR)
    situation = situation_of(stage, PLANT, dict.fromkeys(CHAMBERS, CRASH))
    ticks = timedelta(seconds=10), MINUTE
    fine, coarse = (
        answer_to(Question(situation, "conical", model=plant_as_it_is, tick=tick, longest=18 * HOUR)) for tick in ticks
    )
    return fine, coarse


@pytest.mark.parametrize("chamber", CHAMBERS)
def test_beer_is_as_warm_however_often_it_is_looked_at(chamber: str, both: tuple[Answer, Answer]) -> None:
    fine, coarse = (one.curves[chamber] for one in both)
    errors = [one.beer_c - other.beer_c for one, other in zip(fine, coarse, strict=True)]
    assert sqrt(sum(error * error for error in errors) / len(errors)) <= 0.2


def test_steps_come_at_the_same_times(both: tuple[Answer, Answer]) -> None:
    for fine, coarse in zip(both[0].batches, both[1].batches, strict=True):
        assert [one.name for one in fine.steps] == [one.name for one in coarse.steps]
        for one, other in zip(fine.steps, coarse.steps, strict=True):
            assert abs(one.began - other.began) <= timedelta(minutes=30)


def test_energy_frost_and_conflicts_are_the_same(both: tuple[Answer, Answer]) -> None:
    fine, coarse = both
    assert (fine.frozen, fine.conflicts) == (coarse.frozen, coarse.conflicts) == (0.0, [])
    assert coarse.kwh == pytest.approx(fine.kwh, rel=0.15)


def test_only_contacts_look_less_often_where_time_goes_in_coarse_ticks() -> None:
    assert sampled(PLANT, timedelta(seconds=10)) is PLANT
    calm = sampled(PLANT, MINUTE).chambers["ale-fridge"]
    assert calm.probes["beer"] == PLANT.chambers["ale-fridge"].probes["beer"]
    assert calm.probes["door"].every_s == 600.0
