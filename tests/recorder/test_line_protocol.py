"""Line protocol against InfluxDB's own reference: `influx_line_protocol.json`, from its v2 documentation."""

import json
from pathlib import Path

import pytest

from services.recorder.influx_store import _folded, _unfolded
from services.recorder.line_protocol import field, head, key, point

REFERENCE = json.loads(
    (Path(__file__).parent.parent / "reference" / "influx_line_protocol.json").read_text(encoding="utf-8")
)
WRITERS = {
    "measurement": lambda raw: head(raw, {}),
    "tag_key": key,
    "field_key": key,
    "tag_value": lambda raw: head("m", {"k": raw}).removeprefix("m,k="),
    "field_string": field,
    "field_float": field,
    "field_int": field,
    "field_bool": field,
}
ELEMENTS = [one for one in REFERENCE["elements"] if one["kind"] in WRITERS]


@pytest.mark.parametrize("element", ELEMENTS, ids=lambda one: f"{one['kind']} {one['raw']}")
def test_each_element_is_written_as_the_reference_says(element):
    assert WRITERS[element["kind"]](element["raw"]) == element["encoded"]


@pytest.mark.parametrize("whole", REFERENCE["whole_lines"], ids=lambda one: one["line"])
def test_whole_lines_are_written_as_the_reference_says(whole):
    line = point(whole["measurement"], whole["tags"], whole["fields"], whole["ts"])
    assert line.replace("=100.0", "=100") == whole["line"]


def test_tags_are_sorted_and_empty_ones_left_out():
    assert head("m", {"b": "2", "a": "1", "c": ""}) == "m,a=1,b=2"


@pytest.mark.parametrize(
    "write",
    [
        lambda: point("m", {}, {}),
        lambda: point("m", {}, {"f": float("nan")}),
        lambda: point("m", {}, {"f": float("-inf")}),
        lambda: point("m", {}, {"f": "two\nlines"}),
        lambda: point("_m", {}, {"f": 1.0}),
        lambda: point("", {}, {"f": 1.0}),
        lambda: point("m", {"_t": "1"}, {"f": 1.0}),
        lambda: point("m", {"t": "ends\\"}, {"f": 1.0}),
        lambda: point("m", {"t": "two\nlines"}, {"f": 1.0}),
    ],
)
def test_what_the_protocol_cannot_say_is_refused(write):
    with pytest.raises(ValueError, match="cannot be|needs one field|line break"):
        write()


@pytest.mark.parametrize("text", ["", "two\nlines", r"C:\new", "\\\n\\n\\\\", "ends with \\"])
def test_line_breaks_are_folded_and_come_back(text):
    assert "\n" not in _folded(text)
    assert _unfolded(_folded(text)) == text
