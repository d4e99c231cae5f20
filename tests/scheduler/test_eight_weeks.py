"""Eight weeks, five batches, a power cut across a trigger, clocks that are set, a lying instrument, a silent person."""

from datetime import UTC, datetime, timedelta
from functools import cache
from random import Random

import pytest

from schemas.requests import Accepted
from schemas.telemetry import GravityReading, Quality
from tests.scheduler.bench import Bench, days, hours, profile

SPRING, AUTUMN = datetime(2026, 3, 2, 8, tzinfo=UTC), datetime(2026, 9, 28, 8, tzinfo=UTC)
CASES = [(start, seed) for start in (SPRING, AUTUMN) for seed in range(3)]
CRASH = ("name: crash, to: 2 degC, over: 1 d", "name: serve, hold: 4 degC")
GRAVITY = "name: ferment, hold: 18 degC, ends: {gravity_at_most: 1.015}"
LIE_SG, LIES = -0.03, (3.0, 4.0)


def true_gravity(day: float) -> float:
    return 1.010 + 0.040 / (1 + (day / 3) ** 4)


@cache
def story(start: datetime, seed: int) -> Bench:
    """Both clock changes lie in the fourth week; the power fails from day 29.5 to day 30.5."""
    bench = Bench(start, period=timedelta(minutes=2))
    ends = "ends: {all: [{elapsed: 10 d}, {next: 'Fri 18:00'}]}"
    wait = "ends: {word: ready?}, latest: 5 d, when_late: hold-and-call"
    programmes = {
        "by-the-weekend": ("ale-fridge", f"name: ferment, hold: 18 degC, {ends}"),
        "through-the-cut": ("lager-fridge", "name: ferment, hold: 10 degC, for: 30 d"),
        "never-answered": ("third", f"name: ferment, hold: 18 degC, {wait}"),
        "lied-to": ("fourth", GRAVITY),
        "after-another": (
            "keg-fridge",
            "name: ferment, hold: 12 degC, ends: {reached: {batch: through-the-cut, step: crash}}",
        ),
    }
    for batch, (chamber, first) in programmes.items():
        answer = bench.start(profile(first, *CRASH), batch, chamber, original_gravity_sg=1.050)
        assert isinstance(answer, Accepted)
    random = Random(seed)
    live(bench, days(29.5), random)
    bench.sleep(days(1))
    live(bench, days(25.5), random)
    return bench


def live(bench: Bench, span: timedelta, random: Random) -> None:
    """Half an hour at a time, with a reading of the fourth chamber's instrument."""
    end = bench.now + span
    while bench.now < end:
        bench.run(timedelta(minutes=30))
        day = (bench.now - bench.journal[0].at) / timedelta(days=1)
        lie = LIE_SG if LIES[0] <= day < LIES[1] else 0.0
        said = true_gravity(day) + lie + random.gauss(0, 0.0008)
        reading = GravityReading(
            at=bench.now, source="bridge", chamber="fourth", probe="float", quality=Quality.GOOD, gravity_sg=said
        )
        bench.give(reading)


@pytest.mark.parametrize(("start", "seed"), CASES)
def test_steps_that_time_alone_ends_are_exactly_where_they_must_be(start: datetime, seed: int) -> None:
    bench = story(start, seed)
    friday = start.replace(hour=17 if start is AUTUMN else 18) + days(11)
    back = start + days(30.5)
    assert bench.steps_begun("by-the-weekend")[1:] == [("crash", friday), ("serve", friday + days(1))]
    assert bench.steps_begun("through-the-cut")[1:] == [("crash", back), ("serve", back + days(1))]
    assert bench.steps_begun("after-another")[1:] == [("crash", back), ("serve", back + days(1))]


@pytest.mark.parametrize(("start", "seed"), CASES)
def test_batch_whose_person_never_answers_is_held_once_and_goes_nowhere(start: datetime, seed: int) -> None:
    bench = story(start, seed)
    assert bench.batch("never-answered").phase == "held"
    held = [one.at for one in bench.journal if (one.event, one.batch) == ("batch-held", "never-answered")]
    assert held == [start + days(5)]


@pytest.mark.parametrize(("start", "seed"), CASES)
def test_lie_of_a_day_moves_nothing_and_the_truth_does(start: datetime, seed: int) -> None:
    bench = story(start, seed)
    truth = start + next(hours(n) for n in range(2000) if true_gravity(n / 24) <= 1.015)
    begun = dict(bench.steps_begun("lied-to"))["crash"]
    assert timedelta(hours=-6) <= begun - truth <= timedelta(hours=6)


@pytest.mark.parametrize(("start", "seed"), CASES)
def test_every_line_of_the_journal_has_its_own_id_and_every_step_begins_once(start: datetime, seed: int) -> None:
    bench = story(start, seed)
    ids = [one.id for one in bench.journal]
    begun = [(one.batch, one.facts["step"]) for one in bench.journal if one.event == "step-begun"]
    assert (len(ids), len(begun)) == (len(set(ids)), len(set(begun)))


def test_same_seed_gives_the_same_journal() -> None:
    first = [one.model_dump_json() for one in story(SPRING, 0).journal]
    story.cache_clear()
    assert [one.model_dump_json() for one in story(SPRING, 0).journal] == first
