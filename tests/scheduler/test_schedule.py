"""Exactly the schedule: power cuts, kills and clock changes neither skip a step nor double one."""

import json
from datetime import UTC, datetime, timedelta
from random import Random
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.requests import HoldBatch, LogGravity, ResumeBatch, SetTemperature
from tests.scheduler.bench import MONDAY, Bench, days, hours, profile

DUBLIN = ZoneInfo("Europe/Dublin")
CHANGES = [datetime(2026, 3, 29, 1, tzinfo=UTC), datetime(2026, 10, 25, 1, tzinfo=UTC)]
THREE = profile(
    "name: ferment, hold: 18 degC, for: 3 d", "name: rest, hold: 20 degC, for: 1 d", "name: crash, hold: 2 degC"
)


def test_step_due_during_a_power_cut_happens_on_return_once_late_and_says_so() -> None:
    bench = Bench()
    bench.start(THREE)
    bench.run(days(2))
    bench.sleep(days(1.5))
    assert bench.steps_begun() == [("ferment", MONDAY), ("rest", MONDAY + days(3.5))]
    late = bench.condition("step-late")
    assert late is not None
    assert "12 h late" in late.detail
    assert bench.batch().steps[1].late


def test_late_step_has_its_full_length() -> None:
    bench = Bench()
    bench.start(THREE)
    bench.sleep(days(10))
    assert [name for name, _ in bench.steps_begun()] == ["ferment", "rest"]
    bench.run(days(1.5))
    assert bench.steps_begun()[2] == ("crash", MONDAY + days(11))


def test_being_late_is_told_for_a_day() -> None:
    bench = Bench()
    bench.start(profile("name: a, hold: 18 degC, for: 1 h", "name: b, hold: 4 degC"))
    bench.sleep(hours(5))
    bench.run(hours(25))
    late = bench.condition("step-late")
    assert late is not None
    assert not late.active


def test_short_absence_delays_nothing() -> None:
    bench = Bench()
    bench.start(THREE)
    bench.run(days(3) - timedelta(seconds=30))
    bench.sleep(timedelta(minutes=2))
    assert bench.steps_begun()[1] == ("rest", MONDAY + days(3))
    assert bench.condition("step-late") is None


def test_machine_that_slept_is_late_even_without_a_restart() -> None:
    bench = Bench()
    bench.start(THREE)
    bench.now += days(4)
    bench.hear(bench.scheduler.tick(bench.now))
    assert bench.batch().steps[1].late


def test_measurement_entered_late_moves_the_batch_on_without_calling_it_late() -> None:
    bench = Bench()
    bench.start(
        profile("name: a, hold: 18 degC, ends: {gravity_at_most: 1.012}", "name: b, to: 2 degC, over: 10 h"),
        original_gravity_sg=1.05,
    )
    bench.run(days(4))
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.010, taken=MONDAY + days(3))
    assert bench.steps_begun()[1] == ("b", MONDAY + days(4))
    assert (bench.setpoint().temperature_c, bench.condition("step-late")) == (18, None)


def test_batch_that_was_to_begin_during_a_power_cut_begins_on_return() -> None:
    bench = Bench()
    bench.start(THREE, begins=MONDAY + hours(2))
    bench.sleep(hours(6))
    assert bench.steps_begun() == [("ferment", MONDAY + hours(6))]
    assert bench.batch().steps[0].late


def test_manual_temperature_that_expired_during_a_power_cut_is_gone_on_return() -> None:
    bench = Bench()
    bench.start(THREE)
    bench.ask(SetTemperature, chamber="ale-fridge", temperature_c=15, until=MONDAY + hours(1))
    bench.sleep(hours(2))
    assert bench.setpoint().temperature_c == 18


@pytest.mark.parametrize("change", CHANGES, ids=["spring", "autumn"])
@pytest.mark.parametrize("minute", [0, 30, 59])
@pytest.mark.parametrize("hour", [0, 1, 2])
@pytest.mark.parametrize("word", ["next", "not_before"])
def test_step_in_the_night_of_change_happens_once_a_day(change: datetime, hour: int, minute: int, word: str) -> None:
    bench = Bench(change - hours(20), period=timedelta(minutes=2))
    wait = f"ends: {{{word}: '{hour:02}:{minute:02}'}}"
    steps = [f"name: night {n}, hold: {n + 10} degC, {wait}" for n in range(3)]
    bench.start(profile(*steps, "name: last, hold: 4 degC"))
    bench.run(days(4))
    dates = [begun.astimezone(DUBLIN).date() for _, begun in bench.steps_begun()[1:]]
    assert [(later - earlier).days for earlier, later in zip(dates, dates[1:], strict=False)] == [1, 1]


def test_days_of_elapsed_time_are_24_hours_whatever_the_clocks_do() -> None:
    bench = Bench(datetime(2026, 3, 28, 18, tzinfo=UTC))
    bench.start(profile("name: a, hold: 18 degC, for: 1 d", "name: b, hold: 4 degC"))
    bench.run(days(2))
    assert bench.steps_begun()[1][1] == datetime(2026, 3, 29, 18, tzinfo=UTC)


def test_clock_that_is_set_back_ends_and_begins_nothing() -> None:
    bench = Bench()
    bench.start(THREE)
    bench.run(days(3.5))
    before = bench.steps_begun()
    bench.now -= days(2)
    bench.run(days(1))
    assert bench.steps_begun() == before


lengths = st.lists(st.integers(1, 72), min_size=1, max_size=5)
cuts = st.lists(st.tuples(st.integers(1, 100), st.integers(1, 60)), max_size=4)


@given(lengths=lengths, cuts=cuts)
@settings(max_examples=40, deadline=None)
def test_every_step_happens_exactly_once_in_order_whatever_the_power_does(
    lengths: list[int], cuts: list[tuple[int, int]]
) -> None:
    """Steps of whole hours, power cuts after some hours for some hours; a plain model says what must be."""
    bench = Bench(period=timedelta(minutes=2))
    steps = [f"name: s{n}, hold: {n + 5} degC, for: {length} h" for n, length in enumerate(lengths)]
    bench.start(profile(*steps, "name: last, hold: 4 degC"))
    for on, off in cuts:
        bench.run(hours(on))
        bench.sleep(hours(off))
    bench.run(hours(sum(lengths) + 1))
    assert bench.steps_begun() == expected_steps(lengths, cuts)


def expected_steps(lengths: list[int], cuts: list[tuple[int, int]]) -> list[tuple[str, datetime]]:
    """A step ends so long after it began, or when the power is back where it was off then."""
    outages, at = [], 0
    for on, off in cuts:
        outages.append((at + on, at + on + off))
        at += on + off
    moments = [0]
    for length in lengths:
        end = moments[-1] + length
        moments.append(next((back for gone, back in outages if gone < end < back), end))
    names = [*(f"s{n}" for n in range(len(lengths))), "last"]
    return [(name, MONDAY + hours(moment)) for name, moment in zip(names, moments, strict=True)]


@pytest.mark.parametrize("seed", range(6))
def test_killed_at_random_moments_it_does_exactly_what_it_would_have_done(seed: int) -> None:
    """Between any two calls the process may die; the state on disk is the one before the last answer left."""
    assert story(Random(seed), kills=Random(seed + 1000)) == story(Random(seed), kills=None)


def story(random: Random, kills: Random | None) -> list[tuple[str, str, str]]:
    """Eighteen days of a batch with gravity readings, holds and a local time; what the journal says of it."""
    bench = Bench(period=timedelta(minutes=2))
    bench.start(
        profile(
            "name: ferment, hold: 18 degC, ends: {gravity_at_most: 1.020}, latest: 8 d, when_late: go-on",
            "name: finish, to: 20 degC, rate: 0.1 K/h, ends: {all: [{elapsed: 2 d}, {next: 'Fri 18:00'}]}",
            "name: crash, to: 2 degC, over: 20 h",
            "name: serve, hold: 4 degC",
        ),
        original_gravity_sg=1.050,
    )
    hold_at, gravity = random.randrange(24 * 10), 1.050
    for hour in range(24 * 18):
        bench.run(hours(1), hook=None if kills is None else lambda: _perhaps_kill(bench, kills))
        gravity = max(1.010, gravity - random.uniform(0, 0.0006))
        if hour % 12 == 0:
            bench.ask(LogGravity, batch="41-pale", hydrometer_sg=round(gravity, 4))
        if hour in (hold_at, hold_at + 9):
            bench.ask(HoldBatch if hour == hold_at else ResumeBatch, batch="41-pale")
    return [(one.event, str(one.facts.get("step", "")), str(one.facts["effective"])) for one in bench.journal]


def _perhaps_kill(bench: Bench, kills: Random) -> None:
    if kills.random() < 0.01:
        bench.restart(json.dumps(json.loads(bench.scheduler.snapshot().model_dump_json())))
