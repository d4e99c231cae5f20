"""Quantities as people write them, read at the edges by `pint`; inside, every number has the unit in its name."""

import re
from collections.abc import Callable
from functools import lru_cache
from math import isfinite
from typing import Any, NamedTuple

from brewing import gravity

GRAMS_PER_VOLUME = 1.9768
"""g of CO2 in a litre of gas at 0 degC and 101 325 Pa, a real gas: Span & Wagner 1996. As an ideal gas 1.9635."""

_DEFINITIONS = f"""
centi- = 1e-2 = c-
milli- = 1e-3 = m-
micro- = 1e-6 = µ- = u-
kilo- = 1e3 = k-
mega- = 1e6 = M-
hecto- = 1e2 = h-
meter = [length] = m = metre
foot = 0.3048 * meter = ft = feet
inch = 0.0254 * meter = in
gram = [mass] = g
pound = 453.59237 * gram = lb = lbs
ounce = 28.349523125 * gram = oz
second = [time] = s = sec
minute = 60 * second = min
hour = 3600 * second = h = hr
day = 86400 * second = d
week = 604800 * second
month = 2629800 * second
kelvin = [temperature]; offset: 0 = K
degree_Celsius = kelvin; offset: 273.15 = degC = celsius
degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = degF = fahrenheit
fahrenheit_step = 5 / 9 * kelvin
degree_Plato = [extract] = degP
ampere = [current] = A
cell = [cell] = cells
newton = kilogram * meter / second ** 2 = N
pascal = newton / meter ** 2 = Pa
bar = 100000 * pascal
atmosphere = 101325 * pascal = atm
psi = 6894.757293168361 * pascal
joule = newton * meter = J
calorie = 4.184 * joule = cal
btu = 1055.05585262 * joule = BTU = Btu
watt = joule / second = W
volt = watt / ampere = V
ohm = volt / ampere
liter = 0.001 * meter ** 3 = L = l = litre
us_gallon = 3.785411784 * liter = gal = USgal
imperial_gallon = 4.54609 * liter = impgal
us_fluid_ounce = us_gallon / 128 = floz
us_pint = us_gallon / 8 = USpint
imperial_pint = imperial_gallon / 8 = pint
us_barrel = 31 * us_gallon = bbl
volume_of_CO2 = {GRAMS_PER_VOLUME} * gram / liter = vol = vols = volumes
percent = 0.01
ppm = 1e-6
"""

_WRITTEN = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S.*?)?\s*$")
_SPELLINGS = {
    "%": "percent", "°C": "degC", "°F": "degF", "C": "degC", "F": "degF", "°P": "degP", "P": "degP", "Plato": "degP",
    "plato": "degP", "Brix": "degP", "Bx": "degP", "sg": "SG", "Wh": "W*h", "kWh": "kW*h", "C/d": "K/d",
    "P/d": "degP/d", "CO2 vol": "vol",
}  # fmt: skip
_STEPS = {"degC": "K", "degF": "fahrenheit_step"}
_SIGNED_PRESSURE = re.compile(r"^(psi|bar|mbar|kPa|hPa|Pa|MPa)\s*(g|a|gauge|abs|absolute)$")


class QuantityError(ValueError):
    """A quantity that cannot be understood; the text says what would be right."""


class Kind(NamedTuple):
    """A sort of quantity that `read` understands beyond the plain units of `pint`."""

    example: str
    read: Callable[[float, str], float]


def read(written: str, unit: str) -> float:
    """The number that `written` (`66 degF`, `12 psi`, `1.050`) is in `unit`.

    `unit` is a unit in `pint`'s spelling, `1` for a bare number, or one of `KINDS`: a temperature difference, a gauge
    or an absolute pressure, or a gravity, which is read from specific gravity and from degrees Plato. Raises
    QuantityError.
    """
    found = _WRITTEN.match(written)
    if not found:
        raise QuantityError(f"{written!r} is no quantity; write it like '{example(unit)}'")
    number, given = float(found[1]), _SPELLINGS.get(found[2] or "", found[2] or "")
    try:
        return _finite(KINDS[unit].read(number, given) if unit in KINDS else _plain(number, given, unit))
    except QuantityError as error:
        raise QuantityError(f"{written!r} {error}; write it like '{example(unit)}'") from error


def example(unit: str) -> str:
    """How a quantity in `unit` may be written."""
    return KINDS[unit].example if unit in KINDS else _EXAMPLES.get(unit, f"1 {unit}")


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """A magnitude in another unit of the same dimension; absolute temperatures keep their offset."""
    return _plain(value, from_unit, to_unit)


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint  # slow and large to load, so only who reads a quantity pays

    return pint.UnitRegistry(_DEFINITIONS.strip().splitlines(), autoconvert_offset_to_baseunit=True)


def _plain(number: float, given: str, unit: str) -> float:
    if not given:
        if unit == "1":
            return number
        raise QuantityError("has no unit")
    try:
        return float(_registry().Quantity(number, given).to("" if unit == "1" else unit).magnitude)
    except Exception as error:  # pint raises many kinds, tokenizer errors among them
        raise QuantityError(f"cannot be read in {unit}") from error


def _finite(value: float) -> float:
    if not isfinite(value):
        raise QuantityError("is not a finite number")
    return value


def _step(number: float, given: str) -> float:
    return _plain(number, _STEPS.get(given, given), "K")


def _gauge(number: float, given: str) -> float:
    return _pressure(number, given, wanted="gauge", other="absolute")


def _absolute(number: float, given: str) -> float:
    return _pressure(number, given, wanted="absolute", other="gauge")


def _pressure(number: float, given: str, *, wanted: str, other: str) -> float:
    signed = _SIGNED_PRESSURE.match(given)
    if signed and signed[2][0] == other[0]:
        raise QuantityError(
            f"is {_an(other)} pressure and {_an(wanted)} one is asked for: "
            "they differ by the air's, 1.013 bar or 14.7 psi at sea level"
        )
    return _plain(number, signed[1] if signed else given, "Pa")


def _an(word: str) -> str:
    return f"an {word}" if word.startswith("a") else f"a {word}"


def _specific_gravity(number: float, given: str) -> float:
    if given == "degP":
        return gravity.specific_gravity(number)
    if given in ("", "SG"):
        return number
    raise QuantityError("is neither a specific gravity nor degrees Plato")


def _plato(number: float, given: str) -> float:
    return number if given == "degP" else gravity.plato(_specific_gravity(number, given))


KINDS = {
    "K step": Kind("0.5 K", _step),
    "Pa gauge": Kind("12 psi", _gauge),
    "Pa absolute": Kind("1.013 bar", _absolute),
    "SG": Kind("1.050", _specific_gravity),
    "degP": Kind("12.4 degP", _plato),
}
_EXAMPLES = {
    "1": "0.75", "degC": "18 degC", "L": "19 L", "percent": "75 %", "kg": "2.3 kg", "g": "120 g", "m": "60 m",
    "s": "5 min", "h": "6 h", "d": "10 d", "W": "95 W", "J": "50 kJ", "vol": "2.4 vol", "g/L": "4.9 g/L",
    "cell": "100e9 cells", "degP/d": "3 degP/d",
}  # fmt: skip
