"""What interlocks judge by: one chamber at one moment, in plain numbers."""

from dataclasses import dataclass
from math import inf


@dataclass(slots=True)
class Facts:
    """Temperatures are of good and fresh readings, None where there is none; `beer_c` of a reservoir is its bath.

    `source_c` is the bath that a jacketed vessel draws on. `..._on_s` and `..._off_s` say for how long all cooling or
    heating outputs have been asked to run, or have surely been off. `felt` is the air, or the beer where no air probe
    is. Changes are None until enough has been seen. `still_on` are the outputs that a device itself says are on though
    told off; `unasked` is the share of a heater's power that seems to be there all the same, None while nobody can
    tell. While `free_rise` the beer is left to warm up by itself, but kept above `kept_above_c` where that is
    said. `bath_wanted_c` is the coldest that a reservoir's vessels want by now, None when none does. `wished` is
    what control wants at this moment.
    """

    beer_c: float | None = None
    air_c: float | None = None
    source_c: float | None = None
    co2_ppm: float | None = None
    flow_l_min: float | None = None
    beer_lost: bool = False
    beer_doubtful: bool = False
    by_air: bool = False
    blind: bool = True
    setpoint_c: float | None = None
    tolerance_k: float = 0.5
    setpoint_cut: bool = False
    free_rise: bool = False
    kept_above_c: float | None = None
    floor_c: float = 0.0
    ceiling_c: float = 30.0
    air_ceiling_c: float = 45.0
    door_open_s: float = 0.0
    door_shut_s: float = inf
    door_pause_s: float = 900.0
    locked: bool = False
    level_low: bool = False
    source_low: bool = False
    cool_on_s: float = 0.0
    cool_off_s: float = 0.0
    heat_off_s: float = 0.0
    heated_in_hour_s: float = 0.0
    undrawn_s: float = inf
    bath_wanted_c: float | None = None
    cool_fall_k: float = 0.0
    cool_recovery_k: float = 0.0
    heat_rise_k: float = 0.0
    heat_recovery_k: float = 0.0
    felt_change_10min_k: float | None = None
    beer_change_30min_k: float | None = None
    beer_change_60min_k: float | None = None
    still_on: int = 0
    unasked: float | None = None
    wished: int = 0
    guarded: str = ""

    @property
    def held_c(self) -> float | None:
        """What is steered by: the beer, else the air where that is allowed."""
        return self.beer_c if self.beer_c is not None else self.air_c if self.by_air else None

    @property
    def off_k(self) -> float:
        """How far the beer is above the setpoint; 0 where either is not known."""
        return 0.0 if self.beer_c is None or self.setpoint_c is None else self.beer_c - self.setpoint_c

    @property
    def warmest_c(self) -> float | None:
        """The upper end of what is still well; None without a setpoint."""
        return None if self.setpoint_c is None else self.setpoint_c + self.tolerance_k

    @property
    def coldest_c(self) -> float | None:
        """The lower end of what is still well; None without a setpoint."""
        return None if self.setpoint_c is None else self.setpoint_c - self.tolerance_k
