"""Sensors on the kernel's 1-wire bus, faults included."""

import json
from pathlib import Path

import pytest

from brewing.probes import crc8
from schemas.plant_file import loads
from services.bridge.drivers.driver import Garbled, Payload
from services.bridge.drivers.onewire import fetch, read
from services.runtime.service import Incoming
from tests.bridge.bench import START, Bench
from tests.reference.tables import FOLDER, rows

CASES = json.loads((FOLDER / "w1_sysfs_cases.json").read_text(encoding="utf-8"))
CHECKSUMS = [row for row in rows("onewire") if row.quantity.startswith("CRC-8")]
REGISTERS = [row for row in rows("onewire") if row.quantity == "DS18B20 temperature register"]
SENSOR = "28-0000075f3c1a"


def sensor(root: Path, **files: str) -> Path:
    folder = root / SENSOR
    folder.mkdir()
    for name, text in files.items():
        (folder / name).write_text(text)
    return folder


def scratchpad(low: int, high: int) -> str:
    """What the kernel shows of a sensor at 12 bits, in the format of its Documentation/w1/slaves/w1_therm.rst."""
    shown = bytes([low, high, 0x4B, 0x46, 0x7F, 0xFF, 0x02, 0x10])
    shown += bytes([crc8(shown)])
    raw = int.from_bytes(shown[:2], "little", signed=True)
    words = shown.hex(" ")
    return f"{words} : crc={shown[8]:02x} YES\n{words} t={raw * 1000 // 16}\n"


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["case"])
def test_kernels_text_gives_the_published_value_or_is_refused(case, tmp_path):
    """Linux, Documentation/w1/slaves/w1_therm.rst; the cases name what each stands for."""
    payload = Payload(fetch(sensor(tmp_path, w1_slave=case["text"])))
    if case["expected_C"] is None:
        with pytest.raises(Garbled):
            read(payload)
    else:
        assert read(payload).value == pytest.approx(case["expected_C"])


@pytest.mark.parametrize("row", CHECKSUMS, ids=lambda row: row.id)
def test_checksum_agrees_with_published_ones(row):
    """Maxim AN27 and public logs of sensors, as each row says."""
    assert crc8(bytes.fromhex(row.inputs["bytes_hex"])) == int(str(row.expected).removesuffix(".0"), 16)


@pytest.mark.parametrize("row", REGISTERS, ids=lambda row: row.id)
def test_temperature_register_agrees_with_the_datasheet(row, tmp_path):
    """DS18B20 datasheet, table Temperature/Data Relationship, through the kernel's format."""
    low, high = bytes.fromhex(row.inputs["lsb_msb_hex"])
    found = read(Payload(fetch(sensor(tmp_path, w1_slave=scratchpad(low, high)))))
    assert found.value == pytest.approx(float(row.expected), abs=0.001)


def test_newer_kernels_file_is_read_where_it_is_the_only_one(tmp_path):
    assert read(Payload(fetch(sensor(tmp_path, temperature="-1250\n")))).value == -1.25


@pytest.mark.parametrize("text", ["85000\n", "127937\n", "", "none", "23125 YES"])
def test_newer_kernels_file_is_refused_when_nothing_was_measured(text, tmp_path):
    with pytest.raises(Garbled):
        read(Payload(fetch(sensor(tmp_path, temperature=text))))


def test_missing_sensor_says_so(tmp_path):
    with pytest.raises(Garbled, match="No such file"):
        read(Payload(fetch(tmp_path / SENSOR)))


@pytest.mark.parametrize("position", range(9))
def test_any_flipped_byte_is_noticed(position, tmp_path):
    words = scratchpad(0x72, 0x01).split("\n")[1].split()[:9]
    words[position] = f"{int(words[position], 16) ^ 0x11:02x}"
    flipped = " ".join(words)
    text = f"{flipped} : crc={words[8]} YES\n{flipped} t=23125\n"
    with pytest.raises(Garbled, match="checksum"):
        read(Payload(fetch(sensor(tmp_path, w1_slave=text))))


def test_sensor_that_fails_makes_a_bad_reading_of_its_probe(tmp_path):
    plant = loads(f"""
site: {{name: barn}}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {{measures: temperature, from: {{onewire: {SENSOR}, folder: {tmp_path}}}}}
""")
    bench = Bench(plant)
    line = bench.bridge.wiring.probes["ale/beer"].line
    (answer,) = bench.bridge.receive(Incoming(line.topic, line.fetch()), START)
    assert (answer.body.quality, bench.bridge.counts["no_sensor"]) == ("bad", 1)


def test_fetched_probe_is_not_subscribed_to(tmp_path):
    plant = loads(f"""
site: {{name: barn}}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {{measures: temperature, from: {{onewire: {SENSOR}, folder: {tmp_path}}}}}
""")
    assert Bench(plant).bridge.listens == ("coldside/barn/command/+/+",)
