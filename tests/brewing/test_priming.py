"""Priming sugar against stoichiometry and molar masses of the chemicals library, and the bottle's pressure."""

import pytest
from chemicals.elements import molecular_weight, simple_formula_parser
from hypothesis import given
from hypothesis import strategies as st

from brewing import carbonation, priming
from brewing.errors import OutOfRange


@pytest.mark.parametrize(
    ("sugar", "formula", "gas"),
    [
        ("sucrose", "C12H22O11", 4),
        ("glucose_anhydrous", "C6H12O6", 2),
        ("dextrose_monohydrate", "C6H14O7", 2),
        ("maltose_anhydrous", "C12H22O11", 4),
        ("maltose_monohydrate", "C12H24O12", 4),
        ("fructose", "C6H12O6", 2),
    ],
)
def test_yield_is_what_the_molar_masses_give(sugar: str, formula: str, gas: int) -> None:
    expected = gas * molecular_weight(simple_formula_parser("CO2")) / molecular_weight(simple_formula_parser(formula))
    assert priming.co2_yield(sugar) == pytest.approx(expected, rel=1e-4)


def test_extract_yields_balling_s_figure() -> None:
    # Balling 1865: 2.0665 g extract give 0.9565 g CO2
    assert priming.co2_yield("extract") == pytest.approx(0.46286, abs=1e-5)


def test_an_unknown_sugar_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match="'syrup', which is none of sucrose"):
        priming.co2_yield("syrup")


@given(
    st.floats(1.0, 500.0),
    st.floats(0.5, 1.6),
    st.floats(0.0, 3.0),
    st.sampled_from(sorted(priming.SUGARS)),
)
def test_the_sugar_weighed_gives_the_gas_wanted(volume: float, residual: float, lift: float, sugar: str) -> None:
    mass = priming.sugar_mass(volume, residual + lift, residual, sugar)
    assert priming.volumes_from_sugar(volume, mass, residual, sugar) == pytest.approx(residual + lift)


def test_sugar_becomes_gas_without_loss_of_mass() -> None:
    mass = priming.sugar_mass(19.0, 2.4, 0.86, "sucrose")
    gas = 19.0 * (carbonation.grams_per_litre(2.4) - carbonation.grams_per_litre(0.86)) / 1000.0
    assert mass * priming.co2_yield("sucrose") == pytest.approx(gas, rel=1e-12)


def test_a_customary_bottling_takes_five_to_seven_grams_a_litre() -> None:
    # common practice, no source
    assert 5.0 < priming.sugar_mass(1.0, 2.4, carbonation.residual_volumes(20.0)) * 1000.0 < 7.0


def test_less_gas_than_the_beer_holds_is_refused() -> None:
    with pytest.raises(OutOfRange, match=r"target_volumes is 0\.5 vol.*no sugar needed"):
        priming.sugar_mass(19.0, 0.5, 0.86)


@pytest.mark.parametrize("celsius", [4.0, 10.0, 20.0])
def test_a_bottle_bears_what_the_chart_says_within_six_percent(celsius: float) -> None:
    chart = carbonation.gauge_for(2.5, celsius) + 101_325.0
    assert priming.bottle_gauge(2.5, celsius) + 101_325.0 == pytest.approx(chart, rel=0.06)


def test_a_warm_bottle_bears_three_times_the_pressure_of_a_cold_one() -> None:
    assert priming.bottle_gauge(2.5, 35.0) > 3.0 * priming.bottle_gauge(2.5, 5.0)


def test_gas_beyond_a_bottle_s_custom_is_warned_of() -> None:
    assert priming.bottle_warning(3.0) == ""
    assert "may burst" in priming.bottle_warning(3.1)
    assert priming.bottle_warning(3.1, "thick bottle") == ""


def test_a_vessel_nobody_knows_is_refused() -> None:
    with pytest.raises(ValueError, match="none of standard bottle"):
        priming.bottle_warning(2.0, "jar")


def test_bottling_two_points_early_adds_a_volume() -> None:
    # common practice, no source: 1 point of gravity is about half a volume
    assert priming.volumes_if_unfinished(0.002, 2.5) == pytest.approx(3.5, abs=0.05)


def test_beer_bottled_in_the_middle_of_fermentation_is_refused() -> None:
    with pytest.raises(OutOfRange, match="gravity_drop"):
        priming.volumes_if_unfinished(0.03, 1.0)
