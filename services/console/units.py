"""The units that a visitor reads and writes in; everything inside stays in degC, bar and litres."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import NamedTuple

COOKIE = "coldside_units"
_NUMBER = re.compile(r"[+\-\u2212]?\s*(\d+(?:[.,]\d*)?|[.,]\d+)")


class Scale(NamedTuple):
    """Shown = inside * `per` + `zero`; `mark` is how people write the unit, `digits` how fine it is worth showing."""

    mark: str
    per: float
    zero: float
    digits: int


SCALES: dict[str, dict[str, Scale]] = {
    "temperature": {"degC": Scale("°C", 1.0, 0.0, 1), "degF": Scale("°F", 1.8, 32.0, 1)},
    "pressure": {"bar": Scale("bar", 1.0, 0.0, 2), "psi": Scale("psi", 14.503773773, 0.0, 1)},
    "volume": {"L": Scale("L", 1.0, 0.0, 1), "gal": Scale("gal", 1 / 3.785411784, 0.0, 2)},
}
"""US gallons. The first of each kind is what is kept inside, and what a visitor gets who has not chosen."""


@dataclass(frozen=True, slots=True)
class Units:
    """One visitor's choice."""

    temperature: str = "degC"
    pressure: str = "bar"
    volume: str = "L"

    @property
    def cookie(self) -> str:
        """How a browser keeps it."""
        return ".".join((self.temperature, self.pressure, self.volume))


def chosen(cookies: Mapping[str, str]) -> Units:
    """What a browser's cookies say; anything that is no unit counts as not chosen."""
    words = set(cookies.get(COOKIE, "").split("."))
    picks = {
        kind: next((unit for unit in scales if unit in words), next(iter(scales))) for kind, scales in SCALES.items()
    }
    return Units(**{field.name: picks[field.name] for field in fields(Units)})


def scale(kind: str, units: Units) -> Scale:
    """How a kind of quantity ('temperature', 'pressure', 'volume') is shown to this visitor."""
    return SCALES[kind][getattr(units, kind)]


def number(kind: str, value: float, units: Units) -> float:
    """A value kept inside, on the visitor's scale."""
    _, per, zero, _ = scale(kind, units)
    return value * per + zero


def inside(kind: str, shown: float, units: Units) -> float:
    """The way back: what somebody read off, as it is kept inside."""
    _, per, zero, _ = scale(kind, units)
    return (shown - zero) / per


def figure(value: float, digits: int) -> str:
    """A number for reading: a true minus sign, and never a minus zero."""
    written = f"{value:.{digits}f}"
    return written.replace("-", "\u2212") if float(written) else f"{0:.{digits}f}"


def show_temperature(celsius: float, units: Units, digits: int | None = None, *, mark: bool = True) -> str:
    """'20.4 °C'; without `mark` the bare figure."""
    return _shown("temperature", celsius, units, digits, mark)


def show_pressure(bar: float, units: Units, digits: int | None = None, *, mark: bool = True) -> str:
    """'0.95 bar', above the atmosphere's."""
    return _shown("pressure", bar, units, digits, mark)


def show_volume(litres: float, units: Units, digits: int | None = None, *, mark: bool = True) -> str:
    """'23.0 L'."""
    return _shown("volume", litres, units, digits, mark)


def show_difference(kelvin: float, units: Units, digits: int = 1, *, mark: bool = True) -> str:
    """A difference of temperatures, with its sign: '+0.3 K', or in Fahrenheit's degrees for who reads those."""
    per = scale("temperature", units).per
    written = figure(kelvin * per, digits)
    signed = written if written.startswith("\u2212") or not float(written) else f"+{written}"
    return f"{signed} {difference_mark(units)}" if mark else signed


def difference_mark(units: Units) -> str:
    """What stands behind a difference of temperatures."""
    return "K" if units.temperature == "degC" else "°F"


def mark_of(kind: str, units: Units) -> str:
    """What stands behind a figure of this kind."""
    return scale(kind, units).mark


def read_temperature(written: str, units: Units) -> float:
    """Celsius from what a visitor wrote on their own scale; raises ValueError where there is no number."""
    found = _NUMBER.fullmatch(written.strip())
    if found is None:
        raise ValueError(f"{written!r} is no temperature; write it like '{show_temperature(18.5, units, mark=False)}'")
    plain = "".join(found.group(0).replace("\u2212", "-").replace(",", ".").split())
    return inside("temperature", float(plain), units)


def _shown(kind: str, value: float, units: Units, digits: int | None, mark: bool) -> str:
    found = scale(kind, units)
    written = figure(number(kind, value, units), found.digits if digits is None else digits)
    return f"{written} {found.mark}" if mark else written
