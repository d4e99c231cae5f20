"""Beer lines against the fluids library, and the keg's balance."""

import math

import pytest
from fluids.friction import friction_factor
from hypothesis import given
from hypothesis import strategies as st

from brewing import carbonation, draught
from brewing.carbonation import PSI_PA
from brewing.draught import FOOT, INCH, Line, Liquid
from brewing.errors import OutOfRange

LINE = Line(3 / 16 * INCH)
roughnesses = st.floats(0.0, 0.03)


@given(st.floats(4000.0, 1e7), roughnesses)
def test_turbulent_friction_is_the_library_s(reynolds: float, rough: float) -> None:
    expected = friction_factor(Re=reynolds, eD=rough, Method="Clamond")
    assert draught.friction_factor(reynolds, rough) == pytest.approx(expected, rel=1e-6)


@given(st.floats(1.0, 2000.0))
def test_laminar_friction_is_the_library_s(reynolds: float) -> None:
    assert draught.friction_factor(reynolds) == pytest.approx(friction_factor(Re=reynolds), rel=1e-9)


@given(st.floats(4000.0, 1e5))
def test_blasius_agrees_within_three_percent_for_smooth_tubes(reynolds: float) -> None:
    assert 0.3164 / reynolds**0.25 == pytest.approx(draught.friction_factor(reynolds), rel=0.03)


def test_laminar_flow_obeys_poiseuille() -> None:
    # Hagen-Poiseuille: 128 mu Q / (pi d^4)
    flow, bore = 8e-6, 4.7625e-3
    expected = 128 * 0.002 * flow / (math.pi * bore**4)
    assert draught.friction_gradient(flow, bore) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("inches", [3 / 16, 1 / 4, 5 / 16, 3 / 8])
@pytest.mark.parametrize("millilitres", [30.0, 50.0, 63.1, 90.0])
def test_the_gradient_is_darcy_weisbach_with_the_library_s_friction(inches: float, millilitres: float) -> None:
    flow, bore = millilitres * 1e-6, inches * INCH
    number = draught.reynolds(flow, bore)
    if number > 4000.0:
        factor = friction_factor(Re=number, eD=draught.SMOOTH_TUBE_M / bore)
        expected = factor / bore * 1010.0 * draught.velocity(flow, bore) ** 2 / 2
        assert draught.friction_gradient(flow, bore) == pytest.approx(expected, rel=1e-6)


def test_the_trade_s_resistance_lies_above_a_smooth_tube_s() -> None:
    physics = draught.friction_gradient(draught.POUR_M3_S, 3 / 16 * INCH)
    assert physics / PSI_PA * FOOT == pytest.approx(1.9, abs=0.1)
    assert draught.TRADE_RESTRICTIONS["3/16 in ID soft vinyl line"].low > physics


@given(st.floats(20e-6, 90e-6), st.floats(60e3, 200e3), st.floats(0.0, 1.5))
def test_the_flow_through_a_balanced_line_is_the_flow_it_was_balanced_for(
    flow: float, gauge: float, rise: float
) -> None:
    line = LINE._replace(rise_m=rise)
    length = draught.balanced_length(gauge, line, flow)
    if 0.01 <= length <= 200.0 and not draught.transitional(draught.reynolds(flow, line.bore_m)):
        assert draught.flow_through(length, gauge, line) == pytest.approx(flow, rel=1e-6)


@given(st.floats(80e3, 200e3), st.floats(80e3, 200e3))
def test_more_pressure_wants_a_longer_line(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert draught.balanced_length(low, LINE) <= draught.balanced_length(high, LINE)


def test_a_higher_tap_wants_a_shorter_line() -> None:
    lengths = [draught.balanced_length(12 * PSI_PA, LINE._replace(rise_m=metres / 10)) for metres in range(0, 15)]
    assert lengths == sorted(lengths, reverse=True)


def test_a_tap_too_high_for_the_pressure_is_refused() -> None:
    with pytest.raises(OutOfRange, match="gauge_pa .*rise and fittings need more"):
        draught.balanced_length(5 * PSI_PA, LINE._replace(rise_m=6.0))
    with pytest.raises(OutOfRange, match="gauge_pa .*the rise alone"):
        draught.flow_through(2.0, 5 * PSI_PA, LINE._replace(rise_m=6.0))


def test_a_foot_of_rise_costs_about_half_a_psi() -> None:
    # common practice, no source
    assert draught.head(FOOT) / PSI_PA == pytest.approx(0.44, abs=0.01)


def test_the_rule_of_thumb_divides_what_the_rise_leaves_by_the_list() -> None:
    length = draught.rule_of_thumb_length(12 * PSI_PA, 0.0, "3/16 in ID soft vinyl line")
    assert length == pytest.approx(4.0 * FOOT)


def test_a_tube_that_is_on_no_list_is_refused() -> None:
    with pytest.raises(ValueError, match="none of 3/16 in"):
        draught.rule_of_thumb_length(12 * PSI_PA, 0.0, "garden hose")


@pytest.mark.parametrize(("number", "unsure"), [(2299.0, False), (2300.0, True), (4000.0, True), (4001.0, False)])
def test_the_range_between_laminar_and_turbulent_is_flagged(number: float, unsure: bool) -> None:
    assert draught.transitional(number) is unsure


def test_reynolds_counts_the_liquid() -> None:
    thin, thick = draught.reynolds(5e-5, 5e-3), draught.reynolds(5e-5, 5e-3, Liquid(viscosity=0.004))
    assert thin == pytest.approx(2.0 * thick)


def test_a_line_holds_its_own_volume() -> None:
    assert draught.line_volume(2.0, 4.7625e-3) == pytest.approx(0.03563, rel=1e-3)


def test_beer_in_a_cold_level_line_keeps_its_gas() -> None:
    assert draught.gas_set_free(4.0, 4.0, 12 * PSI_PA) == 0.0


def test_a_warm_line_sets_gas_free() -> None:
    freed = draught.gas_set_free(4.0, 20.0, 12 * PSI_PA)
    assert freed == pytest.approx(carbonation.volumes(4.0, 12 * PSI_PA) - carbonation.volumes(20.0, 12 * PSI_PA))


def test_a_high_tap_sets_gas_free_even_when_cold() -> None:
    assert draught.gas_set_free(4.0, 4.0, 12 * PSI_PA, rise_m=2.0) > 0.1


def test_a_tap_above_what_the_pressure_lifts_is_refused() -> None:
    with pytest.raises(OutOfRange, match="rise_m"):
        draught.gas_set_free(4.0, 4.0, 12 * PSI_PA, rise_m=9.0)


def test_a_keg_on_a_scale_tells_its_beer() -> None:
    assert draught.contents_by_mass(4.2 + 19.0 * 1.010, 4.2) == pytest.approx(19.0)


def test_a_keg_lighter_than_empty_is_refused() -> None:
    with pytest.raises(OutOfRange, match="gross_kg is 4 kg"):
        draught.contents_by_mass(4.0, 4.2)


def test_a_flow_meter_subtracts_what_was_poured() -> None:
    assert draught.contents_by_flow(19.0, 7.5) == pytest.approx(11.5)


def test_pouring_more_than_was_filled_is_refused() -> None:
    with pytest.raises(OutOfRange, match="poured_l is 20 L, outside 0 to 19 L; the meter counts foam"):
        draught.contents_by_flow(19.0, 20.0)


@pytest.mark.parametrize(
    ("left", "glass", "lost", "pours"), [(19.0, 0.5, 0.0, 38), (0.49, 0.5, 0.0, 0), (5.0, 0.5, 5.1, 0)]
)
def test_only_whole_glasses_count(left: float, glass: float, lost: float, pours: int) -> None:
    assert draught.pours_left(left, glass, lost) == pours


@pytest.mark.parametrize("bore", [0.0, 0.2, float("nan")])
def test_a_bore_that_is_no_beer_line_is_refused(bore: float) -> None:
    with pytest.raises(OutOfRange, match="bore_m"):
        draught.velocity(6e-5, bore)


def test_warmer_beer_flows_more_easily() -> None:
    viscosities = [draught.beer_at(float(celsius)).viscosity for celsius in range(0, 31)]
    assert viscosities == sorted(viscosities, reverse=True)
    assert draught.beer_at(4.0) == pytest.approx(draught.BEER)


def test_a_measured_viscosity_goes_before_the_assumed_one() -> None:
    assert draught.beer_at(6.0, 0.00242).viscosity == 0.00242
