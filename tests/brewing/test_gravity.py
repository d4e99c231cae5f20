"""Gravity, extract and alcohol; the published rows stand in tests/reference."""

from collections.abc import Callable

import numpy
import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import gravity, solutions
from brewing.errors import OutOfRange

ORIGINALS = st.floats(1.02, 1.11)


@given(st.floats(0.0, 30.0))
def test_plato_survives_the_way_to_gravity_and_back(plato: float) -> None:
    assert gravity.plato(gravity.specific_gravity(plato)) == pytest.approx(plato, abs=1e-8)


@given(st.floats(0.99, 1.129), st.floats(1e-5, 1e-3))
def test_more_gravity_is_never_less_extract(sg: float, more: float) -> None:
    assert gravity.plato(sg + more) >= gravity.plato(sg)


def test_water_holds_no_extract_either_way() -> None:
    assert gravity.plato(1.0) == 0.0
    assert gravity.specific_gravity(0.0) == 1.0


def test_plato_stays_within_the_published_spread_of_the_sucrose_density() -> None:
    """ICUMSA SPS-4 (published): the trade's polynomial is known to lie within 0.031 degP of the true gravity."""
    water = solutions.sucrose_density(0.0, 20.0)
    for plato in numpy.linspace(0.5, 28.0, 56):
        true = solutions.sucrose_density(plato / 100.0, 20.0) / water
        assert gravity.plato(true) == pytest.approx(plato, abs=0.031)


def test_the_nbs_cubic_and_the_asbc_polynomial_agree_within_their_measured_spread() -> None:
    spread = max(abs(gravity.brix(sg) - gravity.plato(sg)) for sg in numpy.linspace(1.001, 1.120, 120))
    assert spread < 0.0175


@given(ORIGINALS, st.floats(0.0, 0.92))
def test_alcohol_and_the_extract_left_give_the_original_extract_back(original: float, attenuated: float) -> None:
    """Balling's balance read the other way round: the pair of formulas is its inverse."""
    final = gravity.final_gravity_for(original, 100.0 * attenuated)
    beer = gravity.strength(original, final)
    assert gravity.original_extract(beer.alcohol_by_weight, beer.real_extract) == pytest.approx(
        beer.original_extract, abs=1e-9
    )


@given(ORIGINALS, st.floats(10.0, 90.0))
def test_the_final_gravity_for_an_attenuation_has_that_attenuation(original: float, percent: float) -> None:
    final = gravity.final_gravity_for(original, percent)
    assert gravity.apparent_attenuation(original, final) == pytest.approx(percent, abs=1e-6)


@given(ORIGINALS, st.floats(0.3, 0.9))
def test_the_accepted_formulas_stay_within_their_known_distance(original: float, attenuated: float) -> None:
    """Measured agreement: Balling lies 0.00-0.09 above the mass balance, the short rule up to 0.5 below at 1.110."""
    final = gravity.final_gravity_for(original, 100.0 * attenuated)
    balling, tabarie, short = (
        gravity.strength(original, final, name).alcohol_by_volume for name in ("balling", "tabarie", "short")
    )
    assert -0.005 < balling - tabarie < 0.10
    assert -0.12 < balling - short < 0.60


@given(ORIGINALS, st.floats(0.2, 0.8), st.floats(0.01, 0.1))
def test_fermenting_further_makes_more_alcohol_and_leaves_less_extract(
    original: float, attenuated: float, further: float
) -> None:
    less, more = (
        gravity.strength(original, gravity.final_gravity_for(original, 100.0 * share))
        for share in (attenuated, attenuated + further)
    )
    assert more.alcohol_by_weight > less.alcohol_by_weight
    assert more.real_extract < less.real_extract


def test_alcohol_by_volume_matches_the_density_of_ethanol_within_a_percent() -> None:
    """OIML R 22 (published): the trade's division by 0.79067 takes beer for its own density."""
    beer = gravity.strength(1.050, 1.010)
    by_density = beer.alcohol_by_weight * 1.010 * 998.2 / solutions.ethanol_density(1.0)
    assert beer.alcohol_by_volume == pytest.approx(by_density, rel=0.001)


def test_a_common_beer_has_about_forty_five_kilocalories_in_100_ml() -> None:
    """Common practice, no source: pale beer of 5 % is labelled with 42 to 47 kcal."""
    assert 42.0 < gravity.energy_kcal(1.048, 1.010) < 47.0


BAD: list[tuple[Callable[[], object], str]] = [
    (lambda: gravity.strength(1.040, 1.050), "final_gravity"),
    (lambda: gravity.strength(1.120, 1.020), "original_extract"),
    (lambda: gravity.strength(1.040, 0.992), "apparent_extract"),
    (lambda: gravity.strength(float("nan"), 1.010), "original_gravity"),
    (lambda: gravity.strength(1.040, float("nan")), "final_gravity"),
    (lambda: gravity.plato(1.2), "specific_gravity"),
    (lambda: gravity.plato(0.9), "specific_gravity"),
    (lambda: gravity.specific_gravity(40.0), "plato"),
    (lambda: gravity.real_extract(10.0, 11.0), "apparent_extract"),
    (lambda: gravity.alcohol_by_weight(10.0, 11.0), "real_extract"),
    (lambda: gravity.apparent_attenuation(1.0, 1.0), "original_gravity"),
    (lambda: gravity.brix(0.99), "specific_gravity"),
    (lambda: gravity.original_extract(-1.0, 4.0), "alcohol_by_weight"),
]


@pytest.mark.parametrize(("ask", "argument"), BAD)
def test_what_cannot_be_is_refused_by_name(ask: Callable[[], object], argument: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        ask()
    assert caught.value.argument == argument


def test_an_unknown_method_is_refused_with_the_known_ones() -> None:
    with pytest.raises(ValueError, match="balling, tabarie, short"):
        gravity.strength(1.050, 1.010, "guess")
