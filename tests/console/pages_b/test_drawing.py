"""Small pictures say what they show, keep to their frame, and survive odd data."""

import re
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from services.console.desk.curves import Axis, Curve
from services.console.desk.drawing import (
    Course,
    Strip,
    bars_picture,
    course_picture,
    course_pictures,
    curve_picture,
    number,
    ticks,
)

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
DUBLIN = ZoneInfo("Europe/Dublin")


def curve(*points: tuple[float, float]) -> Curve:
    return Curve(Axis("x", "Bath", "°C"), Axis("y", "freezes at", "°C"), points, points[0])


def course(**changes: object) -> Course:
    strips = [
        Strip("ferment", NOON, NOON + timedelta(days=5), 18.0, 18.0, done=True),
        Strip(
            "crash", NOON + timedelta(days=5), NOON + timedelta(days=6), 18.0, 2.0,
            earliest=NOON + timedelta(days=5.5), latest=NOON + timedelta(days=7),
        ),
    ]  # fmt: skip
    beer = [(NOON + timedelta(hours=hour), None if hour == 9 else 18.0) for hour in range(20)]
    given_ = {"strips": strips, "beer": beer, "now": NOON + timedelta(days=2), "degrees": float, "unit": "°C"}
    return Course(**{**given_, **changes})


def coordinates(svg: str) -> list[tuple[float, float]]:
    points = " ".join(re.findall(r'points="([^"]*)"', svg))
    return [tuple(map(float, pair.split(","))) for pair in points.split()]


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6), st.integers(2, 9))
def test_ticks_are_few_round_and_within(low: float, span: float, about: int) -> None:
    found = ticks(low, low + span, about)
    assert len(found) <= 2 * about + 2
    assert all(low - span * 1e-6 <= one <= low + span * 1.000001 for one in found)
    assert found == sorted(set(found))


@pytest.mark.parametrize(
    ("value", "said"), [(0.0, "0"), (-5.0, "−5"), (1500.0, "1,500"), (0.25, "0.25"), (2e-5, "2e−05")]
)
def test_a_number_on_an_axis_is_short(value: float, said: str) -> None:
    assert number(value) == said


def test_ticks_of_no_span_are_one() -> None:
    assert ticks(3.0, 3.0) == [3.0]


@pytest.mark.parametrize(
    "points", [((0, 1), (1, 1), (2, 1)), ((0, -1), (1, 5), (2, 1e6)), ((0, 0), (1e-6, 1e-9), (1, 2))]
)
def test_a_curve_stays_in_its_frame_and_is_told(points: tuple) -> None:
    svg = curve_picture(curve(*points), "How cold?")
    ElementTree.fromstring(svg)
    assert all(0 <= x <= 560 and 0 <= y <= 300 for x, y in coordinates(svg))
    assert 'role="img"' in svg
    assert "How cold? freezes at" in svg


def test_what_is_told_is_never_markup() -> None:
    svg = curve_picture(curve((0, 0), (1, 1), (2, 3)), '<b onload="x">')
    ElementTree.fromstring(svg)
    assert "<b" not in svg


def test_a_course_shows_steps_beer_now_and_the_range_of_an_end() -> None:
    svg = course_picture(course(), "Course", DUBLIN)
    ElementTree.fromstring(svg)
    assert all(
        mark in svg for mark in ('class="now"', 'class="range"', 'class="asked planned"', "ferment", "Tue 3 Mar")
    )


def test_a_gap_in_the_beers_record_is_a_gap_in_its_line() -> None:
    assert course_picture(course(), "Course", DUBLIN).count('class="drawn"') == 2


def test_a_course_that_is_over_has_no_future() -> None:
    svg = course_picture(course(now=None), "Course", DUBLIN)
    assert 'class="ahead"' not in svg


def test_a_course_of_nothing_is_no_picture() -> None:
    assert course_picture(course(strips=[], beer=[]), "Course", DUBLIN) == ""


def test_a_course_of_one_moment_can_be_drawn() -> None:
    svg = course_picture(course(strips=[Strip("serve", NOON, NOON)], beer=[(NOON, 4.0)]), "Course", DUBLIN)
    ElementTree.fromstring(svg)


def test_days_are_named_on_the_sites_clocks_through_a_change_of_time() -> None:
    begins = datetime(2026, 3, 27, 12, tzinfo=UTC)
    svg = course_picture(
        course(strips=[Strip("rest", begins, begins + timedelta(days=4), 9.0, 9.0)], beer=[]), "x", DUBLIN
    )
    assert all(day in svg for day in ("Sat 28 Mar", "Sun 29 Mar", "Mon 30 Mar", "Tue 31 Mar"))


def test_a_course_comes_for_wide_screens_and_for_phones() -> None:
    both = course_pictures(course(), "Course", DUBLIN)
    assert 'viewBox="0 0 900 300"' in both
    assert 'viewBox="0 0 420 300"' in both


def test_bars_count_each_day_by_kind() -> None:
    svg = bars_picture([("Mon 1", (("high", 2), ("low", 1))), ("Tue 2", (("high", 0), ("low", 0)))], "Alarms a day")
    ElementTree.fromstring(svg)
    assert svg.count("<rect") == 2
    assert ">3</text>" in svg


def test_no_bar_at_all_can_be_drawn() -> None:
    ElementTree.fromstring(bars_picture([], "Alarms a day"))
