"""What the simulator is made of."""

from collections.abc import Sequence

from schemas.plant import Plant
from services.simulator.core import Simulator, SimulatorState, TimedFault


def build(
    plant: Plant, restored: SimulatorState | None = None, *, seed: int = 1, faults: Sequence[TimedFault] = ()
) -> Simulator:
    """A simulator in a garage with a real year's temperatures."""
    return Simulator(plant, restored, seed=seed, faults=faults)
