"""How much stands in a chamber, and how long its door may be open until that has begun to warm.

A door left open puts the room's air around the vessel. What comes in then is bounded by the opening and by the vessel's
surface; what it has to warm are the beer and the cabinet's inner wall.
"""

from functools import cache

from brewing.door import Doorway, heat_rate
from brewing.psychrometrics import Air
from schemas.batches import BatchPhase, BatchState
from schemas.plant import Plant

BEER_J_L_K, WALL_J_K = 4230.0, 15_000.0
VESSEL_W_K, USUAL_L = 5.0, 20.0
"""From moved air into a vessel of 20 L; it grows with the vessel's surface."""
DOORWAY = Doorway(area_m2=0.6, height_m=1.1)
INSIDE, OUTSIDE = Air(10.0, 0.6), Air(25.0, 0.5)
SHORTEST, LONGEST = 0.4, 3.0
"""Of the delay for 20 L: two minutes to a quarter of an hour, where that is five minutes."""
PRESENT = (BatchPhase.RUNNING, BatchPhase.HELD)
ENDED = (BatchPhase.COMPLETE, BatchPhase.STOPPED, BatchPhase.ABORTED)


@cache
def patience(litres: float) -> float:
    """How much longer than 20 L this much beer stands an open door, 0.4 to 3; an empty chamber the least."""
    return min(LONGEST, max(SHORTEST, _warms_in(litres) / _warms_in(USUAL_L)))


def _warms_in(litres: float) -> float:
    """Seconds in which what is in a chamber warms by one kelvin with the door open."""
    through_door_w_k = heat_rate(DOORWAY, INSIDE, OUTSIDE) / (OUTSIDE.temperature_c - INSIDE.temperature_c)
    if litres <= 0.0:
        return WALL_J_K / through_door_w_k
    into_vessel_w_k: float = VESSEL_W_K * (litres / USUAL_L) ** (2.0 / 3.0)
    conductance_w_k = 1.0 / (1.0 / through_door_w_k + 1.0 / into_vessel_w_k)
    return (BEER_J_L_K * litres + WALL_J_K) / conductance_w_k


class Loads:
    """What the plant file says a chamber holds, until the last batch in it is known to have ended.

    A chamber that holds a temperature of its own, as a keg fridge does, is never thought to be empty.
    """

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self._batches: dict[str, tuple[str, BatchPhase]] = {}
        self._left: set[str] = set()

    def take(self, batch: BatchState) -> None:
        """Where a batch is, and whether it still runs."""
        before = self._batches.get(batch.batch)
        self._batches[batch.batch] = (batch.chamber, batch.phase)
        for chamber in {batch.chamber, before[0] if before is not None else batch.chamber}:
            phases = [phase for where, phase in self._batches.values() if where == chamber]
            ended = any(phase in ENDED for phase in phases) and not any(phase in PRESENT for phase in phases)
            (self._left.add if ended else self._left.discard)(chamber)

    def litres(self, chamber: str) -> float:
        """What stands there now; 0 when it is empty or no chamber."""
        found = self.plant.chambers.get(chamber)
        if found is None:
            return 0.0
        return 0.0 if chamber in self._left and found.hold_c is None else found.contents.volume_l
