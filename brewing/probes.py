"""From ohms and bits to degrees: thermistors, platinum, 1-wire sensors, and what calibration leaves uncertain."""

import math
from typing import NamedTuple

from brewing.errors import OutOfRange, check

_KELVIN = 273.15
_A, _B, _C = 3.9083e-3, -5.775e-7, -4.183e-12  # IEC 60751
TOLERANCE_CLASSES = {"A": (0.15, 0.002), "B": (0.30, 0.005), "AA": (0.10, 0.0017), "C": (0.60, 0.01)}
POWER_ON_CODE, LOW_SUPPLY_CODE, RESERVED_OF_POWER_ON = 0x0550, 0x07FF, 0x0C
_CRC_REFLECTED = 0x8C
_CONVERSION_MS = {9: 93.75, 10: 187.5, 11: 375.0, 12: 750.0}


class SteinhartHart(NamedTuple):
    """1/T = a + b ln R + c (ln R)^3, T in K and R in ohm."""

    a: float
    b: float
    c: float


def thermistor(resistance_ohm: float, curve: SteinhartHart) -> float:
    """degC by Steinhart-Hart, 10 ohm to 10 Mohm; a curve fitted at three points holds within 0.003 K over 0 to 50
    degC.

    Raises OutOfRange when the curve puts that resistance outside -80 to 200 degC.
    """
    log, (a, b, c) = math.log(_ohms(resistance_ohm)), _sound(curve)
    return _plausible(a + b * log + c * log**3, resistance_ohm)


def thermistor_resistance(temperature_c: float, curve: SteinhartHart) -> float:
    """Ohm at -80 to 200 degC: the closed-form root of Steinhart-Hart."""
    kelvin = check("temperature_c", temperature_c, -80.0, 200.0, "degC") + _KELVIN
    a, b, c = _sound(curve)
    if c == 0.0:
        return math.exp((1.0 / kelvin - a) / b)
    x = (a - 1.0 / kelvin) / (2.0 * c)
    y = math.sqrt((b / (3.0 * c)) ** 3 + x * x)
    return math.exp(math.cbrt(y - x) - math.cbrt(y + x))


def steinhart_hart(points: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]) -> SteinhartHart:
    """The curve through three pairs of degC and ohm; the pairs must differ, and span what is to be measured."""
    logs = [math.log(_ohms(ohm)) for _, ohm in points]
    inverse = [1.0 / (check("temperature_c", t, -80.0, 200.0, "degC") + _KELVIN) for t, _ in points]
    if len(set(logs)) < 3:
        raise ValueError("the three calibration points must have three different resistances")
    near = (inverse[1] - inverse[0]) / (logs[1] - logs[0])
    far = (inverse[2] - inverse[0]) / (logs[2] - logs[0])
    c = (far - near) / (logs[2] - logs[1]) / sum(logs)
    b = near - c * (logs[0] ** 2 + logs[0] * logs[1] + logs[1] ** 2)
    return SteinhartHart(inverse[0] - (b + logs[0] ** 2 * c) * logs[0], b, c)


def thermistor_by_beta(
    resistance_ohm: float, at_reference_ohm: float, beta_k: float, reference_c: float = 25.0
) -> float:
    """degC by 1/T = 1/T0 + ln(R/R0)/beta; simple, and off by half a kelvin at 0 degC for a common 10 kohm part."""
    reference = check("reference_c", reference_c, -50.0, 150.0, "degC") + _KELVIN
    beta = check("beta_k", beta_k, 1000.0, 10_000.0, "K")
    ratio = _ohms(resistance_ohm) / check("at_reference_ohm", at_reference_ohm, 10.0, 1e7, "ohm")
    return _plausible(1.0 / reference + math.log(ratio) / beta, resistance_ohm)


def platinum_resistance(temperature_c: float, at_zero_ohm: float = 100.0) -> float:
    """Ohm of a Pt100 (or Pt1000 with `at_zero_ohm` 1000), -200 to 850 degC. IEC 60751."""
    t = check("temperature_c", temperature_c, -200.0, 850.0, "degC")
    base = check("at_zero_ohm", at_zero_ohm, 1.0, 1e5, "ohm")
    cold = _C * (t - 100.0) * t**3 if t < 0.0 else 0.0
    return base * (1.0 + _A * t + _B * t * t + cold)


def platinum_slope(temperature_c: float, at_zero_ohm: float = 100.0) -> float:
    """Ohm per K: lead resistance over this is the error of two-wire wiring."""
    t = check("temperature_c", temperature_c, -200.0, 850.0, "degC")
    cold = _C * (4.0 * t**3 - 300.0 * t * t) if t < 0.0 else 0.0
    return check("at_zero_ohm", at_zero_ohm, 1.0, 1e5, "ohm") * (_A + 2.0 * _B * t + cold)


def platinum(resistance_ohm: float, at_zero_ohm: float = 100.0) -> float:
    """degC of platinum, the inverse of IEC 60751: closed form above 0 degC, Newton's method below; -200 to 850
    degC.
    """
    base = check("at_zero_ohm", at_zero_ohm, 1.0, 1e5, "ohm")
    low, high = platinum_resistance(-200.0, base), platinum_resistance(850.0, base)
    ratio = check("resistance_ohm", resistance_ohm, low, high, "ohm", "broken wire or short?") / base
    t = (-_A + math.sqrt(_A * _A - 4.0 * _B * (1.0 - ratio))) / (2.0 * _B)
    t = min(max(t, -200.0), 850.0)
    for _ in range(6 if t < 0.0 else 0):
        t = max(-200.0, t - (platinum_resistance(t) - 100.0 * ratio) / platinum_slope(t))
    return t


def platinum_tolerance(temperature_c: float, tolerance_class: str = "B") -> float:
    """K either way that a new element of class AA, A, B or C may be off. IEC 60751."""
    if tolerance_class not in TOLERANCE_CLASSES:
        raise ValueError(f"tolerance_class is {tolerance_class!r}, which is none of {', '.join(TOLERANCE_CLASSES)}")
    fixed, rising = TOLERANCE_CLASSES[tolerance_class]
    return fixed + rising * abs(check("temperature_c", temperature_c, -200.0, 850.0, "degC"))


def lead_error(lead_ohm: float, temperature_c: float, at_zero_ohm: float = 100.0) -> float:
    """K by which a two-wire element reads too warm for that much lead resistance in all; three or four wires cure
    it.
    """
    return check("lead_ohm", lead_ohm, 0.0, 100.0, "ohm") / platinum_slope(temperature_c, at_zero_ohm)


def crc8(data: bytes) -> int:
    """The 1-wire check byte (x8+x5+x4+1, reflected, start 0): 0 over a block that ends with its own check byte.

    A shorted bus reads all zeros and passes.
    """
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (_CRC_REFLECTED if crc & 1 else 0)
    return crc


def ds18b20_temperature(low: int, high: int) -> float:
    """degC from the two temperature bytes of a DS18B20: sixteenths, two's complement. OutOfRange beyond -55 to 125
    degC.
    """
    for name, byte in (("low", low), ("high", high)):
        check(name, byte, 0, 255, "")
    code = high << 8 | low
    return check("temperature", (code - 0x10000 if code & 0x8000 else code) / 16.0, -55.0, 125.0, "degC", "low supply?")


def ds18b20_conversion_time(bits: int) -> float:
    """Longest conversion in s for 9 to 12 bits, by the datasheet."""
    if bits not in _CONVERSION_MS:
        raise OutOfRange("bits", bits, 9, 12, "bit")
    return _CONVERSION_MS[bits] / 1000.0


def ds18b20_fault(scratchpad: bytes) -> str:
    """Why nine scratchpad bytes are no temperature, in words; empty when they are one.

    By the Linux kernel's rules, byte 6 tells the power-on 85 degC (0x0C) from a real one.
    """
    faults = (
        (len(scratchpad) != 9, f"{len(scratchpad)} bytes instead of 9"),
        (set(scratchpad) == {0xFF}, "all ones: no sensor answers"),
        (set(scratchpad) == {0}, "all zeros: the bus is shorted"),
        (crc8(scratchpad) != 0, "the check byte does not fit"),
    )
    for found, reason in faults:
        if found:
            return reason
    code = scratchpad[1] << 8 | scratchpad[0]
    reset = scratchpad[6] == RESERVED_OF_POWER_ON
    return (
        {POWER_ON_CODE: "85 degC is the power-on value", LOW_SUPPLY_CODE: "supply too low"}.get(code, "")
        if reset
        else ""
    )


def _sound(curve: SteinhartHart) -> SteinhartHart:
    """The curve, when its coefficients can be a thermistor's."""
    check("a", curve.a, -0.01, 0.01, "1/K")
    check("b", curve.b, 1e-5, 0.01, "1/K")
    check("c", curve.c, 0.0, 1e-5, "1/K")
    return curve


def _ohms(resistance_ohm: float) -> float:
    return check("resistance_ohm", resistance_ohm, 10.0, 1e7, "ohm", "broken wire or short?")


def _plausible(inverse_kelvin: float, resistance_ohm: float) -> float:
    if not 1.0 / 473.15 <= inverse_kelvin <= 1.0 / 193.15:
        raise OutOfRange(
            "resistance_ohm", resistance_ohm, 10.0, 1e7, "ohm", "the curve puts it outside -80 to 200 degC"
        )
    return 1.0 / inverse_kelvin - _KELVIN
