"""What the notifier is made of."""

from collections.abc import Iterable
from pathlib import Path

from schemas.base import ServiceName
from schemas.plant import Plant
from services.notifier.core import HEALTH_PERIOD_S, Notifier, NotifierState
from services.notifier.deputy import DeputyState
from services.notifier.log_courier import log_alarm
from services.notifier.shell import Shell
from services.notifier.watch import ESSENTIAL
from services.runtime.compose import Part
from services.runtime.host import Options
from services.runtime.plant_watch import PlantWatch


def build(
    plant: Plant,
    restored: NotifierState | None = None,
    *,
    expected: Iterable[ServiceName] = ESSENTIAL,
    health_period_s: float = HEALTH_PERIOD_S,
) -> Notifier:
    """A notifier alone, whose messages nobody carries: it logs what it says.

    It misses every service in `expected` from the start; a rehearsal whose services send no health expects none.
    """
    return Notifier(plant, restored, expected=expected, health_period_s=health_period_s, announce=log_alarm)


def part(plant: Plant, state_folder: Path, plant_file: Path | None = None) -> Part[NotifierState]:
    """A notifier for life, with its shell; follows the plant file when one is named."""
    shell = Shell(plant, state_folder)
    options = _options(shell, plant_file)
    return Part(name=ServiceName.NOTIFIER, build=shell.build, state=NotifierState, options=options, persistent=True)


def deputy_part(plant: Plant, state_folder: Path, plant_file: Path | None = None) -> Part[DeputyState]:
    """The deputy for life; run it in another process than the notifier's."""
    shell = Shell(plant, state_folder)
    return Part(
        name=ServiceName.DEPUTY, build=shell.build_deputy, state=DeputyState, options=_options(shell, plant_file)
    )


def _options(shell: Shell, plant_file: Path | None) -> Options:
    watch = None if plant_file is None else PlantWatch(plant_file)
    return Options(poll=shell.poll, perform=shell.perform, watch=watch, close=shell.close)
