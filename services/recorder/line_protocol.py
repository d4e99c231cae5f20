"""InfluxDB's line protocol, as its reference describes it (InfluxDB v2 documentation, "Line protocol")."""

from collections.abc import Mapping

FieldValue = float | int | str | bool

_IN_MEASUREMENT = str.maketrans({",": r"\,", " ": r"\ "})
_IN_KEY = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ "})
_IN_STRING = str.maketrans({'"': r"\"", "\\": r"\\"})


def point(measurement: str, tags: Mapping[str, str], fields: Mapping[str, FieldValue], at: int | None = None) -> str:
    """One line. Empty tags are left out; raises ValueError where the protocol has no way to say it."""
    if not fields:
        raise ValueError(f"a point of {measurement!r} needs one field at least")
    written = ",".join(f"{key(name)}={field(value)}" for name, value in fields.items())
    return f"{head(measurement, tags)} {written}" + ("" if at is None else f" {at}")


def head(measurement: str, tags: Mapping[str, str]) -> str:
    """What all points of one series begin with; tags are sorted, which the server likes best."""
    if measurement.startswith("_") or not measurement:
        raise ValueError(f"{measurement!r} cannot be a measurement: it is empty or begins with '_'")
    parts = [f"{key(name)}={_tag_value(tags[name])}" for name in sorted(tags) if tags[name]]
    return ",".join([_one_line(measurement).translate(_IN_MEASUREMENT), *parts])


def key(name: str) -> str:
    """A tag's or field's name."""
    if not name or name.startswith("_"):
        raise ValueError(f"{name!r} cannot be a key: it is empty or begins with '_'")
    return _one_line(name).translate(_IN_KEY)


def field(value: FieldValue) -> str:
    """A float, integer (with `i`), boolean or string (in quotes) as the protocol writes it."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int):
        return f"{value}i"
    if isinstance(value, float):
        return _number(value)
    return f'"{_one_line(value).translate(_IN_STRING)}"'


def _number(value: float) -> str:
    if value != value or value in (float("inf"), float("-inf")):
        raise ValueError(f"{value} cannot be written: the protocol knows neither NaN nor infinity")
    return repr(value)


def _tag_value(value: str) -> str:
    if value.endswith("\\"):
        raise ValueError(f"{value!r} cannot be a tag: a backslash at its end would hide what follows")
    return _one_line(value).translate(_IN_KEY)


def _one_line(text: str) -> str:
    if "\n" in text:
        raise ValueError(f"{text!r} has a line break, which no part of a line may have")
    return text
