"""What each electrical circuit carries, by the rated power of what is reported on."""

from collections.abc import Iterator

from schemas.plant import Plant
from schemas.telemetry import Report


class CircuitLoads:
    """Adds up levels times rated power; an output of unknown level counts as on."""

    def __init__(self, plant: Plant) -> None:
        self._rated: dict[tuple[str, str], tuple[str, float]] = {
            (chamber, name): (output.circuit, output.power_w / plant.circuits[output.circuit].voltage_v)
            for chamber, described in plant.chambers.items()
            for name, output in described.outputs.items()
            if output.circuit in plant.circuits
        }
        self._levels: dict[str, dict[tuple[str, str], float]] = {circuit: {} for circuit in plant.circuits}

    def after(self, report: Report) -> Iterator[tuple[str, float]]:
        """The circuit that a report concerns, and what it carries now, in amperes; nothing for outputs on none."""
        output = (report.chamber, report.output)
        if output in self._rated:
            circuit, amperes = self._rated[output]
            levels = self._levels[circuit]
            levels[output] = amperes * (1.0 if report.level is None else report.level)
            yield circuit, sum(levels.values())
