"""What the scheduler is made of."""

from pathlib import Path

from schemas.base import ServiceName
from schemas.plant import Plant
from services.runtime.compose import Part
from services.runtime.host import Options
from services.runtime.plant_watch import PlantWatch
from services.scheduler.core import Scheduler, SchedulerState


def build(plant: Plant, restored: SchedulerState | None = None) -> Scheduler:
    """A scheduler alone, as for a rehearsal: its calendar is its own arithmetic."""
    return Scheduler(plant, restored)


def part(plant: Plant, folder: Path, plant_file: Path | None = None) -> Part[SchedulerState]:
    """A scheduler for life, its calendar and feed in the state folder; follows the plant file when one is named."""
    from services.scheduler.shell import Shell  # brings a database library along, which a rehearsal does without

    shell = Shell(plant, folder)
    watch = None if plant_file is None else PlantWatch(plant_file)
    options = Options(poll=shell.poll, watch=watch, close=shell.close)
    return Part(name=ServiceName.SCHEDULER, build=shell.build, state=SchedulerState, options=options, persistent=True)
