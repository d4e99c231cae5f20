"""From a plant as its file describes it to models of its chambers. What it does not say is typical, not measured."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from math import exp
from typing import Any

from brewing.coolant import Glycol, freezing_point, specific_heat
from schemas.batches import BatchState
from schemas.plant import (
    Chamber,
    ChamberBase,
    Coolant,
    Drive,
    Fridge,
    Jacketed,
    Kegerator,
    Measure,
    Plant,
    Point,
    Probe,
    Reservoir,
    point_of,
)
from services.simulator.models import (
    WATER_CP,
    BeerModel,
    ChamberModel,
    CompressorModel,
    FridgeModel,
    JacketedModel,
    KegeratorModel,
    ProbeModel,
    ReservoirModel,
)

COOLING_OVER_POWER = 1.3
"""Heat drawn over power taken by a small hermetic compressor at -10 degC; typical."""
ROOM_C = 18.0
"""Where things stand that nobody holds."""
DEFAULT_POWER_W = {Drive.COMPRESSOR: 90.0, Drive.HEATER: 60.0, Drive.FAN: 3.0, Drive.PUMP: 12.0}
STEADY: dict[Measure, float] = {
    Measure.CONTACT: 0.0,
    Measure.PRESSURE: 0.8,
    Measure.MASS: 20.0,
    Measure.FLOW: 0.0,
    Measure.CO2: 450.0,
    Measure.HUMIDITY: 60.0,
}
"""What probes say of which there is no model here."""
_THERMOMETERS: dict[Point, ProbeModel] = {
    Point.BEER: ProbeModel("beer", 60.0),
    Point.AIR: ProbeModel("air", 25.0),
    Point.BATH: ProbeModel("bath", 30.0),
    Point.LINE: ProbeModel("air", 25.0),
    Point.ROOM: ProbeModel("ambient", 120.0),
}
_OTHERS: dict[Measure, ProbeModel] = {
    Measure.CONTACT: ProbeModel("door", 0.0, noise=0.0, resolution=1.0),
    Measure.GRAVITY: ProbeModel("gravity", 300.0, noise=0.0003, resolution=0.0001),
    Measure.POWER: ProbeModel("power", 1.0, noise=0.3, resolution=0.1),
}
_IN_THE_JACKET = ProbeModel("jacket", 25.0)
_SEEN_IN: dict[str, frozenset[str]] = {
    "fridge": frozenset({"beer", "air", "ambient", "door", "gravity", "power"}),
    "kegerator": frozenset({"beer", "air", "ambient", "door", "gravity", "power"}),
    "jacketed": frozenset({"beer", "jacket", "air", "ambient", "gravity", "power"}),
    "reservoir": frozenset({"bath", "air", "ambient", "power"}),
}


def models_of(plant: Plant) -> dict[str, ChamberModel]:
    """A model for every chamber."""
    return {name: _MODELS[type(chamber)](chamber) for name, chamber in plant.chambers.items()}


def steady_probes(plant: Plant) -> dict[tuple[str, str], float]:
    """The probes that no model feeds, and what each of them always says."""
    return {
        (chamber_name, name): STEADY.get(probe.measures, ROOM_C)
        for chamber_name, chamber in plant.chambers.items()
        for name, probe in chamber.probes.items()
        if _probe_model(chamber, name, probe) is None
    }


def beer_of(chamber: ChamberBase, batch: BatchState, now: datetime) -> BeerModel:
    """The beer of a batch that is running, as far as its state tells: 12 degP when nobody said.

    One that has run for a while is as far as its last gravity says, or else as a beer of its age at its temperature.
    """
    step = batch.steps[batch.step or 0] if batch.steps else None
    begun = BeerModel(
        volume_l=chamber.contents.volume_l,
        start_c=step.from_c if step else ROOM_C,
        original_extract_p=12.0 if batch.original_gravity_sg is None else _plato(batch.original_gravity_sg),
    )
    hours = (now - batch.started).total_seconds() / 3600 if batch.started else 0.0
    return replace(begun, fermented=_fermented(begun, batch.gravity_sg, max(0.0, hours)))


def _plato(gravity_sg: float) -> float:
    """The inverse of the formula by which the simulated beer tells its gravity."""
    return max(0.0, 258.6 * (gravity_sg - 1) / (1 + 0.8796 * (gravity_sg - 1)))


def _fermented(begun: BeerModel, gravity_sg: float | None, hours: float) -> float:
    """Share of what will ferment that has, 0 to 1; by time, dx/dt = k (x + i) (1 - x) is solved at `start_c`."""
    if gravity_sg is not None and begun.original_extract_p > 0:
        gone = (begun.original_extract_p - _plato(gravity_sg)) / (begun.original_extract_p * begun.attenuation)
        return min(1.0, max(0.0, gone))
    rate = begun.rate_per_h * exp(begun.rate_per_k * (begun.start_c - 18.0))
    grown = begun.inoculum * exp(min(100.0, rate * (1 + begun.inoculum) * hours))
    return (grown - begun.inoculum) / (1 + grown)


def _fridge(chamber: Fridge) -> FridgeModel:
    start_c = ROOM_C if chamber.hold_c is None else chamber.hold_c
    return FridgeModel(
        beer=BeerModel(volume_l=chamber.contents.volume_l, start_c=start_c, fermented=1.0),
        compressor=_compressor(chamber),
        outputs=_drives(chamber),
        probes=_probes(chamber),
        heater_w=_power(chamber, Drive.HEATER),
        fan_w=_power(chamber, Drive.FAN),
    )


def _kegerator(chamber: Kegerator) -> KegeratorModel:
    start_c = 5.0 if chamber.hold_c is None else chamber.hold_c
    return KegeratorModel(
        beer=BeerModel(volume_l=chamber.contents.volume_l, start_c=start_c, fermented=1.0),
        compressor=_compressor(chamber),
        outputs=_drives(chamber),
        probes=_probes(chamber),
        heater_w=_power(chamber, Drive.HEATER),
        fan_w=_power(chamber, Drive.FAN),
    )


def _jacketed(chamber: Jacketed) -> JacketedModel:
    start_c = ROOM_C if chamber.hold_c is None else chamber.hold_c
    return JacketedModel(
        cooled_by=chamber.cooled_by,
        beer=BeerModel(volume_l=chamber.contents.volume_l, start_c=start_c, fermented=1.0, mixing_w_k=80.0),
        outputs=_drives(chamber),
        probes=_probes(chamber),
        heater_w=_power(chamber, Drive.HEATER),
        pump_w=_power(chamber, Drive.PUMP),
    )


def _reservoir(chamber: Reservoir) -> ReservoirModel:
    start_c = ROOM_C if chamber.hold_c is None else chamber.hold_c
    freezes_at_c, heat = _coolant(chamber.contents.coolant, start_c)
    return ReservoirModel(
        volume_l=chamber.contents.volume_l,
        start_c=start_c,
        coolant_j_kg_k=heat,
        freezes_at_c=freezes_at_c,
        compressor=_compressor(chamber, evaporator_j_k=4000.0),
        outputs=_drives(chamber),
        probes=_probes(chamber),
    )


_MODELS: Mapping[type[ChamberBase], Callable[[Any], ChamberModel]] = {
    Fridge: _fridge,
    Kegerator: _kegerator,
    Jacketed: _jacketed,
    Reservoir: _reservoir,
}


def _drives(chamber: ChamberBase) -> dict[str, str]:
    return {name: str(output.drives) for name, output in chamber.outputs.items()}


def _power(chamber: ChamberBase, drive: Drive) -> float:
    """Of all outputs that drive such a thing; a typical one's where the file says nothing."""
    found = [output.power_w for output in chamber.outputs.values() if output.drives is drive]
    return (sum(found) or DEFAULT_POWER_W[drive]) if found else 0.0


def _compressor(chamber: ChamberBase, evaporator_j_k: float = 2500.0) -> CompressorModel:
    power_w = _power(chamber, Drive.COMPRESSOR) or DEFAULT_POWER_W[Drive.COMPRESSOR]
    return CompressorModel(cooling_w=COOLING_OVER_POWER * power_w, power_w=power_w, evaporator_j_k=evaporator_j_k)


def _coolant(coolant: Coolant | None, near_c: float) -> tuple[float, float]:
    """Freezing point in degC and specific heat in J/(kg K)."""
    if coolant is None or not (coolant.propylene_glycol_percent or coolant.ethylene_glycol_percent):
        return 0.0, WATER_CP
    glycol = Glycol.PROPYLENE if coolant.propylene_glycol_percent else Glycol.ETHYLENE
    fraction = (coolant.propylene_glycol_percent or coolant.ethylene_glycol_percent) / 100
    freezes_at_c = freezing_point(fraction, glycol)
    return freezes_at_c, specific_heat(fraction, max(near_c, freezes_at_c), glycol)


def _probes(chamber: Chamber) -> dict[str, ProbeModel]:
    found = {name: _probe_model(chamber, name, probe) for name, probe in chamber.probes.items()}
    return {name: model for name, model in found.items() if model is not None}


def _probe_model(chamber: Chamber, name: str, probe: Probe) -> ProbeModel | None:
    """What a probe is in touch with, or None where there is no model of it."""
    point = point_of(name, probe)
    if point is Point.LINE and isinstance(chamber, Jacketed):
        return _IN_THE_JACKET
    model = _OTHERS.get(probe.measures) if point is None else _THERMOMETERS[point]
    return model if model is not None and model.sees in _SEEN_IN[chamber.kind] else None
