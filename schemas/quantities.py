"""Quantities with units, as people write them in files and on the command line.

`pint` does the arithmetic of units; what it is told here is the short list of units that this trade uses, so that
a slip such as `5 month` for a sampling interval is refused rather than understood.
"""

import math
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, ValidationInfo

_DEFINITIONS = """
meter = [length] = m = metre
centi- = 1e-2 = c-
milli- = 1e-3 = m-
kilo- = 1e3 = k-
hecto- = 1e2 = h-
foot = 0.3048 * meter = ft = feet
inch = 0.0254 * meter = in
gram = [mass] = g
pound = 453.59237 * gram = lb
ounce = 28.349523125 * gram = oz
second = [time] = s = sec
minute = 60 * second = min
hour = 3600 * second = h = hr
day = 86400 * second = d
week = 604800 * second
kelvin = [temperature]; offset: 0 = K
degree_Celsius = kelvin; offset: 273.15 = degC = celsius
degree_Fahrenheit = 5 / 9 * kelvin; offset: 233.15 + 200 / 9 = degF = fahrenheit
delta_degree = kelvin = ddegC
ampere = [current] = A
newton = kilogram * meter / second ** 2 = N
pascal = newton / meter ** 2 = Pa
bar = 100000 * pascal
psi = 6894.757293168361 * pascal
joule = newton * meter = J
watt = joule / second = W
volt = watt / ampere = V
liter = 0.001 * meter ** 3 = L = l = litre
us_gallon = 3.785411784 * liter = gal = USgal
imperial_gallon = 4.54609 * liter = impgal
percent = 0.01
ppm = 1e-6
"""

_WRITTEN = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(\S.*?)\s*$")
_SPELLINGS = {"%": "percent", "°C": "degC", "°F": "degF", "C": "degC", "F": "degF", "Wh": "watt*hour"}
_KELVIN_STEPS = {"degC": "kelvin", "degF": "5/9*kelvin", "K": "kelvin"}


WRITTEN_BY_A_PERSON = "written by a person"
"""Validation context for files: there a bare number is refused; between programs the field's name states the unit."""


class QuantityError(ValueError):
    """A quantity that cannot be understood; the text says what would be right."""


@lru_cache(maxsize=1)
def _registry() -> Any:
    with _without_arrays():
        import pint  # costs more to load than all the rest of a service, so only who reads a file pays

    return pint.UnitRegistry(_DEFINITIONS.strip().splitlines(), autoconvert_offset_to_baseunit=True)


@contextmanager
def _without_arrays() -> Iterator[None]:
    """pint brings numpy along when it is there, for arrays of quantities that we do not have: 13 MB a process."""
    if "numpy" in sys.modules:
        yield
        return
    sys.modules["numpy"] = None  # type: ignore[assignment]  # what Python itself does to forbid an import
    try:
        yield
    finally:
        del sys.modules["numpy"]


@lru_cache(maxsize=4096)
def magnitude(written: str, unit: str) -> float:
    """The number that `written` (`23 L`, `66 degF`) is in `unit`.

    `delta_degree` as the unit reads `0.5 K`, `0.5 degC` and `0.9 degF` as differences. Raises QuantityError.
    """
    found = _WRITTEN.match(written)
    if not found:
        raise QuantityError(f"{written!r} is no quantity; write a number and its unit, such as '{_example(unit)}'")
    number, given = float(found[1]), _SPELLINGS.get(found[2], found[2])
    if unit == "delta_degree":
        given, unit = _KELVIN_STEPS.get(given, given), "kelvin"
        return _converted(number, given, unit, written, difference=True)
    return _converted(number, given, unit, written, difference=False)


def _converted(number: float, given: str, unit: str, written: str, *, difference: bool) -> float:
    try:
        if difference and given == "5/9*kelvin":
            return number * 5 / 9
        value = float(_registry().Quantity(number, given).to(unit).magnitude)
    except Exception as error:  # pint raises many kinds, tokenizer errors among them
        raise QuantityError(f"{written!r} cannot be read in {unit}; write it like '{_example(unit)}'") from error
    if not math.isfinite(value):
        raise QuantityError(f"{written!r} is not a finite number")
    return value


_EXAMPLES = {
    "liter": "23 L", "second": "5 min", "watt": "95 W", "volt": "230 V", "ampere": "10 A", "degC": "18 degC",
    "delta_degree": "0.5 K", "bar": "0.8 bar", "meter": "60 m", "percent": "30 %", "kilogram": "2.3 kg",
    "kelvin/hour": "1 K/h",
}  # fmt: skip


def _example(unit: str) -> str:
    return _EXAMPLES.get(unit, f"1 {unit}")


class In:
    """Makes the type of a field that people write with a unit and that is kept as a plain number in `unit`."""

    def __new__(cls, unit: str, *, low: float | None = None, high: float | None = None) -> Any:
        """`low` and `high` are inclusive, in `unit`."""
        bounds = Field(allow_inf_nan=False, ge=low, le=high)

        def read(value: Any, info: ValidationInfo) -> Any:
            if isinstance(value, str):
                return magnitude(value, unit)
            if info.context == WRITTEN_BY_A_PERSON:
                raise QuantityError(f"{value!r} has no unit; write it like '{_example(unit)}'")
            return value

        return Annotated[float, BeforeValidator(read, json_schema_input_type=str), bounds]


Litres = In("liter", low=0.1, high=20000)
Seconds = In("second", low=0)
Watts = In("watt", low=0, high=50000)
Volts = In("volt", low=5, high=1000)
Amperes = In("ampere", low=0, high=1000)
Degrees = In("degC", low=-60, high=150)
Kelvins = In("delta_degree", low=-50, high=150)
Metres = In("meter", low=-500, high=9000)
Percent = In("percent", low=0, high=100)
KelvinsPerHour = In("kelvin/hour", low=0.001, high=60)
Bars = In("bar", low=0, high=4)
Kilograms = In("kilogram", low=0, high=500)
