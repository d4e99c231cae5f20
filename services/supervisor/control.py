"""The door to control: what a chamber's controller is told, what it answers, and how it is built.

A controller only wishes. Guards (rest, run, change-over) and interlocks are applied to its decision afterwards; it
is told
what really became of it in the next `Sight`, and plans with the same rests and runs that the guards enforce.
`services.supervisor.controllers.controller_for(rules)` builds the right one.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol

if TYPE_CHECKING:
    from services.supervisor.reach import BathReach  # which stands on the model, and that on this

Waypoint = tuple[datetime, float]


@dataclass(frozen=True, slots=True)
class Rules:
    """What the plant file says of one chamber. Powers in W are electrical and None where nobody has said.

    `kind` is `fridge`, `kegerator`, `jacketed` or `reservoir`. `rest_s` and `run_s` are of the compressor.
    `volume_l` is
    of beer or coolant. `strapped`: the beer probe is on the vessel's wall, not in a well. `coolant_freezes_at_c` is
    that
    of the reservoir's coolant, for the reservoir itself and for the vessels on it; None if unknown.
    """

    kind: str
    volume_l: float
    has_cooling: bool = True
    has_heater: bool = False
    has_fan: bool = False
    has_air_probe: bool = False
    strapped: bool = False
    rest_s: float = 300.0
    run_s: float = 180.0
    cooling_power_w: float | None = None
    heater_power_w: float | None = None
    coolant_freezes_at_c: float | None = None


class Sight(NamedTuple):
    """What is known at a decision. Temperatures are of good readings, and None where there is none.

    `cooling_on` (compressor, or the pump of a jacketed vessel) and `heating_on` are what the outputs do now, after
    guards.
    `ready_in_s` is how long the compressor must still rest. `rate_k_per_h` is the slope of the setpoint; `ahead` are
    its
    coming waypoints, joined by straight lines from `setpoint_c` now; with none, it goes on as it is. `beer_c` is the
    bath
    for a reservoir. `wants` are the demands of the vessels on this reservoir, `bath_c` the reservoir's bath for a
    vessel, and `bath_reach` what that can be held at. Without `may_heat` the beer is left to warm up by itself.
    """

    now: datetime
    setpoint_c: float
    beer_c: float | None = None
    air_c: float | None = None
    bath_c: float | None = None
    ambient_c: float | None = None
    door_open: bool = False
    cooling_on: bool = False
    heating_on: bool = False
    fan_on: bool = False
    ready_in_s: float = 0.0
    rate_k_per_h: float = 0.0
    ahead: tuple[Waypoint, ...] = ()
    freezes_at_c: float = -2.0
    wants: tuple["Want", ...] = ()
    may_heat: bool = True
    bath_reach: "BathReach | None" = None


class Want(NamedTuple):
    """What a vessel asks of its reservoir: a bath no warmer than `bath_c` at `by`; `hurt` 0..1 if it is.

    `load_w` is the heat that it puts into the bath at this moment.
    """

    bath_c: float
    by: datetime
    hurt: float
    load_w: float = 0.0


class Estimate(NamedTuple):
    """What the controller believes: mean beer with its standard deviation, its coldest layer, heat set free in it (W).

    `sureness` 0..1 says how well the chamber's model has been learnt (0: defaults). `reaches_c` is the coldest beer
    or bath that the chamber can hold as things are, with its standard deviation; None while nobody can tell. `bath` is
    of a reservoir: what its vessels can count on. `unasked` is the share of the heater's power that seems to be there
    although it was told off, None while nothing can be said.
    """

    beer_c: float | None
    beer_sd_k: float
    outer_c: float | None
    heat_w: float
    sureness: float
    reaches_c: float | None = None
    reach_sd_k: float = 0.0
    reach_sureness: float = 0.0
    bath: "BathReach | None" = None
    unasked: float | None = None


class Decision(NamedTuple):
    """Wished levels 0..1. `demand` 0..1 is how much it would hurt to wait; `want` is asked of the reservoir by a
    vessel."""

    cool: float
    heat: float
    fan: float
    demand: float
    why: str
    estimate: Estimate
    want: Want | None = None


class Controller(Protocol):
    """One chamber's control. Call `decide` about every 10 s; it takes the sight in and answers at once."""

    def decide(self, sight: Sight) -> Decision:
        """The wish for the time until the next call."""
        ...

    def snapshot(self) -> Mapping[str, Any]:
        """What has been learnt, as plain JSON data."""
        ...

    def restore(self, state: Mapping[str, Any]) -> None:
        """Goes on from a `snapshot`; states that may have changed meanwhile are taken as unsure."""
        ...
