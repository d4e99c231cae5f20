"""A chamber that is to be added: picks become a block for the plant file, which is tried before anybody pastes it."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from schemas.plant import Drive, Measure, Point
from schemas.plant_file import PlantFileError, loads
from schemas.written import WrittenError, read
from services.console.desk.writing import as_yaml
from services.console.sources import Leaf

KINDS = {
    "fridge": "a vessel standing in cooled air",
    "jacketed": "a vessel cooled through its jacket by a reservoir",
    "reservoir": "a glycol or water bath with its own chiller",
    "kegerator": "a fridge for kegs that are being served",
}
MEASURES = tuple(str(one) for one in Measure)
POINTS = tuple(str(one) for one in Point)
DRIVES = tuple(str(one) for one in Drive)


@dataclass(frozen=True, slots=True)
class ProbePick:
    """A value that was overheard and is to be a probe; `at` is a temperature's place."""

    leaf: Leaf
    name: str
    measures: str
    at: str = ""

    def data(self) -> dict[str, Any]:
        """As in a plant file."""
        source = {"mqtt": self.leaf.topic} | ({} if self.leaf.path is None else {"value": self.leaf.path})
        told = {"at": self.at} if self.measures == Measure.TEMPERATURE and self.at not in ("", self.name) else {}
        return {"measures": self.measures, **told, "from": source}


@dataclass(frozen=True, slots=True)
class OutputPick:
    """A relay, and what is sent to it."""

    name: str
    drives: str
    topic: str
    on: str = "1"
    off: str = "0"
    power: str = ""

    def data(self) -> dict[str, Any]:
        """As in a plant file."""
        told = {"power": self.power} if self.power.strip() else {}
        return {"drives": self.drives, "to": {"mqtt": self.topic, "on": self.on, "off": self.off}, **told}


@dataclass(frozen=True, slots=True)
class Draft:
    """All that was said of the new chamber."""

    name: str
    kind: str = "fridge"
    volume: str = "23 L"
    cooled_by: str = ""
    hold: str = ""
    probes: Sequence[ProbePick] = ()
    outputs: Sequence[OutputPick] = field(default_factory=tuple)

    def data(self) -> dict[str, Any]:
        """The chamber as in a plant file."""
        found: dict[str, Any] = {"kind": self.kind}
        if self.kind == "jacketed" and self.cooled_by:
            found["cooled_by"] = self.cooled_by
        found["contents"] = {"volume": self.volume}
        if self.hold.strip():
            found["hold"] = self.hold
        found["probes"] = {one.name: one.data() for one in self.probes}
        if self.outputs:
            found["outputs"] = {one.name: one.data() for one in self.outputs}
        return found

    def block(self) -> str:
        """To be put under `chambers:`, indented as it has to be."""
        return "".join(f"  {line}\n" for line in as_yaml({self.name: self.data()}).splitlines())


def suggestions(leaves: Sequence[Leaf]) -> list[ProbePick]:
    """What was overheard, named by the last word of its path or topic, likely probes first."""
    found: list[ProbePick] = []
    taken: set[str] = set()
    for leaf in leaves:
        name = _free(_name(leaf), taken)
        found.append(ProbePick(leaf, name, leaf.measures or str(Measure.TEMPERATURE), name if name in POINTS else ""))
    return found


def problems_of(draft: Draft, plant_text: str) -> list[str]:
    """Why a plant file with this block would not do; empty when it would."""
    try:
        plant = read(plant_text, "the plant file").data
    except WrittenError as error:
        return [f"The plant file itself cannot be read now: {error}"]
    chambers = plant.get("chambers") if isinstance(plant, dict) else None
    if not isinstance(chambers, dict):
        return ["The plant file has no chambers to add to."]
    if draft.name in chambers:
        return [f"There is a chamber '{draft.name}' already; choose another name."]
    return _refused({**plant, "chambers": {**chambers, draft.name: draft.data()}}, draft.name)


def _refused(plant: dict[str, Any], name: str) -> list[str]:
    try:
        loads(as_yaml(plant), "the plant file")
    except PlantFileError as error:
        return [_told(one.at.field, one.problem, one.remedy, name) for one in error.problems]
    return []


def _told(place: str, problem: str, remedy: str, name: str) -> str:
    where = place.removeprefix(f"chambers.{name}.").removeprefix("chambers.")
    return f"{where}: {problem}" + (f"; {remedy}" if remedy else "")


def _name(leaf: Leaf) -> str:
    last = (leaf.path or leaf.topic).replace("$", "").replace("[", ".").replace("]", "").replace("/", ".")
    words = [word for word in last.strip(".'\"").split(".") if word]
    plain = "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in (words or ["probe"])[-1].lower())
    return plain.strip("-")[:30] or "probe"


def _free(name: str, taken: set[str]) -> str:
    stem = f"probe-{name}" if name.isdigit() else name
    found = next(one for one in (stem, *(f"{stem}-{count}" for count in range(2, 1000))) if one not in taken)
    taken.add(found)
    return found
