"""What there is: chambers with what fits them and when they are free, and the cold and current that they share."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from math import ceil
from zoneinfo import ZoneInfo

from schemas.batches import BatchPhase, BatchState
from schemas.plant import Chamber, Drive, Jacketed, Plant
from services.planner.needs import BEER_KG_L, LEAST_FALL_K

USUAL_POWER_W = 90.0
BATH_SHARE = 0.9
"""A bath's chiller draws so much of its electrical power out of beer in the long run; common practice, no source."""
UNDER_WAY = (BatchPhase.IDLE, BatchPhase.RUNNING, BatchPhase.HELD)
BEER_J_KG_K = 4050.0


@dataclass(frozen=True, slots=True)
class Place:
    """One chamber. `free_from` is None while nobody can say when what is in it leaves; `taken_by` is what that is."""

    name: str
    volume_l: float
    lowest_c: float
    highest_c: float
    free_from: date | None
    taken_by: str = ""
    bath: str = ""
    circuit: str = ""
    power_w: float = 0.0


@dataclass(frozen=True, slots=True)
class Yard:
    """All places from `today` on. `bath_w` is what each bath can carry, `circuit_w` each circuit.

    `promised_w` is what running batches will take of a bath on a day.
    """

    today: date
    places: Mapping[str, Place]
    bath_w: Mapping[str, float] = field(default_factory=dict)
    circuit_w: Mapping[str, float] = field(default_factory=dict)
    promised_w: Mapping[tuple[str, date], float] = field(default_factory=dict)


def yard_of(
    plant: Plant, batches: Iterable[BatchState], today: date, free_from: Mapping[str, date] | None = None
) -> Yard:
    """The site as it is, and as its running batches foretell it."""
    known, zone = dict(free_from or {}), plant.zone
    running = {one.chamber: one for one in batches if one.phase in UNDER_WAY}
    places = {
        name: _place(plant, name, chamber, running.get(name), today, known.get(name), zone)
        for name, chamber in plant.chambers.items()
        if chamber.kind != "reservoir"
    }
    return Yard(
        today=today,
        places=places,
        bath_w={
            name: BATH_SHARE * _compressors_w(chamber)
            for name, chamber in plant.chambers.items()
            if chamber.kind == "reservoir"
        },
        circuit_w={name: one.voltage_v * one.limit_a for name, one in plant.circuits.items()},
        promised_w=_promised(plant, running.values(), zone),
    )


def _place(
    plant: Plant,
    name: str,
    chamber: Chamber,
    batch: BatchState | None,
    today: date,
    known: date | None,
    zone: ZoneInfo,
) -> Place:
    cold = chamber.output_that(Drive.COMPRESSOR)
    machine = chamber.outputs[cold] if cold else None
    return Place(
        name=name,
        volume_l=chamber.contents.volume_l,
        lowest_c=chamber.limits.lowest_c,
        highest_c=chamber.limits.highest_c,
        free_from=known or (today if batch is None else _leaves(batch, today, zone)),
        taken_by="" if batch is None else batch.batch,
        bath=chamber.cooled_by if isinstance(chamber, Jacketed) else "",
        circuit=(machine.circuit or "") if machine else "",
        power_w=(machine.power_w or USUAL_POWER_W) if machine else 0.0,
    )


def _leaves(batch: BatchState, today: date, zone: ZoneInfo) -> date | None:
    """The day after its last step has ended at the latest; None where that cannot be said, as of a beer on tap."""
    last = batch.steps[-1] if batch.steps else None
    ends = None if last is None else last.ends_latest or last.ends
    if ends is None:
        return None
    return max(today, ends.astimezone(zone).date() + timedelta(days=1))


def _promised(plant: Plant, batches: Iterable[BatchState], zone: ZoneInfo) -> dict[tuple[str, date], float]:
    found: dict[tuple[str, date], float] = {}
    for batch in batches:
        chamber = plant.chambers.get(batch.chamber)
        if not isinstance(chamber, Jacketed):
            continue
        for step in batch.steps:
            if step.done or step.begins is None or step.from_c - step.to_c < LEAST_FALL_K:
                continue
            hours = max(24.0, (step.ends - step.begins) / timedelta(hours=1) if step.ends else 24.0)
            joules = chamber.contents.volume_l * BEER_KG_L * BEER_J_KG_K * (step.from_c - step.to_c)
            first = step.begins.astimezone(zone).date()
            for day in range(ceil(hours / 24.0)):
                key = (chamber.cooled_by, first + timedelta(days=day))
                found[key] = found.get(key, 0.0) + joules / (hours * 3600.0)
    return found


def _compressors_w(chamber: Chamber) -> float:
    found = [one.power_w for one in chamber.outputs.values() if one.drives is Drive.COMPRESSOR]
    return sum(one or USUAL_POWER_W for one in found) or USUAL_POWER_W
