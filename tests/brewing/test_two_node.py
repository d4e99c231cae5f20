"""A bath and its beer: the closed form against scipy's integration, and conservation."""

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from brewing import thermal, two_node
from brewing.errors import OutOfRange
from brewing.thermal import Mass
from brewing.two_node import Pair, Temperatures

PAIR = Pair(Mass(10.0, 3800.0), Mass(19.2), 8.0, 2.0)
START = Temperatures(-8.0, 20.0)


def integrated(pair: Pair, start: Temperatures, seconds: float) -> tuple[float, float]:
    def slope(_: float, state: "numpy.ndarray[tuple[int], numpy.dtype[numpy.float64]]") -> list[float]:
        bath, beer = state
        joint = pair.ua_bath_beer * (beer - bath)
        into_bath = joint + pair.ua_bath_room * (pair.room_c - bath) - pair.chill_w
        into_beer = -joint + pair.ua_beer_room * (pair.room_c - beer) + pair.beer_heat_w
        return [into_bath / pair.bath.capacity, into_beer / pair.beer.capacity]

    solved = solve_ivp(slope, (0.0, seconds), list(start), rtol=1e-10, atol=1e-10)
    return float(solved.y[0, -1]), float(solved.y[1, -1])


@pytest.mark.parametrize(
    "pair",
    [
        PAIR,
        PAIR._replace(chill_w=200.0, beer_heat_w=15.0, ua_beer_room=1.0, room_c=25.0),
        PAIR._replace(ua_bath_room=0.0),
        PAIR._replace(ua_bath_room=0.0, chill_w=150.0),
    ],
)
@pytest.mark.parametrize("hours", [0.01, 1.0, 12.0, 72.0])
def test_the_closed_form_is_what_integration_finds(pair: Pair, hours: float) -> None:
    found = two_node.after(pair, START, hours * 3600.0)
    assert tuple(found) == pytest.approx(integrated(pair, START, hours * 3600.0), abs=1e-5)


def test_time_zero_changes_nothing() -> None:
    assert tuple(two_node.after(PAIR, START, 0.0)) == pytest.approx(tuple(START))


@given(st.floats(0.0, 1e6))
def test_a_pair_without_room_conserves_its_heat(seconds: float) -> None:
    closed = PAIR._replace(ua_bath_room=0.0)
    found = two_node.after(closed, START, seconds)
    before = closed.bath.capacity * START.bath_c + closed.beer.capacity * START.beer_c
    held = closed.bath.capacity * found.bath_c + closed.beer.capacity * found.beer_c
    assert held == pytest.approx(before, abs=1.0)


def test_a_closed_pair_meets_at_the_mixed_temperature() -> None:
    closed = PAIR._replace(ua_bath_room=0.0)
    met = thermal.mixed_temperature(closed.bath, -8.0, closed.beer, 20.0)
    assert tuple(two_node.after(closed, START, 30 * 86_400.0)) == pytest.approx((met, met), abs=1e-6)


def test_the_beer_is_as_cold_as_asked_when_the_time_says() -> None:
    chilled = PAIR._replace(chill_w=300.0)
    seconds = two_node.time_to_reach(chilled, START, 2.0)
    assert two_node.after(chilled, START, seconds).beer_c == pytest.approx(2.0, abs=0.001)


def test_beer_that_only_dips_is_caught_in_its_dip() -> None:
    coldest = two_node.after(PAIR, START, 3 * 3600.0).beer_c
    assert two_node.time_to_reach(PAIR, START, coldest) <= 3 * 3600.0 + 1.0


def test_a_bath_too_small_is_refused_with_the_coldest_it_brings() -> None:
    with pytest.raises(OutOfRange, match=r"beer_c is 2 degC, outside 12\.88"):
        two_node.time_to_reach(PAIR, START, 2.0)


def test_beer_that_is_cold_already_needs_no_time() -> None:
    assert two_node.time_to_reach(PAIR, Temperatures(-8.0, 1.0), 2.0) == 0.0


def test_a_pair_that_does_not_touch_is_refused() -> None:
    with pytest.raises(OutOfRange, match="ua_bath_beer"):
        two_node.after(PAIR._replace(ua_bath_beer=0.0), START, 3600.0)
