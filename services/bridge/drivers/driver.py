"""What a device driver is.

A driver for probes is one function and a driver for outputs another; a driver need not have both:

    def probe(place: Place, probe: Probe, source: MySource) -> ProbeLine: ...
    def output(place: Place, output: Output, target: MyTarget) -> OutputLine: ...

Both are called once for each probe or output of a plant and answer with a *line*: the topic that its payloads travel
on, and pure functions between bytes and numbers. What cannot be understood is raised as `Garbled` and becomes a bad
reading that says why.
To add a driver: a model of its address in `schemas/addresses.py`, one file here, one row in `drivers/__init__.py`.

A probe that does not speak MQTT has a `fetch` on its line, which the shell calls off the event loop; the bytes come in
on a *local* topic (`local_topic`), which no broker ever sees.
"""

import json
import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any, NamedTuple, NoReturn

LOCAL = "$local/"
"""Begins the topics of devices that are fetched by the bridge itself; a plant file cannot name one."""
LARGEST_PAYLOAD = 16_000


class Trouble(StrEnum):
    """What can be wrong with a raw value; health counts each by this name."""

    HUGE = "huge"
    NOT_TEXT = "not_text"
    NOT_JSON = "not_json"
    MISSING = "missing"
    AMBIGUOUS = "ambiguous"
    WRONG_TYPE = "wrong_type"
    NOT_FINITE = "not_finite"
    CRC = "crc"
    POWER_ON = "power_on_value"
    NO_SENSOR = "no_sensor"
    RANGE = "range"
    RATE = "rate"
    STUCK = "stuck"
    FUTURE = "future"
    OLD = "old"
    BAD_TIME = "bad_time"
    RETAINED = "retained"


class Garbled(ValueError):
    """A payload of which no value can be made."""

    def __init__(self, trouble: Trouble, reason: str) -> None:
        super().__init__(reason)
        self.trouble = trouble


class Sample(NamedTuple):
    """A raw value. `at` is the device's own time, when it tells one; `vouched` means that the device itself says
    that the value was measured, so that even one that looks like a power-on value is believed."""

    value: float
    at: datetime | None = None
    vouched: bool = False


@dataclass(frozen=True, slots=True)
class Place:
    """Whose line it is: `name` is the probe's or the output's."""

    site: str
    chamber: str
    name: str

    @property
    def key(self) -> str:
        """Unique within a site."""
        return f"{self.chamber}/{self.name}"


class Payload:
    """One message's bytes, parsed at most once however many probes it carries."""

    __slots__ = ("raw", "_document")

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        self._document: Any = _NOT_YET

    def text(self) -> str:
        """Stripped of white space at the ends. Raises Garbled when it is too long or no UTF-8."""
        if len(self.raw) > LARGEST_PAYLOAD:
            raise Garbled(Trouble.HUGE, f"{len(self.raw)} bytes, over the limit of {LARGEST_PAYLOAD}")
        try:
            return self.raw.decode().strip()
        except UnicodeDecodeError as error:
            raise Garbled(Trouble.NOT_TEXT, f"byte {error.start} is not UTF-8") from error

    def document(self) -> Any:
        """What the JSON in it says. Raises Garbled when there is none."""
        if self._document is _NOT_YET:
            self._document = _parsed(self.text())
        if isinstance(self._document, Garbled):
            raise self._document
        return self._document


@dataclass(frozen=True, slots=True)
class ProbeLine:
    """How a probe is heard. `fetch` gets its bytes when they do not come by themselves: it may block, and never raises
    for what a sensor or its bus does. Only the shell calls it."""

    topic: str
    read: Callable[[Payload], Sample]
    fetch: Callable[[], bytes] | None = None


@dataclass(frozen=True, slots=True)
class OutputLine:
    """How an output is told, and where it tells back. `payload` takes a level, 0 to 1.

    Only the off payload is ever retained: a broker must not repeat an old `on` to a relay that comes back.
    """

    topic: str
    payload: Callable[[float], bytes]
    retain_off: bool = False
    knows_lease: bool = False
    state_topic: str | None = None
    read_state: Callable[[Payload], float] | None = None


def local_topic(driver: str, sensor: str) -> str:
    """Where the shell hands in what it fetched from a sensor."""
    return f"{LOCAL}{driver}/{sensor}"


def number_in(found: object) -> float:
    """A finite number, also one written as a string. Raises Garbled for anything else, truth values included."""
    if isinstance(found, str):
        return _number_written(found)
    if isinstance(found, bool) or not isinstance(found, int | float):
        _refuse_type(found, "a number")
    try:
        number = float(found)
    except OverflowError as error:
        raise Garbled(Trouble.NOT_FINITE, "the number is too big") from error
    if not math.isfinite(number):
        raise Garbled(Trouble.NOT_FINITE, f"{number} is not a finite number")
    return number


def contact_in(found: object, open_says: object = None) -> float:
    """1 for open, 0 for closed; `open_says` is the word for open, else the usual words and numbers count.

    Raises Garbled for what is neither.
    """
    if found is None or isinstance(found, dict | list):
        _refuse_type(found, "a contact's word")
    said = _plain(found)
    if open_says is not None:
        return float(said == _plain(open_says))
    if said in _CONTACT_WORDS:
        return _CONTACT_WORDS[said]
    raise Garbled(
        Trouble.WRONG_TYPE, f"{shown(found)} is neither open nor closed; the plant file can say what 'open' is"
    )


def shown(found: object) -> str:
    """A value for a sentence, short."""
    text = repr(found)
    return text if len(text) <= 60 else f"{text[:57]}..."


_NOT_YET = object()
_CONTACT_WORDS: dict[object, float] = {
    1.0: 1.0, "open": 1.0, "on": 1.0, "true": 1.0, "opened": 1.0,
    0.0: 0.0, "closed": 0.0, "off": 0.0, "false": 0.0, "shut": 0.0, "close": 0.0,
}  # fmt: skip


def _parsed(text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError) as error:
        return Garbled(Trouble.NOT_JSON, f"{shown(text)} is no JSON: {error}")


def _number_written(text: str) -> float:
    try:
        number = float(text)
    except ValueError:
        raise Garbled(Trouble.WRONG_TYPE, f"{shown(text)} is not a number") from None
    if "_" in text:  # Python reads 1_000, no device writes it
        raise Garbled(Trouble.WRONG_TYPE, f"{shown(text)} is not a number")
    if not math.isfinite(number):
        raise Garbled(Trouble.NOT_FINITE, f"{shown(text)} is not a finite number")
    return number


def _plain(word: object) -> object:
    """Numbers and truth values as floats, words in lower case, so that `1`, `true`, "1" and 1.0 are one."""
    if isinstance(word, bool | int | float):
        return float(word)
    text = str(word).strip().lower()
    try:
        return float(text)
    except ValueError:
        return text


def _refuse_type(found: object, wanted: str) -> NoReturn:
    raise Garbled(Trouble.WRONG_TYPE, f"{shown(found)} is not {wanted}")
