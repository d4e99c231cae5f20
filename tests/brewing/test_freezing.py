"""Freezing of beer, against CoolProp's ethanol-water and against what must be so."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import freezing
from brewing.errors import OutOfRange

ALCOHOLS = st.floats(0.0, 20.0)


@pytest.mark.parametrize("tenths", range(10, 301, 5))
def test_the_ethanol_curve_is_the_librarys(tenths: int) -> None:
    """CoolProp INCOMP::MEA, Melinder 2010 (library)."""
    from CoolProp.CoolProp import PropsSI

    percent = tenths / 10.0
    library = PropsSI("T_freeze", "T", 300.0, "P", 101325.0, f"INCOMP::MEA[{percent / 100.0}]") - 273.15
    assert freezing.of_alcohol(percent) == pytest.approx(library, abs=1e-6)


@given(ALCOHOLS, st.floats(0.01, 5.0))
def test_more_alcohol_freezes_colder(percent: float, more: float) -> None:
    assert freezing.of_alcohol(percent + more) < freezing.of_alcohol(percent)
    assert freezing.safe_limit(percent + more) < freezing.safe_limit(percent)


@given(ALCOHOLS)
def test_the_safe_limit_is_never_below_either_source(percent: float) -> None:
    assert freezing.safe_limit(percent) >= freezing.of_alcohol(percent)
    assert freezing.safe_limit(percent) >= freezing.of_alcohol_by_lange(percent)


@given(st.floats(0.0, 10.0), st.floats(0.0, 10.0))
def test_extract_only_lowers_the_freezing_point(alcohol: float, extract: float) -> None:
    assert freezing.likely(alcohol, extract) <= freezing.of_alcohol(alcohol)


@given(st.floats(1.030, 1.065), st.floats(0.7, 0.85))
def test_every_estimate_of_a_beer_lies_below_its_safe_limit(original: float, attenuated: float) -> None:
    points = freezing.points(original, 1.0 + (original - 1.0) * (1.0 - attenuated))
    assert points.trade < points.safe
    assert points.likely < points.safe
    assert points.likely == pytest.approx(points.trade, abs=0.75)


def test_the_misprinted_rule_would_lie_above_the_ethanol_curve() -> None:
    """Copies with + signs give -1.0 degC for 4 % and 12 degP, where ethanol alone freezes at -1.62."""
    assert freezing.of_beer(4.0, 12.0) < freezing.of_alcohol(4.0) < -0.42 * 4.0 + 0.04 * 12.0 + 0.2


@given(st.floats(2.0, 8.0), st.floats(2.0, 6.0), st.floats(0.1, 0.9))
def test_the_liquid_between_the_ice_freezes_at_the_temperature_it_has(
    alcohol: float, extract: float, colder: float
) -> None:
    temperature = freezing.likely(alcohol, extract) - colder
    liquid = 1.0 - freezing.ice_fraction(temperature, alcohol, extract)
    assert 0.4 <= liquid < 1.0
    assert freezing.likely(alcohol / liquid, extract / liquid) == pytest.approx(temperature, abs=1e-6)


def test_beer_above_its_freezing_point_holds_no_ice() -> None:
    assert freezing.ice_fraction(-1.0, 4.2, 4.3) == 0.0
    assert freezing.slush_margin(-1.0, 4.2) == pytest.approx(0.70, abs=0.02)


@pytest.mark.parametrize("alcohol", [-0.1, 31.0, float("nan")])
def test_alcohol_outside_the_curve_is_refused(alcohol: float) -> None:
    with pytest.raises(OutOfRange, match="alcohol_by_weight"):
        freezing.of_alcohol(alcohol)


def test_beer_that_would_be_mostly_ice_is_refused() -> None:
    with pytest.raises(OutOfRange, match="most of the beer would be ice"):
        freezing.ice_fraction(-20.0, 4.2, 4.3)


@pytest.mark.parametrize(("alcohol", "extract"), [(1.0, 12.0), (9.0, 12.0), (5.0, 3.0)])
def test_the_trades_rule_is_refused_where_it_does_not_hold(alcohol: float, extract: float) -> None:
    with pytest.raises(OutOfRange):
        freezing.of_beer(alcohol, extract)
