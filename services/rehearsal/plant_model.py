"""Plant models that a rehearsal can play: ours, and whatever somebody else names as `module:factory`."""

import sys
from collections.abc import Callable, Mapping
from datetime import datetime
from importlib import import_module
from pathlib import Path
from typing import Protocol, cast, runtime_checkable

from schemas.batches import BatchState
from services.rehearsal.situation import Situation
from services.simulator.physics import Truth

Key = tuple[str, str]
"""A chamber's name, and that of one of its probes or outputs."""


class PlantModel(Protocol):
    """All that is needed. It is copied with `copy.deepcopy`, so that a rehearsal can go on from one moment twice."""

    def advance(self, seconds: float, outputs: Mapping[Key, float]) -> Mapping[Key, float]:
        """Lives on with outputs at these levels (0..1; one not named is off); what probes say then, in their units.

        A temperature is in degC, a contact 1 when open, a gravity as SG. A probe that is not named says nothing.
        """
        ...


@runtime_checkable
class Pouring(Protocol):
    """A model that wants to know which beer is where."""

    def pour(self, batch: BatchState, now: datetime) -> None:
        """A batch has begun in its chamber, or was there when the rehearsal began."""
        ...


@runtime_checkable
class Truthful(Protocol):
    """A model that also tells what no probe says."""

    def truth(self, chamber: str) -> Truth:
        """The state of one chamber."""
        ...


ModelFactory = Callable[[Situation], PlantModel]


class NoSuchModel(ValueError):
    """A plant model that cannot be had; the text says why and what would be right."""


def factory_named(name: str) -> ModelFactory:
    """The factory that `module:factory` names; modules of the working folder are found, too. Raises NoSuchModel."""
    module_name, _, attribute = name.partition(":")
    if not module_name or not attribute:
        raise NoSuchModel(f"{name!r} names no plant model; write it like 'cellar.model:build'")
    here = str(Path.cwd())
    sys.path.insert(0, here)
    try:
        found = getattr(import_module(module_name), attribute)
    except (ImportError, AttributeError) as error:
        raise NoSuchModel(f"plant model {name!r} cannot be had: {error}") from error
    finally:
        sys.path.remove(here)
    if not callable(found):
        raise NoSuchModel(f"plant model {name!r} cannot be called; name a function that takes a Situation")
    return cast(ModelFactory, found)


def built(factory: ModelFactory, situation: Situation) -> PlantModel:
    """The model of a situation. Raises NoSuchModel for a thing that cannot `advance`."""
    model = factory(situation)
    if not callable(getattr(model, "advance", None)):
        raise NoSuchModel(f"a {type(model).__name__} is no plant model; it needs advance(seconds, outputs) -> readings")
    return model
