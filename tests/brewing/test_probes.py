"""Probes against their standards and datasheets, and each curve against its inverse."""

import json
import pathlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing import probes
from brewing.errors import OutOfRange
from brewing.probes import SteinhartHart

COMMON = SteinhartHart(0.001129148, 0.000234125, 8.76741e-08)
CASES = pathlib.Path(__file__).parents[1] / "reference" / "w1_sysfs_cases.json"


@given(st.floats(-200.0, 850.0), st.sampled_from([100.0, 500.0, 1000.0]))
def test_platinum_undoes_its_resistance(celsius: float, at_zero: float) -> None:
    ohm = probes.platinum_resistance(celsius, at_zero)
    assert probes.platinum(ohm, at_zero) == pytest.approx(celsius, abs=1e-6)


# IEC 60751 table values printed to 0.01 ohm, from memory
@pytest.mark.parametrize(("celsius", "ohm"), [(-50, 80.31), (-20, 92.16), (0, 100.0), (10, 103.90), (60, 123.24)])
def test_platinum_is_the_standard_table(celsius: float, ohm: float) -> None:
    assert probes.platinum_resistance(celsius) == pytest.approx(ohm, abs=0.006)


@given(st.floats(-199.0, 849.0))
def test_the_slope_is_the_curve_s_own(celsius: float) -> None:
    rise = probes.platinum_resistance(celsius + 0.01) - probes.platinum_resistance(celsius - 0.01)
    assert probes.platinum_slope(celsius) == pytest.approx(rise / 0.02, rel=1e-4)


def test_the_closed_form_alone_would_err_in_the_cold() -> None:
    ohm = probes.platinum_resistance(-150.0)
    a, b = 3.9083e-3, -5.775e-7
    quadratic = (-a + (a * a - 4 * b * (1 - ohm / 100)) ** 0.5) / (2 * b)
    assert abs(quadratic - probes.platinum(ohm)) > 0.8


@pytest.mark.parametrize(("grade", "kelvin"), [("AA", 0.134), ("A", 0.19), ("B", 0.4), ("C", 0.8)])
def test_tolerance_classes_are_the_standard_s(grade: str, kelvin: float) -> None:
    # IEC 60751 at 20 degC
    assert probes.platinum_tolerance(20.0, grade) == pytest.approx(kelvin)


def test_a_class_nobody_defined_is_refused() -> None:
    with pytest.raises(ValueError, match="none of A, B, AA, C"):
        probes.platinum_tolerance(20.0, "Z")


def test_half_an_ohm_of_lead_is_more_than_a_kelvin() -> None:
    assert probes.lead_error(0.5, 20.0) == pytest.approx(1.29, abs=0.01)


@pytest.mark.parametrize("ohm", [0.0, 15.0, 500.0, float("inf"), float("nan")])
def test_a_broken_platinum_wire_is_refused(ohm: float) -> None:
    with pytest.raises(OutOfRange, match="resistance_ohm .*broken wire or short"):
        probes.platinum(ohm)


@given(st.floats(-60.0, 150.0))
def test_a_thermistor_undoes_its_resistance(celsius: float) -> None:
    assert probes.thermistor(probes.thermistor_resistance(celsius, COMMON), COMMON) == pytest.approx(celsius, abs=1e-6)


def test_a_curve_without_cubic_term_is_a_beta_curve() -> None:
    flat = SteinhartHart(1 / 298.15 - 0.002335, 0.0002535, 0.0)
    assert probes.thermistor(probes.thermistor_resistance(10.0, flat), flat) == pytest.approx(10.0)


@given(st.floats(500.0, 100_000.0), st.floats(500.0, 100_000.0))
def test_a_warmer_thermistor_has_less_resistance(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert probes.thermistor(low, COMMON) >= probes.thermistor(high, COMMON)


def test_a_curve_goes_through_its_three_points() -> None:
    # ILX LDT-5525 manual, Table A.1: a 10 kohm thermistor
    points = ((0.0, 32128.0), (25.0, 9814.0), (50.0, 3542.0))
    curve = probes.steinhart_hart(points)
    for celsius, ohm in points:
        assert probes.thermistor(ohm, curve) == pytest.approx(celsius, abs=1e-6)
    assert tuple(curve) == pytest.approx((0.0011041591248, 0.00023891794671, 6.931626526e-08), rel=1e-6)


def test_a_curve_needs_three_different_points() -> None:
    with pytest.raises(ValueError, match="three different resistances"):
        probes.steinhart_hart(((0.0, 1000.0), (25.0, 1000.0), (50.0, 300.0)))


def test_beta_agrees_at_its_reference_and_errs_in_the_cold() -> None:
    assert probes.thermistor_by_beta(10_000.0, 10_000.0, 3950.0) == pytest.approx(25.0)
    assert probes.thermistor_by_beta(32_650.0, 10_000.0, 3950.0) == pytest.approx(0.55, abs=0.01)


@pytest.mark.parametrize("ohm", [0.0, 1.0, 1e8, float("nan")])
def test_an_open_or_shorted_thermistor_is_refused(ohm: float) -> None:
    with pytest.raises(OutOfRange, match="resistance_ohm"):
        probes.thermistor(ohm, COMMON)


def test_a_resistance_that_the_curve_puts_far_away_is_refused() -> None:
    with pytest.raises(OutOfRange, match="outside -80 to 200 degC"):
        probes.thermistor(20.0, COMMON)


@given(st.binary(max_size=64))
def test_a_block_with_its_own_check_byte_checks_to_zero(data: bytes) -> None:
    assert probes.crc8(data + bytes([probes.crc8(data)])) == 0


@given(st.binary(min_size=8, max_size=8), st.integers(0, 63))
def test_no_single_flipped_bit_goes_unseen(data: bytes, bit: int) -> None:
    flipped = bytearray(data)
    flipped[bit // 8] ^= 1 << bit % 8
    assert probes.crc8(bytes(flipped)) != probes.crc8(data)


@given(st.integers(-880, 2000))
def test_temperature_bytes_are_sixteenths_in_two_s_complement(code: int) -> None:
    low, high = code.to_bytes(2, "little", signed=True)
    assert probes.ds18b20_temperature(low, high) == code / 16


@pytest.mark.parametrize(("low", "high"), [(0xFF, 0x07), (0x00, 0x80), (256, 0), (-1, 0)])
def test_temperature_bytes_beyond_the_sensor_are_refused(low: int, high: int) -> None:
    with pytest.raises(OutOfRange):
        probes.ds18b20_temperature(low, high)


def test_each_bit_doubles_the_conversion_time() -> None:
    times = [probes.ds18b20_conversion_time(bits) for bits in range(9, 13)]
    assert times == [0.09375, 0.1875, 0.375, 0.75]
    with pytest.raises(OutOfRange, match="bits is 13"):
        probes.ds18b20_conversion_time(13)


@pytest.mark.parametrize("case", json.loads(CASES.read_text()), ids=lambda case: case["case"])
def test_scratchpads_are_told_apart_as_the_kernel_s_documentation_says(case: dict[str, object]) -> None:
    # Linux Documentation/w1/slaves/w1_therm.rst
    first = str(case["text"]).split(" : ")[0]
    scratchpad = bytes.fromhex(first) if first else b""
    if case["case"] == "one line only":
        scratchpad = scratchpad[:7]
    fault = probes.ds18b20_fault(scratchpad)
    assert bool(fault) == (case["expected_C"] is None)
    if not fault:
        assert probes.ds18b20_temperature(scratchpad[0], scratchpad[1]) == case["expected_C"]
