"""Sensors on the Linux kernel's 1-wire bus, read through sysfs.

`w1_slave` gives two lines: nine bytes of scratchpad with the CRC's verdict, and the bytes again with `t=` in
thousandths of a degree. Newer kernels also give `temperature`, which holds that number alone and fails to be read when
the CRC does not agree. (Linux, Documentation/w1/slaves/w1_therm.rst.)
"""

import re
from functools import partial
from pathlib import Path

from brewing.probes import crc8
from schemas.addresses import OneWireProbe
from schemas.plant import Probe
from services.bridge.drivers.driver import (
    Garbled,
    Payload,
    Place,
    ProbeLine,
    Sample,
    Trouble,
    local_topic,
    shown,
)

DRIVER = "onewire"
_FAILED = b"failed: "
_SCRATCHPAD = re.compile(r"^((?:[0-9a-f]{2} ){9}): crc=[0-9a-f]{2} (YES|NO)\s+(?:[0-9a-f]{2} ){9}t=(-?\d+)$")
_THOUSANDTHS = re.compile(r"^-?\d{1,6}$")
_NOT_CONVERTED = 0x0C
"""Byte 6 of the scratchpad stays so as long as nothing was converted; a genuine 85 degC leaves another value."""
_UNMEASURED = {
    85_000: "85.0 degC is the power-on value",
    127_937: "127.94 degC means too little power for a conversion",
}


def probe(place: Place, probe: Probe, source: OneWireProbe) -> ProbeLine:
    """A line that reads what `fetch` gets from the sensor's folder."""
    folder = Path(source.folder) / source.onewire
    return ProbeLine(local_topic(DRIVER, source.onewire), read, partial(fetch, folder))


def fetch(folder: Path) -> bytes:
    """The content of the sensor's file, or `failed: ` and why. Blocks as long as a conversion takes: up to 750 ms."""
    try:
        return _either(folder / "w1_slave", folder / "temperature").read_bytes()
    except OSError as error:
        return _FAILED + (error.strerror or "unreadable").encode()


def read(payload: Payload) -> Sample:
    """degC. Raises Garbled with what the kernel's text gives away."""
    if payload.raw.startswith(_FAILED):
        reason = payload.text().removeprefix(_FAILED.decode())
        raise Garbled(Trouble.NO_SENSOR, f"the sensor cannot be read: {reason}")
    text = payload.text()
    if _THOUSANDTHS.match(text):
        return Sample(_measured(int(text), vouched=False), vouched=False)
    found = _SCRATCHPAD.match(text)
    if not found:
        raise Garbled(Trouble.NO_SENSOR, f"{shown(text)} is no complete answer of a sensor")
    return _from_scratchpad(bytes.fromhex(found[1]), found[2] == "YES", int(found[3]))


def _either(first: Path, second: Path) -> Path:
    return second if not first.exists() and second.exists() else first


def _from_scratchpad(scratchpad: bytes, kernel_agrees: bool, thousandths: int) -> Sample:
    if not any(scratchpad) or set(scratchpad) == {0xFF}:
        raise Garbled(Trouble.NO_SENSOR, "all bytes are alike: no sensor answers, or the line is shorted")
    if not kernel_agrees or crc8(scratchpad):
        raise Garbled(Trouble.CRC, "the checksum does not agree: disturbed or loose wiring")
    converted = scratchpad[6] != _NOT_CONVERTED
    return Sample(_measured(thousandths, vouched=converted), vouched=converted)


def _measured(thousandths: int, *, vouched: bool) -> float:
    if not vouched and thousandths in _UNMEASURED:
        raise Garbled(Trouble.POWER_ON, _UNMEASURED[thousandths])
    return thousandths / 1000
