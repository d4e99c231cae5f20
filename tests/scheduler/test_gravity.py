"""Gravity: by hand and from instruments that float, drift, jump and lie."""

from datetime import timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing.hydrometer import corrected_gravity
from schemas.ends import Stability
from schemas.requests import Accepted, LogGravity, Refused, StrikeGravity
from schemas.telemetry import GravityReading, Quality
from services.scheduler.gravity_facts import GravityFacts, change_at_most
from services.scheduler.gravity_log import GravityLog, GravityPoint, enter, hear
from tests.scheduler.bench import MONDAY, Bench, days, hours, profile

STEPS = ("name: a, hold: 18 degC, ends: {gravity_stable: {within: 0.001, over: 48 h}}", "name: b, hold: 2 degC")


@pytest.fixture
def bench() -> Bench:
    bench = Bench()
    bench.start(profile(*STEPS), original_gravity_sg=1.050)
    return bench


def reading(bench: Bench, gravity_sg: float, quality: Quality = Quality.GOOD) -> GravityReading:
    return GravityReading(
        at=bench.now, source="bridge", chamber="ale-fridge", probe="float", quality=quality, gravity_sg=gravity_sg
    )


def true_gravity(hour: float) -> float:
    """An invented fermentation: from 1.050 to 1.010, half way after two days."""
    return 1.010 + 0.040 / (1 + (hour / 48) ** 4)


def floating(
    hours_: float, seed: int = 1, lie: tuple[float, float, float] = (0, 0, 0), offset: float = 0
) -> GravityLog:
    """What a log holds of an instrument read every 15 minutes, that may lie by so much from an hour to another."""
    log, random = GravityLog(), Random(seed)
    for quarter in range(int(hours_ * 4)):
        hour = quarter / 4
        said = true_gravity(hour) + offset + random.gauss(0, 0.0008)
        if lie[0] <= hour < lie[1]:
            said += lie[2]
        log, _ = hear(log, "float", said, MONDAY + hours(hour))
    return log


def test_hydrometer_is_corrected_for_the_samples_temperature(bench: Bench) -> None:
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.030, sample_c=28)
    assert bench.batch().gravity_sg == pytest.approx(corrected_gravity(1.030, 28), abs=1e-4)


def test_refractometer_of_the_wort_gives_the_original_gravity() -> None:
    """12.4 Brix shown over a wort factor of 1.04 is 11.9 degP, 1.048 by the ASBC polynomial."""
    bench = Bench()
    bench.start(profile("name: a, hold: 18 degC"))
    bench.ask(LogGravity, batch="41-pale", refractometer_brix=12.4, is_original=True)
    assert bench.batch().original_gravity_sg == pytest.approx(1.048, abs=5e-4)


def test_refractometer_of_the_beer_needs_the_original_gravity() -> None:
    bench = Bench()
    bench.start(profile("name: a, hold: 18 degC"))
    answer = bench.ask(LogGravity, batch="41-pale", refractometer_brix=6.5)
    assert isinstance(answer, Refused)
    assert "original gravity" in answer.reason


def test_attenuation_and_alcohol_are_told_with_the_batch(bench: Bench) -> None:
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.010)
    told = bench.batch()
    assert told.attenuation_percent == pytest.approx(79.3, abs=0.3)
    assert told.alcohol_percent == pytest.approx(5.3, abs=0.15)


def test_setpoint_tells_where_this_beer_freezes(bench: Bench) -> None:
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.010)
    assert bench.setpoint().freezes_at_c == pytest.approx(-1.7, abs=0.2)


def test_measurement_tells_who_and_when(bench: Bench) -> None:
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.020, who="Bo")
    line = bench.journal[-1]
    assert (line.event, line.who, line.facts["gravity_sg"]) == ("gravity-logged", "Bo", pytest.approx(1.020))


def test_struck_entry_is_kept_and_no_longer_counts(bench: Bench) -> None:
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.020, id="slip")
    assert isinstance(bench.ask(StrikeGravity, batch="41-pale", entry="slip", why="misread"), Accepted)
    assert bench.batch().gravity_sg is None
    kept = bench.scheduler.book.batches["41-pale"].gravity.points
    assert [one.mark for one in kept] == ["struck by Ada: misread"]


def test_corrected_entry_replaces_the_first(bench: Bench) -> None:
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.002, id="slip")
    bench.ask(LogGravity, batch="41-pale", hydrometer_sg=1.020, replaces="slip")
    assert bench.batch().gravity_sg == pytest.approx(1.020)


def test_striking_what_is_not_there_is_refused(bench: Bench) -> None:
    assert isinstance(bench.ask(StrikeGravity, batch="41-pale", entry="none"), Refused)


def test_instruments_readings_become_a_point_each_half_hour() -> None:
    log = floating(24)
    assert 45 <= len(log.points) <= 49


def test_instrument_agrees_with_the_truth_within_its_noise() -> None:
    facts = GravityFacts(floating(60), 1.050)
    assert facts.level_sg == pytest.approx(true_gravity(60), abs=0.0015)


@pytest.mark.parametrize("size", [-0.020, -0.010, 0.010, 0.030])
@pytest.mark.parametrize("seed", range(5))
def test_instrument_that_lies_for_a_day_is_doubted_and_then_believed_again(size: float, seed: int) -> None:
    log = floating(120, seed, lie=(60, 84, size))
    doubted = [one.at for one in log.points if not one.counts]
    assert doubted
    assert MONDAY + hours(59) <= min(doubted)
    assert max(doubted) <= MONDAY + hours(86)
    assert len(doubted) >= 44


@pytest.mark.parametrize("seed", range(5))
def test_lie_of_a_day_ends_no_step(seed: int) -> None:
    facts = GravityFacts(floating(72, seed, lie=(30, 54, -0.030)), 1.050)
    assert facts.at_most(1.015) is None


def test_jump_for_good_is_believed_after_a_day_and_a_half() -> None:
    log = floating(200, lie=(60, 200, -0.006))
    assert log.points[-1].counts
    assert not next(one for one in log.points if one.at > MONDAY + hours(80)).counts


def test_measurement_by_hand_sets_a_drifted_instrument_right() -> None:
    log = floating(120, offset=0.004)
    by_hand = GravityPoint(at=MONDAY + hours(120), sg=true_gravity(120), sd=0.0005, by="Ada", hand=True)
    facts = GravityFacts(enter(log, by_hand), 1.050)
    assert facts.points[-2].sg == pytest.approx(true_gravity(120), abs=0.002)


def test_measurement_by_hand_confirms_an_instrument_that_has_jumped() -> None:
    log = floating(72, lie=(60, 72, -0.008))
    seen = log.points[-1]
    log = enter(log, GravityPoint(at=seen.at, sg=seen.sg, sd=0.0005, by="Ada", hand=True))
    log, _ = hear(log, "float", seen.sg, seen.at + hours(1))
    log, _ = hear(log, "float", seen.sg, seen.at + hours(2))
    assert log.points[-1].counts


def test_reading_that_is_not_good_is_not_listened_to(bench: Bench) -> None:
    for minutes in range(0, 600, 10):
        bench.now = MONDAY + timedelta(minutes=minutes)
        reading = GravityReading(
            at=bench.now,
            source="bridge",
            chamber="ale-fridge",
            probe="float",
            quality=Quality.UNCERTAIN,
            gravity_sg=1.02,
        )
        bench.give(reading)
    assert bench.batch().gravity_sg is None


def test_stable_gravity_moves_the_batch_on_after_two_days_of_rest(bench: Bench) -> None:
    random = Random(3)
    for quarter in range(24 * 4 * 14):
        bench.now = MONDAY + timedelta(minutes=15 * quarter)
        bench.give(reading(bench, true_gravity(quarter / 4) + random.gauss(0, 0.0008)))
    begun = dict(bench.steps_begun())["b"]
    at_rest = next(hour for hour in range(48, 500) if true_gravity(hour - 48) - true_gravity(hour) < 0.001)
    assert timedelta(hours=-12) <= begun - (MONDAY + hours(at_rest)) <= timedelta(hours=30)


@given(st.integers(0, 10_000))
def test_falling_gravity_is_never_called_stable(seed: int) -> None:
    """A fall of 0.002 in the window, twice what is allowed, under an instrument's noise."""
    random = Random(seed)
    points = [
        GravityPoint(at=MONDAY + hours(n), sg=1.02 - 0.002 * n / 48 + random.gauss(0, 0.0008), sd=0.0008, by="float")
        for n in range(49)
    ]
    assert change_at_most(points, 48 * 3600) >= 0.001


def test_two_points_close_together_say_nothing() -> None:
    log = GravityLog()
    for n in range(2):
        log = enter(log, GravityPoint(at=MONDAY + hours(n), sg=1.01, sd=0.0005, by="Ada", hand=True))
    assert GravityFacts(log, 1.05).at_rest(Stability()) is None


def test_log_stays_small_over_eight_weeks() -> None:
    log = GravityLog()
    for hour in range(24 * 56):
        for part in range(2):
            log, _ = hear(log, "float", 1.010, MONDAY + hours(hour + part / 2))
    assert len(log.points) < 450
    assert log.points[0].at < MONDAY + days(1)
