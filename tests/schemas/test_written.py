"""Files that people write: every error has a place and a remedy."""

from pathlib import Path
from typing import Annotated

import pytest
from pydantic import BaseModel, Field

from schemas.quantities import Seconds
from schemas.written import MAX_FILE_BYTES, Place, Problem, WrittenError, build, read, read_file


class Part(BaseModel, extra="forbid"):
    lasts: Seconds


class Sheet(BaseModel, extra="forbid"):
    title: str
    parts: Annotated[list[Part], Field(min_length=1)]


SOUND = "title: t\nparts:\n  - lasts: 5 min\n  - lasts: 1 h\n"


def problems(text: str) -> tuple[Problem, ...]:
    with pytest.raises(WrittenError) as caught:
        build(Sheet, read(text, "sheet.yaml"))
    return caught.value.problems


def test_sound_file_is_built_in_its_units() -> None:
    assert [part.lasts for part in build(Sheet, read(SOUND, "sheet.yaml")).parts] == [300, 3600]


def test_place_of_a_field_is_its_own_line() -> None:
    assert read(SOUND, "sheet.yaml").place(("parts", 1, "lasts")) == Place("sheet.yaml", 4, "parts.1.lasts")


def test_place_of_a_field_that_is_missing_is_that_of_its_parent() -> None:
    assert read(SOUND, "sheet.yaml").place(("parts", 7, "colour")) == Place("sheet.yaml", 2, "parts")


def test_place_in_an_empty_file_is_its_first_line() -> None:
    assert str(read("", "sheet.yaml").place(("parts",))) == "sheet.yaml:1"


def test_all_problems_are_told_in_order_of_lines() -> None:
    told = problems("colour: red\nparts:\n  - lasts: 5\n  - lasts: 1 kg\n")
    assert [(one.at.line, one.at.field) for one in told] == [
        (1, ""), (1, "colour"), (3, "parts.0.lasts"), (4, "parts.1.lasts")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SOUND.replace("title", "titel"), "did you mean 'title'"),
        ("parts: [{lasts: 1 h}]\n", "lacks 'title'; add 'title: ...'"),
        ("title: t\nlasts: 1 h\nparts: [{lasts: 1 h}]\n", "does not belong here; move it"),
        ("title: t\nparts: [{lasts: 1 h, zebra: 1}]\n", "is no key known here; remove it"),
        ("title: t\nparts: [5]\n", "is 5 where keys with values should stand"),
        ("title: t\nparts: []\n", "at least 1"),
        ("- a\n- b\n", "where keys with values should stand"),
        ("", "is empty where keys with values should stand"),
    ],
)
def test_mistake_is_told_with_what_would_be_right(text: str, words: str) -> None:
    assert any(words in str(one) for one in problems(text))


def test_long_value_is_shortened_in_the_message() -> None:
    told = str(problems(f"title: [{'x' * 500}]\nparts: [{{lasts: 1 h}}]\n")[0])
    assert "..." in told
    assert len(told) < 200


def test_key_that_stands_twice_is_refused_with_its_line() -> None:
    with pytest.raises(WrittenError, match=r"sheet.yaml:2.*found duplicate key.*rename one"):
        read("title: a\ntitle: b\n", "sheet.yaml")


def test_yes_and_on_are_words() -> None:
    assert read("{a: on, b: yes, c: off}", "sheet.yaml").data == {"a": "on", "b": "yes", "c": "off"}


def test_file_that_is_far_too_big_is_not_even_parsed() -> None:
    with pytest.raises(WrittenError, match="over 1000000 characters"):
        read("#" * (MAX_FILE_BYTES + 1), "sheet.yaml")


def test_brackets_without_end_are_refused_in_words() -> None:
    with pytest.raises(WrittenError, match="not valid YAML"):
        read("[" * 20, "sheet.yaml")
    with pytest.raises(WrittenError, match="over 50 open brackets"):
        read("a: " + "[" * 5000 + "]" * 5000, "sheet.yaml")


def test_folder_in_place_of_a_file_is_refused_with_its_path(tmp_path: Path) -> None:
    with pytest.raises(WrittenError, match=f"is {tmp_path} the right file"):
        read_file(tmp_path)


def test_problem_without_a_remedy_is_told_without_one() -> None:
    assert str(Problem(Place("a.yaml", 3, "b"), "is odd", "")) == "a.yaml:3: b: is odd"
