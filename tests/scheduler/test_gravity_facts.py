"""What follows from a gravity log, and when nothing follows."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.ends import GravityStable, Stability
from services.scheduler.gravity_facts import FALLEN_SG, GravityFacts, change_at_most
from services.scheduler.gravity_log import HAND_SD, GravityLog, GravityPoint, enter, hear, strike

START = datetime(2026, 3, 2, 8, tzinfo=UTC)
OG = 1.050


def point(hours: float, sg: float, **more: object) -> GravityPoint:
    fields = {"at": START + timedelta(hours=hours), "sg": sg, "sd": HAND_SD, "by": "Ada", "hand": True, **more}
    return GravityPoint.model_validate(fields)


def facts(*points: GravityPoint, og: float | None = OG) -> GravityFacts:
    return GravityFacts(GravityLog(points=points), og)


def falling(*levels: float, every_h: float = 24.0, og: float | None = OG) -> GravityFacts:
    return facts(*(point(n * every_h, sg) for n, sg in enumerate(levels)), og=og)


def at(hours: float) -> datetime:
    return START + timedelta(hours=hours)


def test_nothing_follows_from_nothing() -> None:
    none = facts()
    assert (none.level_sg, none.attenuation_percent, none.strength, none.begun()) == (None, None, None, None)
    assert (none.at_most(1.2), none.at_rest(Stability()), none.freezes_at_c) == (None, None, None)


def test_gravity_is_low_enough_since_it_last_got_there() -> None:
    assert falling(1.050, 1.012, 1.020, 1.012, 1.011).at_most(1.012) == at(72)


def test_gravity_above_what_is_asked_is_never_low_enough() -> None:
    assert falling(1.050, 1.020).at_most(1.012) is None


def test_one_odd_point_of_an_instrument_moves_no_level() -> None:
    readings = [point(n, sg, hand=False, by="float") for n, sg in enumerate((1.020, 1.020, 1.005, 1.020))]
    assert facts(*readings).at_most(1.010) is None


def test_attenuation_needs_the_original_gravity() -> None:
    assert falling(1.050, 1.010).attenuation_percent == pytest.approx(80.0, abs=1.0)
    assert falling(1.050, 1.010, og=None).attenuation_percent is None


def test_measurement_above_the_original_is_no_negative_attenuation() -> None:
    assert falling(1.051).attenuation_percent == pytest.approx(0.0)


def test_beer_freezes_lower_the_more_has_fermented() -> None:
    young, old = falling(1.050, 1.040).freezes_at_c, falling(1.050, 1.010).freezes_at_c
    assert young is not None
    assert old is not None
    assert old < young <= 0.0


@pytest.mark.parametrize(("level", "begun"), [(OG, False), (OG - FALLEN_SG, False), (OG - 2 * FALLEN_SG, True)])
def test_fermentation_has_begun_when_gravity_fell_by_more_than_is_misread(level: float, begun: bool) -> None:
    assert falling(level).begun() is begun


def test_without_an_original_gravity_the_first_measurement_stands_for_it() -> None:
    assert falling(1.048, 1.030, og=None).begun() is True


def test_equal_measurements_over_the_whole_window_are_at_rest_as_of_the_last() -> None:
    assert falling(1.010, 1.010, 1.010).at_rest(Stability()) == at(48)


def test_equal_measurements_over_half_the_window_say_nothing() -> None:
    assert falling(1.010, 1.010, 1.010, every_h=12).at_rest(Stability()) is None


def test_beer_that_has_stalled_is_at_rest_and_not_stable() -> None:
    stalled = falling(1.035, 1.035, 1.035)
    trigger = GravityStable(gravity_stable=Stability(), least_attenuation_percent=60.0)
    assert stalled.at_rest(Stability()) == at(48)
    assert stalled.stable(trigger) is None


def test_two_points_at_one_moment_bound_no_change() -> None:
    assert change_at_most([point(0, 1.010), point(0, 1.010)], 3600.0) == 1.0
    assert change_at_most([point(0, 1.010)], 3600.0) == 1.0


@given(st.floats(0.0005, 0.01), st.integers(3, 12))
def test_bound_on_the_change_is_never_below_what_a_straight_fall_does(per_day: float, count: int) -> None:
    points = [point(n * 12.0, 1.050 - per_day * n / 2) for n in range(count)]
    assert change_at_most(points, 86400.0) >= per_day


def test_more_points_bound_a_rest_more_closely() -> None:
    few, many = [[point(n * 48.0 / (k - 1), 1.010) for n in range(k)] for k in (3, 9)]
    assert change_at_most(many, 172800.0) < change_at_most(few, 172800.0)


def test_readings_closer_than_a_minute_are_not_taken() -> None:
    log, _ = hear(GravityLog(), "float", 1.050, START)
    again, _ = hear(log, "float", 1.040, START + timedelta(seconds=30))
    assert again is log


def test_struck_entry_stays_in_the_log_with_the_reason() -> None:
    log = strike(enter(GravityLog(), point(0, 1.020, entry="e1")), "e1", "misread")
    assert log is not None
    assert [(one.mark, one.counts) for one in log.points] == [("misread", False)]
    assert strike(log, "e1", "again") is None


def test_entry_made_late_stands_where_it_was_measured() -> None:
    log = enter(enter(GravityLog(), point(24, 1.020)), point(0, 1.050))
    assert [one.sg for one in log.points] == [1.050, 1.020]
