"""Glycol and water against CoolProp over the whole range of fraction and temperature."""

import itertools
import math

import pytest
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from brewing import coolant
from brewing.antifreeze import Glycol
from brewing.errors import OutOfRange

FLUIDS = {Glycol.PROPYLENE: "MPG", Glycol.ETHYLENE: "MEG"}
KEYS = {coolant.density: "D", coolant.specific_heat: "C", coolant.viscosity: "V", coolant.conductivity: "L"}
STATES = list(itertools.product(Glycol, [n / 20 for n in range(0, 13)], range(-50, 101, 10)))
glycols = st.sampled_from(list(Glycol))
fractions = st.floats(0.0, 0.6)


def reference(key: str, fraction: float, celsius: float, glycol: Glycol) -> float:
    return float(PropsSI(key, "T", celsius + 273.15, "P", 101_325.0, f"INCOMP::{FLUIDS[glycol]}[{fraction}]"))


@pytest.mark.parametrize("function", KEYS)
def test_properties_are_coolprop_s_wherever_the_mixture_is_liquid(function: object) -> None:
    checked = 0
    for glycol, fraction, celsius in STATES:
        if celsius > coolant.freezing_point(fraction, glycol) + 0.01:
            expected = reference(KEYS[function], fraction, celsius, glycol)  # type: ignore[index]
            assert function(fraction, celsius, glycol) == pytest.approx(expected, rel=1e-9)  # type: ignore[operator]
            checked += 1
    assert checked > 250


@pytest.mark.parametrize("glycol", Glycol)
@pytest.mark.parametrize("percent", range(0, 61, 3))
def test_freezing_points_are_coolprop_s(percent: int, glycol: Glycol) -> None:
    fluid = f"INCOMP::{FLUIDS[glycol]}[{percent / 100}]"
    expected = PropsSI("T_FREEZE", "T", 300.0, "P", 101_325.0, fluid) - 273.15
    assert coolant.freezing_point(percent / 100, glycol) == pytest.approx(expected, abs=1e-6)


@given(glycols, fractions, fractions)
def test_more_glycol_never_freezes_earlier(glycol: Glycol, one: float, other: float) -> None:
    weak, strong = sorted((one, other))
    assert coolant.freezing_point(strong, glycol) <= coolant.freezing_point(weak, glycol) + 1e-9


@given(glycols, st.floats(0.05, 0.6))
def test_the_safe_side_is_never_colder_than_any_opinion(glycol: Glycol, fraction: float) -> None:
    safe = coolant.warmest_freezing_point(fraction, glycol)
    assert safe >= coolant.freezing_point(fraction, glycol)
    assert safe <= coolant.freezing_point(fraction, glycol) + coolant.freezing_spread(fraction, glycol) + 0.5


@given(glycols, st.floats(-45.0, -0.5))
def test_the_fraction_found_freezes_where_asked(glycol: Glycol, celsius: float) -> None:
    assert coolant.freezing_point(coolant.fraction_for(celsius, glycol), glycol) == pytest.approx(celsius, abs=1e-6)


@given(glycols, st.floats(-40.0, 3.0), st.floats(3.0, 8.0))
def test_the_fraction_for_a_bath_makes_that_bath_safe(glycol: Glycol, bath: float, margin: float) -> None:
    fraction = coolant.fraction_for_bath(bath, glycol, margin)
    assert coolant.lowest_bath(fraction, glycol, margin) <= bath + 1e-6


def test_a_warm_bath_needs_no_glycol() -> None:
    assert coolant.fraction_for_bath(6.0) == 0.0


def test_no_bath_is_safe_below_what_sixty_percent_bears() -> None:
    with pytest.raises(OutOfRange, match="bath_c is -60 degC"):
        coolant.fraction_for_bath(-60.0)


@pytest.mark.parametrize("fraction", [-0.01, 0.61, math.nan])
def test_a_fraction_without_data_is_refused(fraction: float) -> None:
    with pytest.raises(OutOfRange, match="mass_fraction is .* outside 0 to 0.6"):
        coolant.freezing_point(fraction)


@pytest.mark.parametrize("function", KEYS)
def test_a_frozen_mixture_has_no_liquid_properties(function: object) -> None:
    with pytest.raises(OutOfRange, match="temperature_c is -30 degC.*it freezes"):
        function(0.3, -30.0)  # type: ignore[operator]


def test_boiling_glycol_is_refused() -> None:
    with pytest.raises(OutOfRange, match="temperature_c"):
        coolant.density(0.3, 120.0)


@given(glycols, st.floats(0.0, 0.55))
def test_mass_and_volume_fractions_undo_each_other(glycol: Glycol, fraction: float) -> None:
    volume = coolant.volume_fraction_from_mass(fraction, glycol)
    assert coolant.mass_fraction_from_volume(volume, glycol) == pytest.approx(fraction, abs=1e-12)


def test_a_volume_fraction_is_not_a_mass_fraction() -> None:
    assert coolant.mass_fraction_from_volume(0.30) == pytest.approx(0.308, abs=0.001)
    assert coolant.mass_fraction_from_volume(0.30, Glycol.ETHYLENE) == pytest.approx(0.323, abs=0.001)


def test_a_volume_fraction_beyond_the_data_is_refused() -> None:
    with pytest.raises(OutOfRange, match="volume_fraction is 0.7"):
        coolant.mass_fraction_from_volume(0.7)


@given(glycols, fractions, st.floats(1.0, 500.0))
def test_a_recipe_has_the_mass_and_strength_asked_for(glycol: Glycol, fraction: float, volume: float) -> None:
    recipe = coolant.mix(volume, fraction, glycol)
    total = recipe.glycol_kg + recipe.water_kg
    assert total == pytest.approx(volume * 1e-3 * coolant.density(fraction, 20.0, glycol))
    assert recipe.glycol_kg == pytest.approx(fraction * total)


@given(st.floats(0.05, 0.5), st.floats(0.0, 20.0))
def test_topping_up_restores_what_dilution_took(fraction: float, water: float) -> None:
    weak = coolant.diluted(40.0, fraction, water)
    added = coolant.top_up(40.0 + water, weak, fraction)
    assert (weak * (40.0 + water) + added) / (40.0 + water + added) == pytest.approx(fraction)


@given(st.floats(0.05, 0.4), st.floats(0.0, 0.2))
def test_an_exchange_leaves_the_bath_as_full_as_it_was(weak: float, more: float) -> None:
    taken = coolant.exchange(40.0, weak, weak + more)
    assert (weak * (40.0 - taken) + taken) / 40.0 == pytest.approx(weak + more)


@pytest.mark.parametrize("function", [coolant.top_up, coolant.exchange])
def test_glycol_does_not_thin_a_bath(function: object) -> None:
    with pytest.raises(OutOfRange, match="target_fraction .*add water"):
        function(40.0, 0.4, 0.3)  # type: ignore[operator]


def test_only_the_poisonous_glycol_is_warned_of() -> None:
    assert "poisonous" in coolant.warning(Glycol.ETHYLENE)
    assert coolant.warning(Glycol.PROPYLENE) == ""


def test_thirty_percent_is_what_beer_chillers_run_on() -> None:
    # common practice, no source: about a third propylene glycol for a bath a few degrees below zero
    assert -11.0 < coolant.lowest_bath(0.33) < -5.0


def test_more_glycol_carries_less_heat_and_flows_worse() -> None:
    assert coolant.specific_heat(0.5, -5.0) < coolant.specific_heat(0.3, -5.0)
    assert coolant.viscosity(0.5, -5.0) > 2.0 * coolant.viscosity(0.3, -5.0)
    assert coolant.conductivity(0.5, -5.0) < coolant.conductivity(0.3, -5.0)
