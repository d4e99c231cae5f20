"""In which chambers an interlock can trip at all."""

from collections.abc import Callable

from schemas.plant import Chamber, Drive, Measure, Point


def cools_by_air(chamber: Chamber) -> bool:
    both = chamber.probe_at(Point.AIR) and chamber.probe_at(Point.BEER)
    return bool(both and chamber.output_that(Drive.COMPRESSOR)) and chamber.kind != "reservoir"


def has_air(chamber: Chamber) -> bool:
    return chamber.probe_at(Point.AIR) is not None and chamber.kind != "reservoir"


def holds_beer(chamber: Chamber) -> bool:
    return chamber.kind != "reservoir"


def is_jacketed(chamber: Chamber) -> bool:
    return chamber.kind == "jacketed"


def is_reservoir(chamber: Chamber) -> bool:
    return chamber.kind == "reservoir"


def measures(measure: Measure) -> Callable[[Chamber], bool]:
    return lambda chamber: any(probe.measures is measure for probe in chamber.probes.values())
