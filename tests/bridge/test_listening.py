"""What devices were overheard to say becomes probes to paste into a plant file."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.plant import Measure
from schemas.plant_file import loads
from services.bridge.listening import candidates, suggest
from services.runtime.service import Incoming
from tests.bridge.bench import START, Bench

NODE = ("garage/node3/probes", b'{"p":[18.25,4.5],"door":0,"rssi":-60,"uptime":12345}')


def measures(topic: str, *payloads: bytes) -> list[Measure]:
    return [one.measures for one in candidates((topic, payload) for payload in payloads) if one.measures]


def pasted(*heard: tuple[str, bytes]) -> str:
    """A plant file with what was suggested, after a person put in the places."""
    found = suggest(heard).replace("measures: temperature,", "measures: temperature, at: beer,", 1)
    block = "\n".join(f"    {line}" for line in found.splitlines())
    return f"site: {{name: barn}}\nchambers:\n  ale:\n    kind: fridge\n{block}\n"


@pytest.mark.parametrize(
    ("topic", "payload", "measure"),
    [
        ("cellar/temp", b"18", Measure.TEMPERATURE),
        ("shed/4711", b"18.5", Measure.TEMPERATURE),
        ("hydro/sg", b"1.048", Measure.GRAVITY),
        ("shed/4712", b"1.0484", Measure.GRAVITY),
        ("shed/door", b"open", Measure.CONTACT),
        ("shed/lid", b"0", Measure.CONTACT),
        ("keg/weight", b"23.4", Measure.MASS),
        ("room/co2", b"612", Measure.CO2),
        ("room/humidity", b"71", Measure.HUMIDITY),
        ("gas/pressure", b"0.8", Measure.PRESSURE),
        ("plug/power", b"95.1", Measure.POWER),
    ],
)
def test_single_value_is_recognised_by_its_name_or_its_looks(topic, payload, measure):
    assert measures(topic, payload) == [measure]


@pytest.mark.parametrize("key", ["rssi", "uptime", "battery", "seq", "timestamp_time", "heap"])
def test_what_a_board_says_of_itself_is_no_probe(key):
    assert measures(f"node/{key}", b"18.5") == []


@pytest.mark.parametrize("payload", [b"", b"\xff\xfe", b"hello", b"42", b"[]", b"{", b"1" * 17000, b"nan"])
def test_what_could_be_no_value_is_not_suggested(payload):
    assert measures("node/x", payload) == []


def test_value_that_changes_its_kind_is_no_probe():
    assert measures("node/x", b"18.5", b"error") == []


def test_own_topics_are_passed_over():
    assert suggest([("coldside/barn/reading/ale/beer", b"18.5"), ("$SYS/x", b"18.5")]) == ""


def test_every_leaf_of_a_document_is_looked_at():
    found = {one.path: one.measures for one in candidates([NODE])}
    assert found["$.p[0]"] is found["$.p[1]"] is Measure.TEMPERATURE
    assert (found["$.door"], found["$.rssi"]) == (Measure.CONTACT, None)


def test_suggestion_can_be_pasted_into_a_plant_file():
    plant = loads(pasted(("cellar/beer", b"18.5"), ("shed/door", b"closed")))
    assert {probe.measures for probe in plant.chambers["ale"].probes.values()} == {"temperature", "contact"}


def test_pasted_probe_reads_what_was_overheard():
    topic, payload = "n", b'{"a b":{"c\'d":[18.5]}}'
    bench = Bench(loads(pasted((topic, payload))))
    (answer,) = bench.bridge.receive(Incoming(topic, payload), START)
    assert (answer.body.value, answer.body.quality) == (18.5, "good")


def test_suggestion_shows_what_was_said():
    assert "said 18.5, 18.6 (2 times)" in suggest([("a/temp", b"18.5"), ("a/temp", b"18.6")])


@given(key=st.text(min_size=1, max_size=12))
def test_path_to_any_key_finds_its_value(key):
    payload = json.dumps({key: 18.5}).encode()
    if [one.measures for one in candidates([("n", payload)])] == [Measure.TEMPERATURE]:
        (answer,) = Bench(loads(pasted(("n", payload)))).bridge.receive(Incoming("n", payload), START)
        assert answer.body.value == 18.5


@given(heard=st.lists(st.tuples(st.text(max_size=20), st.binary(max_size=60)), max_size=5))
def test_anything_overheard_is_borne(heard):
    assert isinstance(suggest(heard), str)
