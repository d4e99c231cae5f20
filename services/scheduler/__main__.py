"""What the scheduler is made of."""

from schemas.plant import Plant
from services.scheduler.core import Scheduler, SchedulerState


def build(plant: Plant, restored: SchedulerState | None = None) -> Scheduler:
    """A scheduler for life or for a rehearsal: they are the same."""
    return Scheduler(plant, restored)
