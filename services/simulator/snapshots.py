"""A plant's state as plain data: every number of every node, and back."""

from dataclasses import fields, is_dataclass

Plain = dict[str, object]


def state_names(thing: object) -> list[str]:
    """Names of the slots that change: not the private ones, which are fixed when it is built."""
    found = [slot for kind in type(thing).__mro__ for slot in getattr(kind, "__slots__", ())]
    return [slot for slot in found if not slot.startswith("_")]


def dump(thing: object) -> Plain:
    """Numbers as they are, objects of ours as nested dictionaries."""
    if is_dataclass(thing):
        return {field.name: getattr(thing, field.name) for field in fields(thing)}
    return {name: _plain(getattr(thing, name)) for name in state_names(thing) if name != "model"}


def _plain(value: object) -> object:
    return value if value is None or isinstance(value, bool | int | float | str) else dump(value)


def load(thing: object, state: Plain) -> None:
    """Puts the numbers of `dump` back into an object that was built from the same model."""
    for name, value in state.items():
        if isinstance(value, dict):
            load(getattr(thing, name), value)
        else:
            setattr(thing, name, value)
