"""What goes wrong in a rehearsal: kills and restarts at moments drawn from a seed, and a bus that loses and muddles."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random

from schemas.base import ServiceName
from services.rehearsal.stage import Stage
from services.runtime.memory_bus import Mishaps

RAW_AND_READINGS = ("simulated/#", "coldside/+/reading/#", "coldside/+/command/#", "coldside/+/report/#")


@dataclass(frozen=True, slots=True)
class Outage:
    """One service is gone from `begins` for `lasts`; with `forgetful`, its state file is gone, too."""

    service: ServiceName
    begins: datetime
    lasts: timedelta
    forgetful: bool = False


def draw_outages(
    random: Random, services: Iterable[ServiceName], start: datetime, span: timedelta, count: int
) -> tuple[Outage, ...]:
    """`count` outages of 5 s to 15 min, in order of time; one in ten is forgetful."""
    pool = tuple(services)
    drawn = [
        Outage(
            service=random.choice(pool),
            begins=start + span * random.random(),
            lasts=timedelta(seconds=random.choice((5, 30, 90, 300, 900))),
            forgetful=random.random() < 0.1,
        )
        for _ in range(count)
    ]
    return tuple(sorted(drawn, key=lambda one: one.begins))


def rough_bus(random: Random) -> Mishaps:
    """A bus on which one delivery in fifty is lost, and as many are doubled, late or out of order."""
    return Mishaps(random, drop=0.02, duplicate=0.02, delay=0.02, reorder=0.02, filters=RAW_AND_READINGS)


def play(stage: Stage, outages: Iterable[Outage], until: datetime) -> None:
    """Runs the stage with its outages; everybody is back at the end."""
    waiting = list(outages)
    returns: list[Outage] = []
    while stage.now < until:
        stage.now += stage.tick
        _bring_back(stage, returns)
        while waiting and waiting[0].begins <= stage.now:
            gone = waiting.pop(0)
            if stage.alive(gone.service):
                stage.kill(gone.service)
                returns.append(gone)
        stage.step()
    for gone in returns:
        stage.revive(gone.service, forgetful=gone.forgetful)


def _bring_back(stage: Stage, returns: list[Outage]) -> None:
    for gone in [one for one in returns if one.begins + one.lasts <= stage.now]:
        returns.remove(gone)
        stage.revive(gone.service, forgetful=gone.forgetful)
