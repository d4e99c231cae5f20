"""The plant file: what it understands, and what it says when it does not."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.plant import Drive, Plant, Point, as_simulated
from schemas.plant_file import PlantFileError, inspect, load, loads

SOUND = """\
site: {name: barn, timezone: Europe/Dublin, altitude: 60 m}
circuits:
  garage-ring: {voltage: 230 V, limit: 10 A}
chambers:
  ale-fridge:
    kind: fridge
    contents: {volume: 23 L}
    probes:
      beer: {measures: temperature, from: {mqtt: garage/node3/probes, value: "$.p[0]"}, every: 10 s}
      door: {measures: contact, from: {mqtt: garage/node3/probes, value: "$.door", open: 1}}
    outputs:
      cool: {drives: compressor, to: {mqtt: garage/node3/relay/1, on: "1", off: "0"}, power: 95 W, circuit: garage-ring}
      heat: {drives: heater, to: {mqtt: garage/node3/relay/2, on: "1", off: "0"}, power: 60 W, circuit: garage-ring}
  bath:
    kind: reservoir
    contents: {volume: 40 L, coolant: {propylene_glycol: 30 %}}
    probes: {bath: {measures: temperature, from: {onewire: 28-0123456789ab}}}
    outputs: {chill: {drives: compressor, to: {simulated: true}}}
  conical:
    kind: jacketed
    cooled_by: bath
    probes: {beer: {measures: temperature, from: {simulated: true}}}
    outputs: {pump: {drives: pump, to: {simulated: true}}}
"""

# what is changed in the sound file, the line that the message must name, and words that it must have
MISTAKES = [
    ("unknown key", ("contents: {volume: 23 L}", "contens: {volume: 23 L}"), 7, ["contens", "did you mean 'contents'"]),
    ("wrong unit", ("23 L", "23 kg"), 7, ["contents.volume", "'23 kg'", "23 L"]),
    ("no unit", ("limit: 10 A", "limit: 10"), 3, ["circuits.garage-ring.limit", "10 A"]),
    ("one topic twice", ("relay/2", "relay/1"), 13, ["garage/node3/relay/1", "ale-fridge.cool", "one topic an output"]),
    ("unknown source", ("cooled_by: bath", "cooled_by: bathh"), 21, ["'bathh'", "no chamber here", "name one of bath"]),
    ("circle", ("cooled_by: bath", "cooled_by: conical"), 21, ["'conical'", "itself"]),
    ("no reservoir", ("cooled_by: bath", "cooled_by: ale-fridge"), 21, ["'ale-fridge'", "no reservoir"]),
    ("duplicate id", ("  bath:\n", "  ale-fridge:\n"), 14, ["duplicate key", "rename one"]),
    ("unknown circuit", ("95 W, circuit: garage-ring", "95 W, circuit: shed"), 12, ["'shed'", "garage-ring"]),
    ("too strong", ("95 W", "9500 W"), 12, ["41.3 A", "10 A"]),
    ("unknown zone", ("Europe/Dublin", "Mars/Olympus"), 1, ["site.timezone", "Europe/Dublin"]),
    ("unknown kind", ("kind: fridge", "kind: frige"), 5, ["'frige'", "fridge"]),
    ("unknown driver", ("{onewire: 28-0123456789ab}", "{twowire: x}"), 17, ["no driver", "onewire"]),
    ("bad sensor id", ("28-0123456789ab", "28-XYZ"), 17, ["'28-XYZ'", "wrong form"]),
    ("wildcard", ("garage/node3/relay/1", "garage/+/relay"), 12, ["garage/+/relay", "no wildcard"]),
    ("our own tree", ("garage/node3/relay/1", "coldside/barn/x"), 12, ["reserved"]),
    ("bad path", ('"$.p[0]"', '"$.p[["'), 9, ["JSONPath"]),
    ("bad name", ("  ale-fridge:", "  Ale Fridge:"), 5, ["'Ale Fridge'", "lower-case"]),
    ("no pump", ("outputs: {pump: {drives: pump,", "outputs: {pump: {drives: fan,"), 23, ["neither pump nor valve"]),
    ("probe nowhere", ("      beer:", "      probe1:"), 9, ["does not say where", "at: beer"]),
    ("negative volume", ("23 L", "-3 L"), 7, ["greater than or equal"]),
    ("glycol", ("30 %", "70 %"), 16, ["less than or equal to 60"]),
    ("tab", ("    kind: fridge", "\tkind: fridge"), 6, ["not valid YAML"]),
]


@pytest.mark.parametrize(("change", "line", "words"), [row[1:] for row in MISTAKES], ids=[row[0] for row in MISTAKES])
def test_mistake_is_told_with_line_field_and_remedy(change: tuple[str, str], line: int, words: list[str]) -> None:
    assert change[0] in SOUND
    with pytest.raises(PlantFileError) as caught:
        loads(SOUND.replace(*change, 1), "barn.yaml")
    told = [problem for problem in caught.value.problems if problem.at.line == line]
    assert told, str(caught.value)
    assert all(word in str(told[0]) for word in words), str(told[0])
    assert str(told[0]).startswith(f"barn.yaml:{line}")


def test_limits_that_cannot_be_are_refused() -> None:
    text = SOUND.replace("    kind: fridge", "    kind: fridge\n    limits: {lowest: 5 degC, highest: 4 degC}", 1)
    with pytest.raises(PlantFileError, match="lowest 5 degC is not below highest 4 degC"):
        loads(text)


def test_hold_outside_the_limits_is_refused() -> None:
    text = SOUND.replace("    kind: fridge", "    kind: fridge\n    hold: 40 degC", 1)
    with pytest.raises(PlantFileError, match="40 degC lies outside -2 to 30 degC"):
        loads(text)


def test_sound_file_is_understood_in_its_units() -> None:
    plant = loads(SOUND)
    assert plant.chambers["ale-fridge"].contents.volume_l == 23
    assert plant.circuits["garage-ring"].limit_a == 10
    assert plant.chambers["ale-fridge"].probe_at(Point.BEER) == "beer"
    assert plant.chambers["conical"].output_that(Drive.PUMP) == "pump"
    assert plant.chambers["conical"].output_that(Drive.HEATER) is None


def test_on_and_off_are_words_not_truth_values() -> None:
    target = loads(SOUND).chambers["ale-fridge"].outputs["cool"].target
    assert (target.on, target.off) == ("1", "0")  # type: ignore[union-attr]


def test_plant_survives_the_wire() -> None:
    plant = loads(SOUND)
    assert Plant.model_validate_json(plant.model_dump_json()) == plant


def test_simulated_plant_has_no_real_device_left() -> None:
    chambers = as_simulated(loads(SOUND)).chambers.values()
    assert {type(probe.source).__name__ for chamber in chambers for probe in chamber.probes.values()} == {
        "SimulatedProbe"
    }
    assert {type(out.target).__name__ for chamber in chambers for out in chamber.outputs.values()} == {
        "SimulatedOutput"
    }


def test_space_in_a_topic_is_allowed_with_a_warning(tmp_path: Path) -> None:
    path = tmp_path / "barn.yaml"
    path.write_text(SOUND.replace("garage/node3/relay/1", '"garage/node 3/relay"'))
    _, warnings = inspect(path)
    assert any("space" in str(warning) for warning in warnings)


def test_missing_file_says_which(tmp_path: Path) -> None:
    with pytest.raises(PlantFileError, match="cannot be read: No such file"):
        load(tmp_path / "nowhere.yaml")


def test_file_that_is_no_text_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "barn.yaml"
    path.write_bytes(b"\xff\xfe\x00site")
    with pytest.raises(PlantFileError, match="not UTF-8"):
        load(path)


@given(st.text(max_size=200))
@settings(max_examples=200)
def test_any_text_is_refused_in_words_never_with_a_crash(text: str) -> None:
    with pytest.raises(PlantFileError):
        loads(text)


@given(st.integers(0, len(SOUND) - 1), st.integers(1, 30))
@settings(max_examples=150, deadline=None)
def test_file_with_a_hole_is_understood_or_refused_in_words(start: int, length: int) -> None:
    assert _chambers_or_problems(SOUND[:start] + SOUND[start + length :])


def _chambers_or_problems(text: str) -> int:
    try:
        return len(loads(text).chambers)
    except PlantFileError as error:
        return len(error.problems)
