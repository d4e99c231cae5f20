"""Files that people write: YAML 1.2 read so that every error can name its file, line, field and remedy."""

import difflib
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import accumulate
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails
from ruamel.yaml import YAML
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.nodes import MappingNode, Node, SequenceNode

from schemas.quantities import WRITTEN_BY_A_PERSON

Written = TypeVar("Written", bound=BaseModel)
FieldPath = tuple[str | int, ...]
MAX_FILE_BYTES = 1_000_000
DEEPEST = 50
"""Brackets within brackets: more, and a parser spends seconds on nothing."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where in a file; the line counts from 1."""

    file: str
    line: int
    field: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.field}" if self.field else f"{self.file}:{self.line}"


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong, and what would be right."""

    at: Place
    problem: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.at}: {self.problem}" + (f"; {self.remedy}" if self.remedy else "")


class WrittenError(ValueError):
    """A file that cannot be used; all its problems, in order of lines."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(sorted(problems, key=lambda one: one.at.line))
        super().__init__("\n".join(str(one) for one in self.problems))


@dataclass(frozen=True, slots=True)
class Document:
    """A parsed file: plain data, and the lines it came from."""

    file: str
    data: Any
    root: Node | None

    def place(self, path: Iterable[str | int]) -> Place:
        """The place of a field; parts of the path that are not in the file are passed over."""
        node, line, walked = self.root, 1, []
        for part in path:
            key_line, child = _step(node, part)
            if child is None:
                continue
            node, line = child, key_line
            walked.append(str(part))
        return Place(self.file, line, ".".join(walked))


def read(text: str, file: str) -> Document:
    """Parses YAML 1.2. Raises WrittenError where it is none, or is too big, or has a key twice."""
    if len(text) > MAX_FILE_BYTES:
        raise WrittenError([Problem(Place(file, 1, ""), f"is over {MAX_FILE_BYTES} characters", "split it")])
    if _deepest(text) > DEEPEST:
        raise WrittenError([Problem(Place(file, 1, ""), f"has over {DEEPEST} open brackets", "close them")])
    try:
        return Document(file, _loader().load(text), _loader().compose(text))
    except (YAMLError, RecursionError, ValueError) as error:
        raise WrittenError([_broken(error, file)]) from error


def _deepest(text: str) -> int:
    """How many brackets are open at once, at most."""
    return max(accumulate(1 if one in "[{" else -1 for one in re.findall(r"[][{}]", text)), default=0)


def read_file(path: Path) -> Document:
    """Reads and parses a file. Raises WrittenError, also where it is missing or not UTF-8."""
    try:
        return read(path.read_text(encoding="utf-8"), path.name)
    except OSError as error:
        problem = Problem(Place(path.name, 1, ""), f"cannot be read: {error.strerror}", f"is {path} the right file?")
        raise WrittenError([problem]) from error
    except UnicodeDecodeError as error:
        problem = Problem(Place(path.name, 1, ""), "is not UTF-8 text", "save it as UTF-8")
        raise WrittenError([problem]) from error


def build(model: type[Written], document: Document) -> Written:
    """Validates a document as a person's writing: quantities need units. Raises WrittenError."""
    try:
        return model.model_validate(document.data, context=WRITTEN_BY_A_PERSON, by_alias=True, by_name=False)
    except ValidationError as error:
        words = _vocabulary(model)
        raise WrittenError(_problem(document, one, words) for one in error.errors(include_url=False)) from error


def _loader() -> YAML:
    loader: YAML = YAML(typ="safe", pure=True)
    loader.version = (1, 2)  # in YAML 1.1 the keys `on` and `off` would be truth values
    return loader


def _broken(error: Exception, file: str) -> Problem:
    mark = getattr(error, "problem_mark", None) if isinstance(error, MarkedYAMLError) else None
    line = mark.line + 1 if mark else 1
    said = str(getattr(error, "problem", None) or error).split("\n")[0]
    if "duplicate key" in said:
        return Problem(Place(file, line, ""), said.split(" with value")[0], "each name may stand only once; rename one")
    return Problem(Place(file, line, ""), f"is not valid YAML: {said}", "check indentation, colons and quotes")


def _step(node: Node | None, part: str | int) -> tuple[int, Node | None]:
    if isinstance(node, MappingNode):
        for key, child in node.value:
            if key.value == str(part):
                return key.start_mark.line + 1, child
    if isinstance(node, SequenceNode) and isinstance(part, int) and part < len(node.value):
        return node.value[part].start_mark.line + 1, node.value[part]
    return 0, None


def _problem(document: Document, error: ErrorDetails, words: set[str]) -> Problem:
    place = document.place(error["loc"])
    say = _SAYINGS.get(error["type"], _plainly)
    problem, remedy = say(error, words)
    return Problem(place, problem, remedy)


def _unknown_key(error: ErrorDetails, words: set[str]) -> tuple[str, str]:
    key = str(error["loc"][-1])
    if key in words:
        return "does not belong here", "move it to where it belongs, or remove it"
    near = difflib.get_close_matches(key, words, n=1)
    return "is no key known here", f"did you mean '{near[0]}'?" if near else "remove it"


def _missing_key(error: ErrorDetails, _words: set[str]) -> tuple[str, str]:
    return f"lacks '{error['loc'][-1]}'", f"add '{error['loc'][-1]}: ...'"


def _own_words(error: ErrorDetails, _words: set[str]) -> tuple[str, str]:
    said = error["msg"].removeprefix("Value error, ").removeprefix("Assertion failed, ")
    problem, _, remedy = said.partition("; ")
    return problem, remedy


def _wrong_kind(error: ErrorDetails, _words: set[str]) -> tuple[str, str]:
    context = error.get("ctx", {})
    expected = context.get("expected_tags") or context.get("expected") or ""
    return f"is {context.get('tag') or error['input']!r}, which is not known", f"write one of {expected}"


def _no_kind(_error: ErrorDetails, _words: set[str]) -> tuple[str, str]:
    return "does not say its kind", "add 'kind: ...'"


def _bad_name(error: ErrorDetails, _words: set[str]) -> tuple[str, str]:
    pattern = error.get("ctx", {}).get("pattern", "")
    if pattern.startswith("^[a-z0-9](?:"):
        return (
            f"{error['input']!r} cannot be a name",
            "use lower-case letters, digits and inner hyphens, 40 at the most",
        )
    return f"{error['input']!r} has the wrong form", f"it must match {pattern}"


def _no_mapping(error: ErrorDetails, _words: set[str]) -> tuple[str, str]:
    said = "is empty" if error["input"] is None else f"is {_short(error['input'])}"
    return f"{said} where keys with values should stand", "write 'key: value' lines here"


def _plainly(error: ErrorDetails, _words: set[str]) -> tuple[str, str]:
    message = error["msg"]
    return f"is {_short(error['input'])}: {message[:1].lower()}{message[1:]}", ""


def _short(value: Any) -> str:
    shown = repr(value)
    return shown if len(shown) <= 60 else f"{shown[:57]}..."


_SAYINGS: dict[str, Callable[[ErrorDetails, set[str]], tuple[str, str]]] = {
    "extra_forbidden": _unknown_key,
    "missing": _missing_key,
    "value_error": _own_words,
    "driver": _own_words,
    "shape": _own_words,
    "union_tag_invalid": _wrong_kind,
    "model_type": _no_mapping,
    "model_attributes_type": _no_mapping,
    "dict_type": _no_mapping,
    "literal_error": _wrong_kind,
    "enum": _wrong_kind,
    "string_pattern_mismatch": _bad_name,
    "union_tag_not_found": _no_kind,
}


def _vocabulary(model: type[BaseModel]) -> set[str]:
    schema = model.model_json_schema(by_alias=True)
    parts = [schema, *schema.get("$defs", {}).values()]
    return {key for part in parts for key in part.get("properties", {})}
