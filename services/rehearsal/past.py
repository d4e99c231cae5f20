"""Gives a simulated plant a past: a rehearsal whose history is kept, and whose last state the services go on from.

python -m services.rehearsal.past PLANT_FILE STATE_FOLDER
"""

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from importlib.resources import files
from pathlib import Path
from typing import Annotated

from pydantic import Field

from schemas.alarms import Alarm, AlarmPhase
from schemas.base import Model, Name, ServiceName, Text
from schemas.batches import SpecificGravity
from schemas.contract import topic_for
from schemas.plant import Plant
from schemas.plant_file import load
from schemas.profiles import Profile
from schemas.quantities import Seconds
from schemas.requests import AcknowledgeAlarm, StartBatch
from schemas.written import build, read_file
from services.recorder.__main__ import filling
from services.recorder.rows import Annotation, Sample
from services.recorder.store import Sink
from services.rehearsal.ensemble import on_stage
from services.rehearsal.stage import Stage
from services.runtime.clock import SystemClock
from services.runtime.service import Outgoing
from services.runtime.state import Saved, StateFile

SPAN = timedelta(days=14)
UNSEEN = (AlarmPhase.UNACKNOWLEDGED, AlarmPhase.RETURNED_UNACKNOWLEDGED, AlarmPhase.LATCHED_UNACKNOWLEDGED)
TICK = timedelta(minutes=1)


@dataclass(slots=True)
class Gathered:
    """A sink before a sink: hands on in heaps, since nothing is lost when a past has to be made again."""

    sink: Sink
    heap: int = 20_000
    samples: list[Sample] = field(default_factory=list)
    annotations: list[Annotation] = field(default_factory=list)

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        """Keeps them, or hands the heap on."""
        self.samples.extend(samples)
        self.annotations.extend(annotations)
        if len(self.samples) >= self.heap:
            self.hand_on()

    def hand_on(self) -> None:
        """Writes what is kept."""
        self.sink.write(self.samples, self.annotations)
        self.samples.clear()
        self.annotations.clear()


class PastBatch(Model):
    """One beer of the past."""

    batch: Name
    title: Text
    chamber: Name
    begun_s: Seconds = Field(alias="begun", description="How long before now it was started.")
    original_gravity_sg: SpecificGravity | None = Field(default=None, alias="original_gravity")
    profile: Profile


class PastBatches(Model):
    """All of them."""

    batches: Annotated[tuple[PastBatch, ...], Field(min_length=1)]


def barn_batches() -> tuple[PastBatch, ...]:
    """The demonstration barn's."""
    path = Path(str(files("services.rehearsal").joinpath("barn_batches.yaml")))
    return build(PastBatches, read_file(path)).batches


def make_past(
    plant: Plant,
    folder: Path,
    now: datetime,
    batches: tuple[PastBatch, ...],
    *,
    seed: int = 1,
    span: timedelta = SPAN,
) -> None:
    """So long up to `now` into the store that the plant file names, and the services' state at the end.

    Batches of chambers that the plant does not have are left out.
    """
    with filling(plant, folder) as sink:
        gathered = Gathered(sink)
        stage = on_stage(plant, now - span, seed=seed, tick=TICK, sink=gathered)[0]
        _play(stage, plant, now, batches)
        gathered.hand_on()
    _keep_states(stage, folder)


def _play(stage: Stage, plant: Plant, now: datetime, batches: tuple[PastBatch, ...]) -> None:
    for one in sorted(batches, key=lambda batch: -batch.begun_s):
        if one.chamber in plant.chambers:
            stage.run_until(max(stage.now, now - timedelta(seconds=one.begun_s)))
            stage.ask(start_request(plant, one, stage.now))
    stage.run_until(now)
    stage.ask(*_acknowledged(plant, stage))


def start_request(plant: Plant, one: PastBatch, now: datetime) -> Outgoing:
    """The request that starts such a batch now."""
    request = StartBatch(
        at=now,
        source="rehearsal",
        id=f"past-{one.batch}",
        client="rehearsal",
        who="the demonstration",
        why="a beer to look at",
        batch=one.batch,
        title=one.title,
        chamber=one.chamber,
        profile=one.profile,
        original_gravity_sg=one.original_gravity_sg,
    )
    return Outgoing(topic_for(plant.site.name, request), request)


def _acknowledged(plant: Plant, stage: Stage) -> Iterator[Outgoing]:
    """A past has been lived through: somebody has seen its alarms."""
    for kept in list(stage.bus.retained.values()):
        alarm = kept.body
        if isinstance(alarm, Alarm) and alarm.phase in UNSEEN:
            request = AcknowledgeAlarm(
                at=stage.now,
                source="rehearsal",
                id=f"past-{alarm.chamber}-{alarm.name}"[:64],
                client="rehearsal",
                who="the demonstration",
                why="seen in the past",
                chamber=alarm.chamber,
                name=alarm.name,
            )
            yield Outgoing(topic_for(plant.site.name, request), request)


def _keep_states(stage: Stage, folder: Path) -> None:
    for name, snapshot in stage.snapshots().items():
        if name is not ServiceName.BRIDGE:
            StateFile(folder / f"{name}.json", Saved).save(Saved(snapshot=snapshot.model_dump(mode="json")))


def main() -> None:
    """Makes the past of the plant file and state folder on the command line."""
    path, folder = Path(sys.argv[1]), Path(sys.argv[2])
    folder.mkdir(parents=True, exist_ok=True)
    make_past(load(path), folder, SystemClock().now(), barn_batches())


if __name__ == "__main__":
    main()
