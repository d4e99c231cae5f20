"""Devices that speak MQTT themselves: any topic, a bare number or word, or JSON with an RFC 9535 path into it."""

import re
from collections.abc import Callable
from datetime import UTC, datetime
from functools import partial
from typing import Any

import jsonpath

from schemas.addresses import MqttOutput, MqttProbe
from schemas.plant import Measure, Output, Probe
from services.bridge.drivers.driver import (
    Garbled,
    OutputLine,
    Payload,
    Place,
    ProbeLine,
    Sample,
    Trouble,
    contact_in,
    number_in,
    shown,
)

Finder = Callable[[Payload], Any]
_MILLISECONDS_FROM = 100_000_000_000
"""A device's time over this is in milliseconds: as seconds it would be the year 5138."""


def probe(place: Place, probe: Probe, source: MqttProbe) -> ProbeLine:
    """A line that reads one value, and its time where the plant file says where that stands."""
    find = _finder(source.value)
    value = partial(contact_in, open_says=source.open) if probe.measures is Measure.CONTACT else number_in
    if source.time is None:
        return ProbeLine(source.mqtt, lambda payload: Sample(value(find(payload))))
    find_time = _finder(source.time)
    return ProbeLine(source.mqtt, lambda payload: Sample(value(find(payload)), _time_in(find_time(payload))))


def output(place: Place, output: Output, target: MqttOutput) -> OutputLine:
    """A line that sends the on or off payload, or, to a proportional output, a number between the two."""
    off, on = target.off, target.on
    span = _span(off, on) if output.proportional else None
    return OutputLine(
        topic=target.mqtt,
        payload=partial(_switched, off.encode(), on.encode()) if span is None else partial(_between, span),
        retain_off=target.retain,
        knows_lease=target.lease,
        state_topic=target.state,
        read_state=None if target.state is None else partial(_level, _finder(target.state_value), off, on, span),
    )


def _finder(path: str | None) -> Finder:
    if path is None:
        return Payload.text
    keys = _simple_keys(path)
    if keys is not None:
        return partial(_follow, keys, path)
    return partial(_search, jsonpath.compile(path, strict=True), path)


_SIMPLE = re.compile(r"^\$(?:\.[A-Za-z_]\w*|\[\d+\]|\['[^'\\]*'\])*$", re.ASCII)
_SEGMENT = re.compile(r"\.(\w+)|\[(\d+)\]|\['([^'\\]*)'\]", re.ASCII)


def _simple_keys(path: str) -> tuple[str | int, ...] | None:
    """The steps of a path that names each level outright, or None for one that has to be searched."""
    if not _SIMPLE.match(path):
        return None
    found = _SEGMENT.finditer(path)
    return tuple(int(one[2]) if one[2] is not None else one[1] if one[1] is not None else one[3] for one in found)


def _follow(keys: tuple[str | int, ...], path: str, payload: Payload) -> Any:
    found = payload.document()
    for key in keys:
        if isinstance(found, str):  # has letters at numbers, but no elements
            raise Garbled(Trouble.MISSING, f"nothing at {path}")
        try:
            found = found[key]
        except (KeyError, IndexError, TypeError):
            raise Garbled(Trouble.MISSING, f"nothing at {path}") from None
    return found


def _search(compiled: Any, path: str, payload: Payload) -> Any:
    found = compiled.findall(payload.document())
    if not found:
        raise Garbled(Trouble.MISSING, f"nothing at {path}")
    if len(found) > 1:
        raise Garbled(Trouble.AMBIGUOUS, f"{len(found)} values at {path}, which should name one")
    return found[0]


def _time_in(found: object) -> datetime:
    try:
        if isinstance(found, str) and not found.strip().replace(".", "", 1).isdigit():
            moment = datetime.fromisoformat(found)
            return moment.astimezone(UTC) if moment.tzinfo else moment.replace(tzinfo=UTC)
        seconds = number_in(found)
        return datetime.fromtimestamp(seconds / 1000 if seconds > _MILLISECONDS_FROM else seconds, UTC)
    except (ValueError, OverflowError, OSError) as error:
        raise Garbled(Trouble.BAD_TIME, f"{shown(found)} is no time") from error


def _switched(off: bytes, on: bytes, level: float) -> bytes:
    return on if level >= 0.5 else off


def _between(span: tuple[float, float], level: float) -> bytes:
    return f"{span[0] + level * (span[1] - span[0]):.6g}".encode()


def _span(off: str, on: str) -> tuple[float, float] | None:
    try:
        return number_in(off), number_in(on)
    except Garbled:
        return None


def _level(find: Finder, off: str, on: str, span: tuple[float, float] | None, payload: Payload) -> float:
    found = find(payload)
    said = _word(found)
    if said in (_word(on), _word(off)):
        return float(said == _word(on))
    if span is None or span[0] == span[1]:
        raise Garbled(Trouble.WRONG_TYPE, f"{shown(found)} is neither {on!r} nor {off!r}")
    return min(1.0, max(0.0, (number_in(found) - span[0]) / (span[1] - span[0])))


def _word(found: object) -> str:
    """A state in words, so that a `true`, 1 or 1.0 in JSON is the "1" of the plant file."""
    if isinstance(found, bool | int | float):
        return f"{float(found):g}"
    text = str(found).strip()
    try:
        return f"{number_in(text):g}"
    except Garbled:
        return text
