"""What devices say becomes readings, and nothing they say is dropped or fatal (promise 6)."""

import json
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.plant_file import loads
from schemas.telemetry import Quality
from tests.bridge.bench import START, Bench, fridge

BAD_PAYLOADS = {
    "not a number": (b"warm", "wrong_type"),
    "empty": (b"", "wrong_type"),
    "NaN": (b"nan", "not_finite"),
    "infinite": (b"-Infinity", "not_finite"),
    "too big for a float": (b"1e999", "not_finite"),
    "digits joined as Python joins them": (b"1_8.0", "wrong_type"),
    "not UTF-8": (b"\xff\xfe18", "not_text"),
    "huge": (b"1" * 16_001, "huge"),
    "power-on value": (b"85.0", "power_on_value"),
    "power-on value in degF is out of range": (b"185", "range"),
    "sensor missing on many boards": (b"-127", "range"),
}
BAD_DOCUMENTS = {
    "not JSON": (b"{", "not_json"),
    "nested too deeply": (b"[" * 9000, "not_json"),
    "too many digits": (b'{"p":[' + b"1" * 5000 + b"]}", "not_json"),
    "a missing path": (b'{"q":[18]}', "missing"),
    "a short list": (b'{"p":[]}', "missing"),
    "a word where the list should be": (b'{"p":"18"}', "missing"),
    "null": (b'{"p":[null]}', "wrong_type"),
    "a truth value": (b'{"p":[true]}', "wrong_type"),
    "an object": (b'{"p":[{}]}', "wrong_type"),
    "an infinite number": (b'{"p":[1e999]}', "not_finite"),
    "JSON's illegal NaN": (b'{"p":[NaN]}', "not_finite"),
    "no time": (b'{"p":[18]}', "missing"),
    "a time that is none": (b'{"p":[18],"at":"noon"}', "bad_time"),
}


def test_bare_number_makes_a_good_reading():
    reading = Bench().read("18.25")
    assert (reading.temperature_c, reading.quality, reading.at) == (18.25, Quality.GOOD, START)


@pytest.mark.parametrize(("payload", "kind"), BAD_PAYLOADS.values(), ids=BAD_PAYLOADS)
def test_payload_of_which_nothing_can_be_made_is_a_bad_reading_and_is_counted(payload, kind):
    bench = Bench()
    reading = bench.read(payload)
    assert reading.quality is Quality.BAD
    assert reading.reason
    assert bench.bridge.counts[kind] == 1


@pytest.mark.parametrize(("payload", "kind"), BAD_DOCUMENTS.values(), ids=BAD_DOCUMENTS)
def test_document_without_the_value_is_a_bad_reading_and_is_counted(payload, kind):
    bench = Bench()
    air = next(one for one in bench.raw("node/all", payload) if one.probe == "air")
    assert (air.quality, air.temperature_c) == (Quality.BAD, None)
    assert bench.bridge.counts[kind] >= 1


def test_several_probes_on_one_topic_are_each_read():
    said = Bench().raw("node/all", f'{{"p":[4.5], "door":1, "at":"{START.isoformat()}"}}')
    assert [(one.probe, one.value) for one in said] == [("air", 4.5), ("door", 1.0)]


def test_one_broken_value_does_not_spoil_its_neighbour():
    air, door = Bench().raw("node/all", '{"p":[], "door":0}')
    assert (air.quality, door.quality, door.is_open) == (Quality.BAD, Quality.GOOD, False)


def test_reading_outside_what_its_message_can_carry_has_no_value():
    plant = loads("""
site: {name: barn}
chambers:
  ale:
    kind: fridge
    probes:
      beer: {measures: temperature, from: {mqtt: a}}
      gravity: {measures: gravity, from: {mqtt: node/g}, lowest: 0, highest: 20}
""")
    reading = Bench(plant).read("12.5", "node/g")
    assert (reading.gravity_sg, reading.quality) == (None, Quality.BAD)
    assert "12.5" in reading.reason


def test_retained_leftover_is_uncertain_until_a_live_value_comes():
    bench = Bench()
    assert bench.read("18", retained=True).quality is Quality.UNCERTAIN
    assert bench.read("18.1").quality is Quality.GOOD


def test_retained_value_that_tells_its_time_is_judged_by_it():
    bench = Bench()
    payload = f'{{"p":[4.5], "door":0, "at":{START.timestamp()}}}'
    assert bench.raw("node/all", payload, retained=True)[0].quality is Quality.GOOD


@pytest.mark.parametrize(
    ("off_by", "quality"),
    [(4, Quality.GOOD), (6, Quality.BAD), (-59, Quality.GOOD), (-61, Quality.BAD)],
)
def test_device_time_from_the_future_or_long_gone_is_bad(off_by, quality):
    at = START + timedelta(seconds=off_by)
    reading = Bench().raw("node/all", f'{{"p":[4.5], "door":0, "at":"{at.isoformat()}"}}')[0]
    assert (reading.quality, reading.at) == (quality, at)


@pytest.mark.parametrize("form", [START.isoformat(), "2026-05-01T14:00:00+02:00", START.timestamp() * 1000])
def test_device_time_is_understood_in_its_usual_forms(form):
    written = f'"{form}"' if isinstance(form, str) else form
    assert Bench().raw("node/all", f'{{"p":[4.5], "door":0, "at":{written}}}')[0].at == START


def test_value_that_was_overtaken_on_the_way_is_uncertain():
    bench = Bench()
    bench.raw("node/all", f'{{"p":[4.5], "door":0, "at":{START.timestamp() - 1}}}')
    late = bench.raw("node/all", f'{{"p":[4.6], "door":0, "at":{START.timestamp() - 9}}}')[0]
    assert late.quality is Quality.UNCERTAIN


def test_reading_is_retained_on_its_own_topic():
    bench = Bench()
    bench.read("18")
    assert (bench.said[-1].topic, bench.said[-1].retain) == ("coldside/barn/reading/ale/beer", True)


def test_rejoining_publishes_the_last_reading_again():
    bench = Bench()
    reading = bench.read("18")
    again = [one for one in bench.bridge.rejoin(bench.now) if one.topic.endswith("reading/ale/beer")]
    assert [(one.body, one.retain) for one in again] == [(reading, True)]


@given(payload=st.binary(max_size=300))
def test_any_bytes_make_exactly_one_reading_a_probe(payload):
    said = Bench().raw("node/all", payload)
    assert [one.probe for one in said] == ["air", "door"]
    assert all(one.reason for one in said if one.quality is not Quality.GOOD)


@given(value=st.one_of(st.floats(), st.integers(), st.text(max_size=20), st.none(), st.booleans()))
def test_whatever_stands_at_the_path_a_good_value_is_a_plausible_number(value):
    reading = Bench().raw("node/all", json.dumps({"p": [value], "at": START.timestamp(), "door": 0}))[0]
    if reading.quality is Quality.GOOD:
        assert -40 <= reading.temperature_c <= 80
        assert reading.temperature_c == pytest.approx(float(value))


def test_topics_listened_to_are_those_of_devices_and_commands():
    assert Bench(fridge()).bridge.listens == (
        "coldside/barn/command/+/+",
        "node/all",
        "node/beer",
        "relay/cool/is",
    )
