"""The two sides of control in a chamber, as a guided first run tries them, and the watch it keeps."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from schemas.plant import Chamber, Measure, Point, point_of
from services.supervisor.roles import Bars, role_of

Temperatures = Mapping[str, float]
SIGNS = {Bars.HEAT: 1.0, Bars.COOL: -1.0}
"""Which way the probe should go."""


@dataclass(frozen=True, slots=True)
class Side:
    """One side of control, the probe that should answer it first, and the beer's, where that is another."""

    role: Bars
    outputs: tuple[str, ...]
    probe: str
    point: Point
    beer: str | None

    @property
    def sign(self) -> float:
        """Which way its probe should go."""
        return SIGNS[self.role]

    def doing(self) -> str:
        """For people."""
        outputs = " and ".join(self.outputs)
        return f"heating with {outputs}" if self.role is Bars.HEAT else f"cooling with {outputs}"


@dataclass(slots=True)
class Watch:
    """Temperatures seen in one stretch, by probe."""

    times_s: list[float] = field(default_factory=list)
    values: dict[str, list[float]] = field(default_factory=dict)

    def note(self, now_s: float, temperatures: Temperatures) -> None:
        """One look; a probe that is silent in it is not watched in this stretch."""
        if not self.times_s:
            self.values = {name: [] for name in temperatures}
        self.times_s.append(now_s)
        self.values = {name: [*seen, temperatures[name]] for name, seen in self.values.items() if name in temperatures}


def sides_of(chamber: Chamber) -> tuple[Side, ...]:
    """What can be tried in a chamber, heating first."""
    probe = _first_to_answer(chamber)
    if probe is None:
        return ()
    point, beer = point_of(probe, chamber.probes[probe]) or Point.BEER, chamber.probe_at(Point.BEER)
    found = []
    for role in SIGNS:
        outputs = tuple(name for name, out in chamber.outputs.items() if role_of(out.drives, chamber.kind) is role)
        if outputs:
            found.append(Side(role, outputs, probe, point, beer if beer != probe else None))
    return tuple(found)


def _first_to_answer(chamber: Chamber) -> str | None:
    points = (Point.BATH,) if chamber.kind == "reservoir" else (Point.AIR, Point.BEER)
    if chamber.kind == "jacketed":
        points = (Point.BEER,)
    return next((name for point in points if (name := chamber.probe_at(point)) is not None), None)


def temperatures_of(chamber: Chamber) -> Sequence[str]:
    """The probes that a guided first run watches."""
    return tuple(name for name, probe in chamber.probes.items() if probe.measures is Measure.TEMPERATURE)
