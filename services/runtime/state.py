"""Durable state: one JSON file a service, replaced as a whole or not at all."""

from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any, Generic, Literal, TypeVar

from pydantic import BaseModel, ValidationError

from services.runtime.durable import write_durably

S = TypeVar("S", bound=BaseModel)


class Unsent(BaseModel):
    """A message that had left its service and was not yet safe with the broker."""

    topic: str
    payload: str
    retain: bool


class Saved(BaseModel):
    """What a host keeps for its core: the core's own snapshot, and what must be sent again after a restart."""

    v: Literal[1] = 1
    snapshot: dict[str, Any]
    unsent: tuple[Unsent, ...] = ()


class StateFile(Generic[S]):
    """A pydantic model on disk. What cannot be read is moved aside and described in `trouble`, never raised."""

    def __init__(self, path: Path, model: type[S]) -> None:
        self.path = path
        self.trouble = ""
        self._model = model

    def load(self) -> S | None:
        """What was saved last; None when there is nothing, or nothing that this version can read."""
        self.trouble = ""
        try:
            return self._model.model_validate_json(self.path.read_bytes())
        except FileNotFoundError:
            return None
        except (ValidationError, OSError) as error:
            self.refuse(error)
            return None

    def refuse(self, error: Exception) -> None:
        """Moves aside what turned out unusable, and says so in `trouble`."""
        self.trouble = f"{self.path}: {_first_line(error)}; {self._move_aside()}"

    def save(self, state: S) -> None:
        """On disk when it returns, also through a power cut. Raises OSError when the disk refuses."""
        write_durably(self.path, state.model_dump_json().encode())

    def _move_aside(self) -> str:
        aside = next(path for path in _names_aside(self.path) if not path.exists())
        try:
            self.path.rename(aside)
        except OSError as error:
            return f"it cannot be moved aside either: {error}; starting fresh"
        return f"kept as {aside.name}; starting fresh"


def _names_aside(path: Path) -> Iterator[Path]:
    return (path.with_name(f"{path.name}.unreadable-{number}") for number in count(1))


def _first_line(error: Exception) -> str:
    if isinstance(error, ValidationError):
        first = error.errors(include_url=False, include_input=False)[0]
        return f"{'.'.join(str(part) for part in first['loc']) or 'file'}: {first['msg']}"
    return str(error)
