"""What ends a step, as people write it."""

from typing import Any

import pytest
from pydantic import ValidationError

from schemas.ends import TRIGGER_KINDS, Ends, days_and_time, told_by_keys
from schemas.written import WrittenError, build, read


def written(text: str) -> Ends:
    return build(Ends, read(text, "p.yaml"))


EXAMPLES: dict[str, str] = {
    "elapsed": "elapsed: 3 d",
    "within_tolerance": "within_tolerance: 12 h",
    "gravity_at_most": "gravity_at_most: 1.012 SG",
    "attenuation_at_least": "attenuation_at_least: 75 %",
    "gravity_stable": "gravity_stable: {within: 0.001, over: 2 d}",
    "at": "at: 2026-11-25T10:00:00",
    "not_before": "not_before: Fri 18:00",
    "next": "next: Mon-Thu 07:30",
    "word": "word: hops are in",
    "reached": "reached: {batch: b41, step: crash}",
}


@pytest.mark.parametrize("key", TRIGGER_KINDS)
def test_trigger_is_told_by_its_key_and_survives_the_wire(key: str) -> None:
    ends = written(EXAMPLES[key])
    assert isinstance(ends.all_of[0], TRIGGER_KINDS[key])
    assert Ends.model_validate_json(ends.model_dump_json()) == ends


def test_trigger_by_itself_is_all_that_must_hold() -> None:
    assert written("elapsed: 3 d") == written("all: [{elapsed: 3 d}]")


def test_all_and_any_stand_beside_each_other() -> None:
    ends = written("{all: [{elapsed: 3 d}], any: [{word: ready}, {gravity_at_most: 1.010}]}")
    assert (len(ends.all_of), len(ends.any_of), len(ends.triggers)) == (1, 2, 3)


@pytest.mark.parametrize("text", ["{}", "{all: []}", "{all: [], any: []}"])
def test_ends_that_names_nothing_is_refused(text: str) -> None:
    with pytest.raises(WrittenError):
        written(text)


def test_unknown_trigger_is_refused_with_those_that_are_known() -> None:
    with pytest.raises(WrittenError, match=r"no trigger known here; write one of elapsed, .*, reached"):
        written("moon: full")


def test_more_triggers_than_anybody_could_follow_are_refused() -> None:
    with pytest.raises(ValidationError, match="at most 8"):
        Ends.model_validate({"all": [{"word": f"word {n}"} for n in range(9)]})


@pytest.mark.parametrize(("text", "sg"), [("1.012", 1.012), ("'1.012 SG'", 1.012), ("'1.012SG'", 1.012)])
def test_gravity_may_be_written_with_or_without_its_letters(text: str, sg: float) -> None:
    assert written(f"gravity_at_most: {text}").all_of[0].model_dump() == {"gravity_at_most_sg": sg}


@pytest.mark.parametrize("text", ["12", "1.5", "0.9", "1012 SG", "low"])
def test_number_that_is_no_gravity_is_refused(text: str) -> None:
    with pytest.raises(WrittenError):
        written(f"gravity_at_most: {text}")


@pytest.mark.parametrize("over", ["6 h", "15 d"])
def test_stability_is_judged_over_half_a_day_to_two_weeks(over: str) -> None:
    with pytest.raises(WrittenError):
        written(f"gravity_stable: {{over: {over}}}")


@pytest.mark.parametrize(
    ("text", "meant"),
    [
        ("18:00", ("*", 18, 0)),
        ("Fri 7:05", ("fri", 7, 5)),
        ("Mon-Thu 07:30", ("mon-thu", 7, 30)),
        (" Sat,Sun 23:59 ", ("sat,sun", 23, 59)),
    ],
)
def test_local_time_is_read_with_its_days(text: str, meant: tuple[str, int, int]) -> None:
    assert days_and_time(text) == meant


@pytest.mark.parametrize(
    "text", ["", "24:00", "18:60", "18", "Fri", "Frie 18:00", "Fri, 18:00", "Mon-Thu18:00", "-1:00"]
)
def test_what_is_no_local_time_is_refused_with_examples(text: str) -> None:
    with pytest.raises(ValueError, match="write it like 'Fri 18:00'"):
        days_and_time(text)


@pytest.mark.parametrize(("value", "kind"), [({"x": 1, "b": 2}, "B"), ({"x": 1}, None), ("b", None), (None, None)])
def test_only_a_mappings_keys_give_a_kind_away(value: Any, kind: str | None) -> None:
    assert told_by_keys(value, {"b": "B"}) == kind
