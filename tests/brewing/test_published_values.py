"""Single values against published ones, each with its source beside it."""

from math import pi

import pytest

from brewing import (
    absorption,
    atmosphere,
    draught,
    electrical,
    exposure,
    freezing,
    gravity,
    kinetics,
    priming,
    probes,
    psychrometrics,
    solubility,
    solutions,
    water,
    yeast,
)
from brewing.carbon_dioxide import gas_density, saturation
from brewing.coolant import Glycol, freezing_point
from brewing.fermentation_heat import adiabatic_rise, glucose_enthalpy, heat_rate, wort_mass


def test_water_is_heaviest_at_999_975_grams_a_litre() -> None:
    """Tanaka et al. 2001, Metrologia 38:301 (from memory)."""
    assert water.density(3.983035) == pytest.approx(999.97495, abs=1e-6)


def test_water_at_twenty_degrees_weighs_998_207_grams_a_litre() -> None:
    """CRC Handbook of Chemistry and Physics, density of water (from memory): 998.2067 kg/m3."""
    assert water.density(20.0) == pytest.approx(998.2067, abs=2e-3)


def test_water_at_twenty_degrees_is_one_millipascal_second() -> None:
    """ISO/TR 3666: 1.0016 mPa s at 20 degC (from memory)."""
    assert water.viscosity(20.0) == pytest.approx(1.0016e-3, rel=1e-3)


def test_water_boils_at_a_hundred_degrees_at_the_sea() -> None:
    """IAPWS-95: 101 325 Pa at 99.974 degC (from memory)."""
    assert water.vapour_pressure(99.974) == pytest.approx(101_325.0, rel=1e-4)


def test_air_at_a_thousand_metres_is_that_of_the_standard_atmosphere() -> None:
    """US Standard Atmosphere 1976, Table I: 8.9876e4 Pa at 1000 m (from memory)."""
    assert atmosphere.pressure_at_altitude(1000.0) == pytest.approx(89_876.0, rel=2e-4)


def test_air_at_three_thousand_metres_is_that_of_the_standard_atmosphere() -> None:
    """US Standard Atmosphere 1976, Table I: 7.0121e4 Pa at 3000 m (from memory)."""
    assert atmosphere.pressure_at_altitude(3000.0) == pytest.approx(70_121.0, rel=3e-4)


@pytest.mark.parametrize(("celsius", "ohm"), [(0.0, 100.0), (100.0, 138.51), (-40.0, 84.27), (50.0, 119.40)])
def test_platinum_has_the_resistance_of_the_standards_table(celsius: float, ohm: float) -> None:
    """IEC 60751, Table 1: Pt100 (from memory)."""
    assert probes.platinum_resistance(celsius) == pytest.approx(ohm, abs=0.006)


def test_platinum_of_class_b_is_within_three_tenths_at_zero() -> None:
    """IEC 60751: 0.3 + 0.005 |t| for class B, 0.15 + 0.002 |t| for class A (from memory)."""
    assert probes.platinum_tolerance(0.0) == pytest.approx(0.3)
    assert probes.platinum_tolerance(-50.0, "A") == pytest.approx(0.25)


def test_checksum_of_nine_digits_is_the_catalogues() -> None:
    """Catalogues of cyclic checks: x^8 + x^5 + x^4 + 1, reflected, gives 0xA1 for "123456789" (from memory)."""
    assert probes.crc8(b"123456789") == 0xA1


def test_digital_thermometer_at_minus_ten_and_an_eighth_says_ff5e() -> None:
    """DS18B20 data sheet, temperature/data relationship: FF5Eh is -10.125 degC (from memory)."""
    assert probes.ds18b20_temperature(0x5E, 0xFF) == -10.125


def test_digital_thermometer_at_twenty_five_and_a_sixteenth_says_0191() -> None:
    """DS18B20 data sheet, temperature/data relationship: 0191h is +25.0625 degC (from memory)."""
    assert probes.ds18b20_temperature(0x91, 0x01) == 25.0625


def test_digital_thermometer_needs_three_quarters_of_a_second_for_twelve_bits() -> None:
    """DS18B20 data sheet: 750 ms for 12 bits, and half of it for each bit less (from memory)."""
    assert probes.ds18b20_conversion_time(12) == pytest.approx(0.75)
    assert probes.ds18b20_conversion_time(9) == pytest.approx(0.09375)


def test_air_over_melting_ice_holds_six_hundred_and_eleven_pascal() -> None:
    """IAPWS: 611.2 Pa at 0 degC, within 0.1 % (from memory)."""
    assert psychrometrics.saturation_pressure(0.0) == pytest.approx(611.2, rel=1e-3)


def test_carbon_dioxide_boils_at_fifty_seven_bar_at_twenty_degrees() -> None:
    """Span & Wagner 1996: 5.729 MPa at 20 degC (from memory)."""
    assert saturation(20.0).pressure_pa == pytest.approx(5.729e6, rel=2e-3)


def test_carbon_dioxide_at_normal_conditions_weighs_nearly_two_grams_a_litre() -> None:
    """Span & Wagner 1996: 1.9768 kg/m3 at 0 degC and 101 325 Pa (from memory)."""
    assert gas_density(101_325.0, 0.0) == pytest.approx(1.9768, rel=1e-3)


def test_part_per_million_of_carbon_dioxide_is_nearly_two_milligrams_in_a_cubic_metre() -> None:
    """NIOSH Pocket Guide: 1 ppm is 1.80 mg/m3 (from memory)."""
    assert exposure.milligrams_per_m3(1.0) == pytest.approx(1.80, abs=0.005)


def test_water_holds_its_published_gas_at_twenty_five_degrees() -> None:
    """Weiss 1974, Table I (from memory): K0 = 0.034 mol/(kg atm) in fresh water at 25 degC."""
    assert solubility.weiss_k0(25.0) == pytest.approx(3.4e-2, rel=0.01)


def test_water_with_a_tenth_of_alcohol_freezes_where_the_handbook_says() -> None:
    """CRC Handbook, aqueous ethanol (from memory): -4.5 degC at 10 % by mass, within 0.2 K."""
    assert freezing.of_alcohol(10.0) == pytest.approx(-4.5, abs=0.2)


def test_thirty_percent_of_propylene_glycol_freeze_near_minus_thirteen() -> None:
    """Melinder's tables in CoolProp: -12.9 degC; printed tables run from -12.7 to -14 (from memory)."""
    assert freezing_point(0.30, Glycol.PROPYLENE) == pytest.approx(-12.9, abs=0.2)


def test_pure_ethanol_weighs_789_grams_a_litre() -> None:
    """OIML R 22: 789.24 kg/m3 at 20 degC (from memory)."""
    assert solutions.ethanol_density(1.0) == pytest.approx(789.24, abs=0.02)


def test_wort_of_twelve_plato_is_the_tables_gravity() -> None:
    """ASBC Table 1 (from memory): 12.0 degP is 1.04838."""
    assert gravity.specific_gravity(12.0) == pytest.approx(1.04838, abs=1e-4)


def test_sugar_of_a_hexose_gives_half_its_mass_of_gas() -> None:
    """Gay-Lussac's equation: 180.16 g of glucose give 88.02 g of CO2."""
    assert priming.co2_yield("glucose_anhydrous") == pytest.approx(88.02 / 180.16, rel=1e-4)


def test_alcoholic_fermentation_sets_sixty_odd_kilojoules_free() -> None:
    """From the CRC Handbook's enthalpies of formation: -1273.3, -277.0 and -393.5 kJ/mol (from memory)."""
    assert glucose_enthalpy() == pytest.approx(-1273.3 + 2 * 277.03 + 2 * 393.474)


def test_friction_of_a_smooth_laminar_stream_is_sixty_four_over_reynolds() -> None:
    """Hagen-Poiseuille."""
    assert draught.friction_factor(1000.0) == pytest.approx(0.064)


def test_circuit_carries_four_fifths_for_hours() -> None:
    """NEC 210.20(A), from memory."""
    assert electrical.continuous_limit(20.0) == 16.0


def test_litre_of_wort_weighs_its_gravity_times_that_of_water() -> None:
    assert wort_mass(1.0, 1.050) == pytest.approx(1.050 * water.density(20.0) / 1000.0, abs=1e-5)


def test_wort_of_no_volume_has_no_mass_to_tell() -> None:
    with pytest.raises(ValueError, match="volume_l"):
        wort_mass(0.0, 1.050)


def test_beer_that_does_not_ferment_sets_no_heat_free_and_does_not_warm() -> None:
    assert (heat_rate(20.0, 1.050, 0.0), adiabatic_rise(12.0, 12.0)) == (0.0, 0.0)


def test_twice_the_wort_sets_twice_the_heat_free() -> None:
    assert heat_rate(40.0, 1.050, 2.0) == pytest.approx(2 * heat_rate(20.0, 1.050, 2.0))


def test_attenuation_in_points_of_fifty_to_twelve_and_a_half_is_three_quarters() -> None:
    assert gravity.apparent_attenuation_in_points(1.050, 1.0125) == pytest.approx(75.0)


def test_attenuation_in_points_reads_a_little_higher_than_that_by_extract() -> None:
    by_extract = gravity.apparent_attenuation(1.050, 1.010)
    assert 0.0 < gravity.apparent_attenuation_in_points(1.050, 1.010) - by_extract < 1.0


def test_beer_that_has_not_fermented_has_no_attenuation_and_no_alcohol() -> None:
    assert gravity.apparent_attenuation(1.050, 1.050) == pytest.approx(0.0, abs=1e-9)
    assert gravity.strength(1.050, 1.050).alcohol_by_weight == pytest.approx(0.0, abs=1e-9)


def test_gauge_and_absolute_pressure_undo_each_other() -> None:
    assert atmosphere.gauge_pressure(atmosphere.absolute_pressure(8e4, 9e4), 9e4) == pytest.approx(8e4)


def test_nothing_is_to_be_added_to_a_gauge_at_the_sea() -> None:
    assert atmosphere.gauge_to_add(atmosphere.pressure_at_altitude(0.0)) == pytest.approx(0.0, abs=0.5)


def test_higher_places_have_thinner_air() -> None:
    falling = [atmosphere.pressure_at_altitude(metres) for metres in range(-500, 11_001, 500)]
    assert falling == sorted(falling, reverse=True)


def test_programme_of_one_point_is_the_same_on_every_day() -> None:
    steady = kinetics.Programme.steady(12.0)
    assert {steady.at(day) for day in (-5.0, 0.0, 7.5, 900.0)} == {12.0}


def test_arrhenius_rate_is_one_at_twenty_degrees_whatever_the_energy() -> None:
    assert [kinetics.arrhenius(20.0, energy) for energy in (0.0, 5e4, 1e5)] == pytest.approx([1.0] * 3)


def test_thermostat_starts_most_often_at_half_the_cooling_power() -> None:
    half = electrical.cycle(8e4, 100.0, electrical.worst_load(100.0), 1.0).starts_per_hour
    assert all(electrical.cycle(8e4, 100.0, load, 1.0).starts_per_hour < half for load in (20.0, 49.0, 51.0, 90.0))


def test_thermostat_with_twice_the_deadband_starts_half_as_often() -> None:
    one, two = (electrical.cycle(8e4, 100.0, 40.0, band).starts_per_hour for band in (1.0, 2.0))
    assert one == pytest.approx(2.0 * two)


def test_line_holds_the_beer_of_a_cylinder_of_its_bore() -> None:
    assert draught.line_volume(3.0, 0.005) == pytest.approx(1000.0 * pi * 0.0025**2 * 3.0)


def test_empty_keg_pours_no_glass_and_a_part_of_a_glass_is_none() -> None:
    assert (draught.pours_left(0.0, 0.5), draught.pours_left(0.99, 0.5), draught.pours_left(1.0, 0.5)) == (0, 1, 2)


def test_no_time_dissolves_no_gas() -> None:
    assert absorption.volumes_after(0.0, 0.5, 1.0, 2.5) == 1.0


def test_fresh_yeast_is_more_alive_than_old_yeast() -> None:
    alive = [yeast.viability(days) for days in (0.0, 30.0, 60.0)]
    assert alive == sorted(set(alive), reverse=True)


def test_sugar_and_the_volumes_it_gives_undo_each_other() -> None:
    mass = priming.sugar_mass(20.0, 2.5, 0.9, "sucrose")
    assert priming.volumes_from_sugar(20.0, mass, 0.9, "sucrose") == pytest.approx(2.5)


def test_beer_that_holds_enough_already_takes_no_sugar() -> None:
    assert priming.sugar_mass(20.0, 2.5, 2.5) == 0.0


def test_bottle_at_its_custom_is_not_warned_of_and_just_above_is() -> None:
    assert priming.bottle_warning(3.0) == ""
    assert "burst" in priming.bottle_warning(3.01)
