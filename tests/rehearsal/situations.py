"""Sites at a moment, taken from a rehearsal that has run for a while."""

from datetime import UTC, datetime, timedelta

from schemas.base import Message, ServiceName
from schemas.contract import topic_for
from schemas.plant import Plant
from schemas.plant_file import loads as loads_plant
from schemas.profiles import Profile
from schemas.requests import RequestBase, StartBatch
from services.rehearsal.situation import Situation
from services.rehearsal.stage import Stage
from services.runtime.service import Outgoing
from services.scheduler.profile_file import loads

START = datetime(2026, 11, 2, 6, tzinfo=UTC)
TWO_VESSELS = """
site: {name: cellar, timezone: Europe/Dublin, price_per_kwh: 0.30}
circuits: {ring: {voltage: 230 V, limit: 10 A}}
chambers:
  bath:
    kind: reservoir
    contents: {volume: 30 L, coolant: {propylene_glycol: 30 %}}
    probes: {bath: {measures: temperature, from: {simulated: true}}}
    outputs: {chill: {drives: compressor, to: {simulated: true}, power: 60 W, circuit: ring}}
  east:
    kind: jacketed
    cooled_by: bath
    contents: {volume: 30 L}
    probes: {beer: {measures: temperature, from: {simulated: true}}}
    outputs: {pump: {drives: pump, to: {simulated: true}, power: 12 W}}
  west:
    kind: jacketed
    cooled_by: bath
    contents: {volume: 30 L}
    probes: {beer: {measures: temperature, from: {simulated: true}}}
    outputs: {pump: {drives: pump, to: {simulated: true}, power: 12 W}}
"""


def cellar() -> Plant:
    """Two vessels on a bath whose chiller is small."""
    return loads_plant(TWO_VESSELS)


def strong() -> Plant:
    """The same with a chiller that has enough for both."""
    weak = cellar()
    chill = weak.chambers["bath"].outputs["chill"].model_copy(update={"power_w": 500.0})
    bath = weak.chambers["bath"].model_copy(update={"outputs": {"chill": chill}})
    return weak.model_copy(update={"chambers": {**weak.chambers, "bath": bath}})


def programme(*steps: str) -> Profile:
    """A profile of steps as people write them."""
    return loads("profile: trial\nsteps:\n" + "".join(f"  - {{{step}}}\n" for step in steps))


def starting(batch: str, chamber: str, profile: Profile, now: datetime) -> StartBatch:
    """A request."""
    return StartBatch(at=now, source="test", id=f"start-{batch}", client="test", who="test", batch=batch,
                      chamber=chamber, profile=profile, original_gravity_sg=1.050)  # fmt: skip


def ask(stage: Stage, plant: Plant, request: RequestBase) -> None:
    """Of a stage."""
    stage.ask(Outgoing(topic_for(plant.site.name, request), request))


def situation_of(stage: Stage, plant: Plant, programmes: dict[str, Profile], on_disk: bool = False) -> Situation:
    """What its broker retains now, and (`on_disk`) what scheduler and supervisor have saved."""
    said = tuple(one.body for one in stage.bus.retained.values() if isinstance(one.body, Message))
    kept = stage.snapshots() if on_disk else {}
    return Situation(
        plant,
        stage.now,
        said,
        programmes,
        scheduler=kept.get(ServiceName.SCHEDULER),
        supervisor=kept.get(ServiceName.SUPERVISOR),
    )


HOUR = timedelta(hours=1)
