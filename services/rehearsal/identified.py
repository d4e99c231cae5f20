"""The plant as it is: the simulator's models with what control has learnt of each chamber, as warm as it is now."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from functools import cache
from math import exp

from schemas.batches import BatchPhase, BatchState
from schemas.plant import Plant, Point
from services.rehearsal.situation import Situation
from services.simulator.bath import Bath
from services.simulator.cabinet import Cabinet
from services.simulator.mapping import beer_of, models_of, steady_probes
from services.simulator.models import ChamberModel, FridgeModel, JacketedModel, ReservoirModel
from services.simulator.physics import Key, Truth
from services.simulator.physics import Plant as Physics
from services.simulator.vessel import Vessel
from services.simulator.weather import Weather, garage, seattle_hourly

STEP_S = 20.0
"""Twice the simulator's own: the quickest node, an evaporator, takes minutes."""
_CHILLER_AT_C, _ROOM_C, _PER_EVAPORATOR_K = 5.0, 18.0, 0.03
_LEAK_SHARE = 0.125
"""Of what comes in from the room, this share comes with the air and the rest through the wall; typical."""


class IdentifiedPlant:
    """See `plant_model.PlantModel`, `Pouring` and `Truthful`."""

    def __init__(self, situation: Situation) -> None:
        models = {name: _known(situation, name, model) for name, model in models_of(situation.plant).items()}
        self.physics = Physics(models, weather_from(situation), situation.seed, longest_step_s=STEP_S)
        self._plant: Plant = situation.plant
        self._steady = steady_probes(situation.plant)
        self._poured: dict[str, str] = {}
        for batch in situation.batches:
            self.pour(batch, situation.now)
        for name in situation.plant.chambers:
            settle(self.physics, name, situation)

    def advance(self, seconds: float, outputs: Mapping[Key, float]) -> Mapping[Key, float]:
        """See `PlantModel`."""
        return {**self._steady, **self.physics.advance(seconds, outputs)}

    def pour(self, batch: BatchState, now: datetime) -> None:
        """Fills the chamber's vessel, once."""
        chamber = self._plant.chambers.get(batch.chamber)
        here = batch.phase in (BatchPhase.RUNNING, BatchPhase.HELD)
        again = self._poured.get(batch.chamber) == batch.batch
        if chamber is None or chamber.kind == "reservoir" or not here or again:
            return
        self._poured[batch.chamber] = batch.batch
        beer = beer_of(chamber, batch, now)
        mixing_w_k = getattr(self.physics.chambers[batch.chamber].model, "beer", beer).mixing_w_k
        self.physics.fill(batch.chamber, replace(beer, mixing_w_k=mixing_w_k))

    def truth(self, chamber: str) -> Truth:
        """See `Truthful`."""
        return self.physics.truth(chamber)


def plant_as_it_is(situation: Situation) -> IdentifiedPlant:
    """The factory that is used unless another is named."""
    return IdentifiedPlant(situation)


def identified(model: ChamberModel, learnt: Mapping[str, float]) -> ChamberModel:
    """A typical model with what has been learnt put in its place; the same where nothing has."""
    if not learnt:
        return model
    known = {name: exp(value) for name, value in learnt.items()}
    if isinstance(model, FridgeModel):
        return _cabinet(model, known)
    return _vessel(model, known) if isinstance(model, JacketedModel) else model


def chilled(model: ReservoirModel, at_5_w: float, room_c: float) -> ReservoirModel:
    """A bath whose chiller takes so much out of it at 5 degC, the coil being as much colder as that needs."""
    through_w = at_5_w + model.insulation_w_k * (room_c - _CHILLER_AT_C)
    coil_c = _CHILLER_AT_C - through_w / model.coil_w_k
    capacity = 1.0 + _PER_EVAPORATOR_K * (coil_c + 10.0)
    if capacity <= 0.1:
        return model
    return replace(model, compressor=replace(model.compressor, cooling_w=through_w / capacity))


def settle(physics: Physics, chamber: str, situation: Situation) -> None:
    """Gives a chamber the temperatures that its probes show; where they are silent it stays as it was built."""
    found = physics.chambers[chamber]
    beer_c = situation.reading_at(chamber, Point.BATH if isinstance(found, Bath) else Point.BEER)
    if isinstance(found, Bath):
        if beer_c is not None:
            found.bath_c = found.evaporator_c = found.air_c = beer_c
        return
    if beer_c is not None:
        found.beer.core_c = found.beer.outer_c = beer_c
    _settle_round_beer(found, situation.reading_at(chamber, Point.AIR), situation.reading_at(chamber, Point.LINE))


def weather_from(situation: Situation) -> Weather:
    """A garage of this season; where the room is measured, moved so that it begins as warm as that says."""
    usual = garage(situation.now, _hourly())
    if situation.room_c is None:
        return usual
    return garage(situation.now, _hourly(), offset_k=4.0 + situation.room_c - usual.at(0.0))


def _known(situation: Situation, chamber: str, model: ChamberModel) -> ChamberModel:
    takes = situation.chiller(chamber)
    if isinstance(model, ReservoirModel) and takes is not None:
        room_c = situation.room_c
        return chilled(model, takes[0], _ROOM_C if room_c is None else room_c)
    return identified(model, situation.learnt(chamber))


def _settle_round_beer(found: Cabinet | Vessel, air_c: float | None, line_c: float | None) -> None:
    near_c = found.beer.outer_c
    if isinstance(found, Vessel):
        found.jacket_c = near_c if line_c is None else line_c
        return
    found.air_c = found.evaporator_c = found.wall_c = near_c if air_c is None else air_c


def _cabinet(model: FridgeModel, known: Mapping[str, float]) -> FridgeModel:
    """The learnt conductances are those of moved air, the model's those of still air."""
    compressor = replace(
        model.compressor,
        cooling_w=known.get("cooling_w", model.compressor.cooling_w),
        evaporator_j_k=known.get("evaporator_j_k", model.compressor.evaporator_j_k),
    )
    room_w_k = known.get("room_w_k", model.insulation_w_k + model.leak_w_k)
    return replace(
        model,
        compressor=compressor,
        beer=replace(model.beer, mixing_w_k=known.get("mixing_w_k", model.beer.mixing_w_k)),
        vessel_w_k=known.get("vessel_w_k", model.vessel_w_k * model.fan_gain) / model.fan_gain,
        evaporator_w_k=known.get("evaporator_w_k", model.evaporator_w_k * model.fan_gain) / model.fan_gain,
        wall_w_k=known.get("wall_w_k", model.wall_w_k),
        wall_j_k=known.get("wall_j_k", model.wall_j_k),
        insulation_w_k=room_w_k * (1.0 - _LEAK_SHARE),
        leak_w_k=room_w_k * _LEAK_SHARE,
        heater_w=known.get("heater_w", model.heater_w) if model.heater_w else 0.0,
        heater_lag_s=known.get("heater_s", model.heater_lag_s),
        heater_to_vessel=min(0.95, known.get("strap", model.heater_to_vessel)),
    )


def _vessel(model: JacketedModel, known: Mapping[str, float]) -> JacketedModel:
    return replace(
        model,
        beer=replace(model.beer, mixing_w_k=known.get("mixing_w_k", model.beer.mixing_w_k)),
        flow_w_k=known.get("flow_w_k", model.flow_w_k),
        jacket_w_k=known.get("jacket_w_k", model.jacket_w_k),
        jacket_j_k=known.get("jacket_j_k", model.jacket_j_k),
        insulation_w_k=known.get("room_w_k", model.insulation_w_k),
        heater_w=known.get("heater_w", model.heater_w) if model.heater_w else 0.0,
        heater_lag_s=known.get("heater_s", model.heater_lag_s),
    )


@cache
def _hourly() -> tuple[float, ...]:
    return seattle_hourly()
