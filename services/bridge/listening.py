"""What could be a probe, among raw messages that were overheard: a plant file to paste and to finish by hand."""

import json
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from schemas.plant import Measure
from schemas.topics import ROOT, valid_topic
from services.bridge.drivers.driver import LARGEST_PAYLOAD, Garbled, Payload, contact_in, number_in

MOST_SHOWN = 40
_WORDS: dict[Measure, tuple[str, ...]] = {
    Measure.TEMPERATURE: ("temp", "celsius", "beer", "wort", "fridge", "air"),
    Measure.CONTACT: ("door", "contact", "lid", "open"),
    Measure.GRAVITY: ("gravity", "sg"),
    Measure.PRESSURE: ("press", "bar"),
    Measure.MASS: ("mass", "weight", "kg"),
    Measure.FLOW: ("flow",),
    Measure.CO2: ("co2",),
    Measure.HUMIDITY: ("humid",),
    Measure.POWER: ("watt", "power"),
}
"""How words begin that tell what a value is."""
_NO_PROBES = ("rssi", "snr", "lqi", "uptime", "time", "stamp", "count", "seq", "heap", "battery", "batt", "volt", "vcc",
              "version", "interval", "channel", "port", "id", "wifi", "signal", "free")  # fmt: skip
_NO_NAMES = ("true", "false", "null")
"""What YAML takes for something else than a word."""
_CONTACT_WORDS = ("open", "closed", "opened", "close", "shut", "on", "off", "true", "false")


@dataclass(slots=True)
class Candidate:
    """One leaf of one topic, with all that it said."""

    topic: str
    path: str | None
    said: list[object] = field(default_factory=list)
    measures: Measure | None = None


def suggest(heard: Iterable[tuple[str, bytes]]) -> str:
    """YAML with a probe for each leaf that could be one, likely ones first; empty when there is none."""
    found = [one for one in candidates(heard) if one.measures is not None][:MOST_SHOWN]
    if not found:
        return ""
    lines = [
        "# What could be a probe. Give each a name, and to a temperature its place (`at: beer`, air, bath, line or",
        "# room); take away what is none, and put the rest under a chamber of your plant file.",
        "probes:",
    ]
    names: set[str] = set()
    for one in found:
        lines.append(f"  {_name(one, names)}: {_described(one)}  # said {_examples(one)}")
    return "\n".join(lines)


def candidates(heard: Iterable[tuple[str, bytes]]) -> list[Candidate]:
    """Every leaf that was overheard, those whose name says what they measure first; `measures` is None for no probe."""
    leaves: dict[tuple[str, str | None], Candidate] = {}
    for topic, payload in heard:
        if topic.startswith((f"{ROOT}/", "$")) or not valid_topic(topic) or len(payload) > LARGEST_PAYLOAD:
            continue
        for path, value in _leaves(payload):
            leaves.setdefault((topic, path), Candidate(topic, path)).said.append(value)
    for one in leaves.values():
        one.measures = _measure(one)
    return sorted(leaves.values(), key=lambda one: (_named(one) is None, one.topic, one.path or ""))


def _leaves(payload: bytes) -> Iterator[tuple[str | None, object]]:
    """Each value with its path; a bare number or word has none."""
    try:
        text = Payload(payload).text()
    except Garbled:
        return
    try:
        document = json.loads(text)
    except (ValueError, RecursionError):
        yield None, text
        return
    if isinstance(document, dict | list | str):
        yield from _walk(document, "$", 0)
    else:
        yield None, text


def _walk(node: Any, path: str, depth: int) -> Iterator[tuple[str, object]]:
    if isinstance(node, dict) and depth < 8:
        for key, value in ((key, value) for key, value in node.items() if key.isprintable()):
            yield from _walk(value, f"{path}{_step(key)}", depth + 1)
    elif isinstance(node, list) and depth < 8:
        for index, value in enumerate(node[:64]):
            yield from _walk(value, f"{path}[{index}]", depth + 1)
    else:
        yield path, node


def _step(key: str) -> str:
    if key.isidentifier() and key.isascii():
        return f".{key}"
    quoted = json.dumps(key, ensure_ascii=False)[1:-1].replace('\\"', '"').replace("'", "\\'")
    return f"['{quoted}']"


def _measure(one: Candidate) -> Measure | None:
    """What it could measure: as its name says, when all it said fits, else as its values look."""
    words = _words_of(one)
    if any(word in _NO_PROBES or word.rstrip("0123456789") in _NO_PROBES for word in words):
        return None
    numbers = [number for said in one.said if (number := _number(said)) is not None]
    named = _named(one)
    if len(numbers) < len(one.said) or named is Measure.CONTACT:
        return Measure.CONTACT if all(_is_contact(said) for said in one.said) else None
    if named is not None:
        low, high = _PLAUSIBLE[named]
        return named if all(low <= number <= high for number in numbers) else None
    return next((measure for measure in _BY_LOOKS if all(_looks(measure, number) for number in numbers)), None)


_PLAUSIBLE: dict[Measure, tuple[float, float]] = {
    Measure.TEMPERATURE: (-40.0, 130.0),
    Measure.GRAVITY: (0.98, 1.2),
    Measure.PRESSURE: (-1.0, 10.0),
    Measure.MASS: (-1.0, 1000.0),
    Measure.FLOW: (-1.0, 200.0),
    Measure.CO2: (0.0, 200_000.0),
    Measure.HUMIDITY: (0.0, 105.0),
    Measure.POWER: (-50_000.0, 50_000.0),
}
_BY_LOOKS = (Measure.GRAVITY, Measure.TEMPERATURE)
_LOOKS_LIKE = {Measure.GRAVITY: (0.985, 1.15), Measure.TEMPERATURE: (-30.0, 60.0)}


def _looks(measure: Measure, number: float) -> bool:
    """A number with digits after the point, where such a thing would be; whole numbers are mostly something else."""
    low, high = _LOOKS_LIKE[measure]
    return low <= number <= high and number != int(number)


def _named(one: Candidate) -> Measure | None:
    """What the nearest telling word says."""
    pairs = ((measure, word) for word in _words_of(one) for measure in _WORDS)
    return next((measure for measure, word in pairs if word.startswith(_WORDS[measure])), None)


def _words_of(one: Candidate) -> list[str]:
    """The last word counts first: the leaf's own key, then the levels above it."""
    text = f"{one.topic}/{one.path or ''}"
    spaced = "".join(sign if sign.isalnum() else " " for sign in text)
    return [word.lower() for word in reversed(spaced.split())]


def _number(said: object) -> float | None:
    try:
        number = number_in(said)
    except Garbled:
        return None
    return number if math.isfinite(number) else None


def _is_contact(said: object) -> bool:
    if isinstance(said, str) and said.lower() not in _CONTACT_WORDS and said not in ("0", "1"):
        return False
    try:
        contact_in(said)
    except Garbled:
        return False
    return True


def _described(one: Candidate) -> str:
    value = "" if one.path is None else f", value: {_quoted(one.path)}"
    return f"{{measures: {one.measures}, from: {{mqtt: {_quoted(one.topic)}{value}}}}}"


def _quoted(text: str) -> str:
    """A YAML string in double quotes, which reads like JSON's."""
    return json.dumps(text, ensure_ascii=False)


def _name(one: Candidate, taken: set[str]) -> str:
    words = [word for word in _words_of(one) if word.isascii() and not word.isdigit()]
    stem = words[0][:30] if words and words[0] not in _NO_NAMES else str(one.measures)
    name, number = stem, 2
    while name in taken:
        name, number = f"{stem}-{number}", number + 1
    taken.add(name)
    return name


def _examples(one: Candidate) -> str:
    different = list(dict.fromkeys(str(said)[:20] for said in one.said))
    shown = ", ".join(different[:3])
    return f"{shown}, ... ({len(one.said)} times)" if len(different) > 3 else f"{shown} ({len(one.said)} times)"
