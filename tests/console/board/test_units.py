"""A visitor's units, against Pint, a general library of units."""

import pint
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.console import units
from services.console.units import SCALES, Units, chosen

REGISTRY = pint.UnitRegistry()
NAMES = {"degC": "degC", "degF": "degF", "bar": "bar", "psi": "psi", "L": "liter", "gal": "gallon"}


@pytest.mark.parametrize(("kind", "unit"), [(kind, unit) for kind, found in SCALES.items() for unit in found])
@settings(deadline=None)
@given(value=st.floats(-40, 200))
def test_every_unit_agrees_with_a_library_of_units(kind: str, unit: str, value: float) -> None:
    within, shown = NAMES[next(iter(SCALES[kind]))], NAMES[unit]
    wanted = REGISTRY.Quantity(value, within).to(shown).magnitude
    picked = Units(**{kind: unit})
    assert units.number(kind, value, picked) == pytest.approx(wanted, abs=1e-6)
    assert units.inside(kind, wanted, picked) == pytest.approx(value, abs=1e-6)


@settings(deadline=None)
@given(st.text(max_size=30))
def test_any_cookie_gives_some_units(cookie: str) -> None:
    assert chosen({units.COOKIE: cookie}).temperature in SCALES["temperature"]


@pytest.mark.parametrize("picked", [Units(), Units("degF", "psi", "gal"), Units("degF", "bar", "L")])
def test_a_choice_comes_back_from_its_cookie(picked: Units) -> None:
    assert chosen({units.COOKIE: picked.cookie}) == picked


@pytest.mark.parametrize(("written", "celsius"), [("18.5", 18.5), ("-1", -1.0), ("\u22121,5", -1.5), (" 4 ", 4.0)])
def test_temperatures_are_read_as_people_write_them(written: str, celsius: float) -> None:
    assert units.read_temperature(written, Units()) == celsius


@pytest.mark.parametrize("written", ["", "warm", "18 19", "1e3", "--4"])
def test_what_is_no_temperature_is_told_with_an_example(written: str) -> None:
    with pytest.raises(ValueError, match="write it like '65.3'"):
        units.read_temperature(written, Units(temperature="degF"))


def test_figures_have_a_true_minus_and_no_minus_nought() -> None:
    assert units.show_temperature(-0.04, Units()) == "0.0 °C"
    assert units.show_temperature(-1.26, Units()) == "\u22121.3 °C"
    assert units.show_difference(0.25, Units(temperature="degF"), 2) == "+0.45 °F"
    assert units.show_difference(-0.3, Units()) == "\u22120.3 K"
    assert units.show_volume(3.785411784, Units(volume="gal")) == "1.00 gal"
    assert units.show_pressure(1.0, Units(), mark=False) == "1.00"
