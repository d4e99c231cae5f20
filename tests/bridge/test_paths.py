"""Where a value stands in a document: RFC 9535, and the words of contacts and relays."""

import json

import pytest
from jsonpath import findall

from schemas.addresses import MqttOutput, MqttProbe
from schemas.plant import Drive, Measure, Output, Probe
from services.bridge.drivers import mqtt
from services.bridge.drivers.driver import Garbled, Payload, Place, Trouble

PLACE = Place("barn", "ale", "it")
DOCUMENT = {"a": [{"b": 1.5}, {"b": 2.5}], "c d": {"e.f": 3.5}, "g": -4, "ü": 5, "h": {"i": [[6, 7]]}, "k'l": 8}
PATHS = ["$.a[0].b", "$['a'][1]['b']", "$['c d']['e.f']", "$.g", "$.ü", "$.h.i[0][1]", "$.a[-1].b", "$..e",
         "$.a[?@.b>2].b", "$['k\\'l']", '$["g"]', "$.h.i[0][1:2]"]  # fmt: skip


def value_at(path: str | None, payload: bytes, **more: object) -> float:
    measures = Measure.CONTACT if "open" in more or more.pop("contact", False) else Measure.TEMPERATURE
    source = MqttProbe(mqtt="a/b", value=path, **more)
    line = mqtt.probe(PLACE, Probe(measures=measures, source=source), source)
    return line.read(Payload(payload)).value


def output(**more: object) -> mqtt.OutputLine:
    proportional = bool(more.pop("proportional", False))
    target = MqttOutput(mqtt="r", **more)
    return mqtt.output(PLACE, Output(drives=Drive.HEATER, target=target, proportional=proportional), target)


@pytest.mark.parametrize("path", PATHS)
def test_path_finds_what_a_full_rfc_9535_search_finds(path):
    """Oracle: python-jsonpath, whose authors run the RFC's compliance suite."""
    found = findall(path, DOCUMENT)
    if len(found) == 1:
        assert value_at(path, json.dumps(DOCUMENT).encode()) == found[0]
    else:
        with pytest.raises(Garbled):
            value_at(path, json.dumps(DOCUMENT).encode())


def test_path_that_finds_several_values_is_ambiguous():
    with pytest.raises(Garbled) as caught:
        value_at("$.a[*].b", json.dumps(DOCUMENT).encode())
    assert caught.value.trouble is Trouble.AMBIGUOUS


@pytest.mark.parametrize(("payload", "value"), [(b" 18.5\n", 18.5), (b"-1e1", -10.0), (b"+4", 4.0)])
def test_bare_number_is_read_as_devices_write_it(payload, value):
    assert value_at(None, payload) == value


@pytest.mark.parametrize(
    ("says", "is_open"),
    [("open", 1), ("OPEN", 1), ("1", 1), ("true", 1), ("on", 1), ("closed", 0), ("0", 0), ("false", 0), ("off", 0)],
)
def test_usual_words_of_contacts_are_understood(says, is_open):
    assert value_at(None, says.encode(), contact=True) == is_open


@pytest.mark.parametrize(("word", "payload", "is_open"), [(0, b"0", 1), (0, b"1", 0), ("LIFTED", b"lifted", 1)])
def test_word_for_open_is_the_plant_files(word, payload, is_open):
    assert value_at(None, payload, open=word) == is_open


def test_contact_that_says_something_unknown_is_refused():
    with pytest.raises(Garbled, match="neither open nor closed"):
        value_at(None, b"ajar", contact=True)


def test_switch_gets_its_own_words():
    line = output(on="ON", off="OFF")
    assert [line.payload(level) for level in (0, 0.4, 0.5, 1)] == [b"OFF", b"OFF", b"ON", b"ON"]


def test_proportional_output_gets_a_number_between_off_and_on():
    line = output(on="255", off="0", proportional=True)
    assert [line.payload(level) for level in (0, 0.5, 1)] == [b"0", b"127.5", b"255"]


@pytest.mark.parametrize(("says", "level"), [(b"1", 1), (b"0", 0), (b"1.0", 1)])
def test_state_is_the_word_that_was_sent(says, level):
    assert output(state="r/is").read_state(Payload(says)) == level


def test_state_in_a_document_may_be_a_truth_value():
    line = output(state="r/is", state_value="$.on")
    assert line.read_state(Payload(b'{"on": true}')) == 1


def test_state_of_a_proportional_output_is_its_share():
    line = output(on="255", off="0", proportional=True, state="r/is")
    assert line.read_state(Payload(b"51")) == pytest.approx(0.2)


def test_state_that_is_neither_on_nor_off_is_refused():
    with pytest.raises(Garbled, match="neither"):
        output(state="r/is").read_state(Payload(b"tripped"))
