"""Predictive switching: start so that the crest, and stop so that the trough, of the coming hours touches a narrow
band.

At every decision the model says how the beer goes on if nothing more is done (`coast`), and if cooling or heating
goes on
from now. Cooling ends when the trough of the coast reaches the band's lower edge, and begins when even cooling from
now on
cannot keep the crest below its upper edge; heating is the mirror image. So a crash runs at full power until what is
stored
in cold walls brings the beer just home, a ramp is met half-way, and one rule serves all. The band is as narrow as the
wished time between starts allows.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import sqrt
from typing import Any

import numpy as np

from services.supervisor.capacity import Wait, urgency
from services.supervisor.control import Decision, Estimate, Rules, Sight, Want
from services.supervisor.estimate import Estimator
from services.supervisor.identify import Outlook
from services.supervisor.model import (
    BATH,
    COAST,
    COOL,
    HEAT,
    JACKET,
    OFF,
    OUTER,
    PROBE,
    ROOM,
    TICK_S,
    YEAST,
    Array,
    Mode,
    shape_for,
)
from services.supervisor.reach import BathReach
from services.supervisor.unasked import Unasked


@dataclass(frozen=True, slots=True)
class Tuning:
    """One for all chambers. Bands in K, times in s."""

    cool_band_k: float = 0.03
    heat_band_k: float = 0.02
    pump_band_k: float = 0.03
    narrowest_k: float = 0.015
    widest_k: float = 0.12
    between_starts_s: float = 2400.0
    change_over_s: float = 2700.0
    frost_margin_k: float = 0.4
    look_s: float = 9000.0
    start_look_s: float = 3600.0
    crash_notice_s: float = 12 * 3600.0
    astray_k: float = 1.5
    astray_s: float = 300.0
    useful_bath_k: float = 1.0
    far_k: float = 1.0
    watch_s: float = 1800.0
    coast_fan_s: float = 420.0
    arrived_k: float = 0.45
    unsure_k: float = 0.6


_EVERY_S = 240.0
_REACH_EVERY_S = 60.0
_BY_ITSELF = "left to warm up by itself"
_LONG_AGO = -1e9
_LOST_S = 1800.0
"""After so long without a decision the states are taken anew from the readings."""


class BeerController:
    """Control of one chamber with beer in it: fridge, kegerator or jacketed vessel."""

    def __init__(self, rules: Rules, tuning: Tuning | None = None) -> None:
        self.rules = rules
        self.tuning = tuning or Tuning()
        self.shape = shape_for(rules)
        self.filter = Estimator(self.shape)
        self._pumped = rules.kind == "jacketed"
        self._outlook = Outlook(self.filter.learnt, 0.0 if self._pumped else rules.run_s)
        self._about: Array = self.filter.learnt.theta
        self._still: Mode = OFF if OFF in self.shape.modes else COAST
        self.band_k = self.tuning.pump_band_k if self._pumped else self.tuning.cool_band_k
        self._last: datetime | None = None
        self._clock_s = 0.0
        self._cooled_s = self._heated_s = self._started_s = _LONG_AGO
        self._was: Mode = self._still
        self._runs = 0
        self._wait = Wait()
        self._wished = False
        self._astray_s = 0.0
        self._sureness = 0.0
        self._reach: tuple[float | None, float, float] = (None, 0.0, 0.0)
        self._reached_s = _LONG_AGO
        self._unasked = Unasked() if self.shape.is_cabinet and rules.has_heater and rules.has_air_probe else None

    def decide(self, sight: Sight) -> Decision:
        """See `control.Controller`."""
        self._take_in(sight)
        if self.filter.fresh or self.filter.beer_sd_k > self.tuning.unsure_k:
            return Decision(0.0, 0.0, 0.0, 0.0, "no beer reading to go by", self._estimate(sight))
        if self.filter.learnt.theta is not self._about:
            self._about = self.filter.learnt.theta
            self._outlook = Outlook(self.filter.learnt, 0.0 if self._pumped else self.rules.run_s)
        cool, heat, why, demand = self._switch(sight)
        self._wished = cool or heat
        fan = cool or heat or self._is_fan_of_use(sight)
        return Decision(float(cool), float(heat), float(fan), demand, why, self._estimate(sight), self._want(sight))

    def _is_fan_of_use(self, sight: Sight) -> bool:
        """Brings what is stored to the beer: for some minutes, and until beer on its way down has all but arrived."""
        if self._clock_s - max(self._cooled_s, self._heated_s) < self.tuning.coast_fan_s:
            return True
        error = self.filter.beer_c - sight.setpoint_c
        if error <= self.tuning.arrived_k or self._heated_s > self._cooled_s:
            return False
        return float(self._errors(COAST, sight)[0]) < error

    def _take_in(self, sight: Sight) -> None:
        gap_s = self._gap(sight)
        if sight.beer_c is not None and (self.filter.fresh or gap_s > _LOST_S or self._astray_s > self.tuning.astray_s):
            self.filter.begin(sight.beer_c, sight.air_c, sight.ambient_c)
            self._last, self._astray_s = sight.now, 0.0
        if self._last is None or self.filter.fresh:
            return
        ticks = round(gap_s / TICK_S)
        if ticks > 0:
            self._pass_time(sight, ticks)
        elif ticks < 0:
            self._last = sight.now
        self._note(sight)

    def _pass_time(self, sight: Sight, ticks: int) -> None:
        seconds = ticks * TICK_S
        self._clock_s += seconds
        self._last = sight.now if self._last is None else self._last + timedelta(seconds=seconds)
        self._wait.pass_time(seconds, self._wished, sight.cooling_on or sight.heating_on)
        self.filter.pass_time(self._was, min(ticks, int(_LOST_S / TICK_S)))
        if self._unasked is not None:
            self._unasked.pass_time(self._was, ticks, self.filter)
        self.filter.see(sight.beer_c, None if sight.door_open else sight.air_c, sight.ambient_c, sight.bath_c)
        if sight.beer_c is not None:
            far = abs(float(self.filter.state[PROBE]) - sight.beer_c) >= self.tuning.astray_k
            self._astray_s = self._astray_s + seconds if far else 0.0

    def _gap(self, sight: Sight) -> float:
        return (sight.now - self._last).total_seconds() if self._last else 0.0

    def _note(self, sight: Sight) -> None:
        """Remembers what the outputs do from now on, and adapts the band at a start."""
        mode = self._mode(sight)
        if sight.cooling_on:
            if not self._was[0] and not self._pumped:
                self._adapt()
            self._cooled_s = self._clock_s
        if sight.heating_on:
            self._heated_s = self._clock_s
        self._was = mode

    def _mode(self, sight: Sight) -> Mode:
        if sight.cooling_on:
            return COOL
        if sight.heating_on:
            return HEAT
        return COAST if sight.fan_on and COAST in self.shape.modes else self._still

    def _adapt(self) -> None:
        """Widens the band when starts come too soon after each other, narrows it when there is time to spare."""
        self._runs += 1
        since = self._clock_s - self._started_s
        self._started_s = self._clock_s
        factor = min(1.3, max(0.8, self.tuning.between_starts_s / max(since, 1.0)))
        self.band_k = min(self.tuning.widest_k, max(self.tuning.narrowest_k, self.band_k * factor))

    def _errors(self, mode: Mode, sight: Sight) -> Array:
        """Predicted beer less setpoint, for staying in this mode."""
        beer = self._outlook.mean[mode] @ self.filter.state
        if sight.rate_k_per_h == 0.0:
            return np.asarray(beer - sight.setpoint_c)
        until = min(((at - sight.now).total_seconds() for at, _ in sight.ahead), default=1e9)
        ahead = np.minimum(self._outlook.seconds, max(0.0, until))
        return np.asarray(beer - sight.setpoint_c - sight.rate_k_per_h / 3600.0 * ahead)

    def _switch(self, sight: Sight) -> tuple[bool, bool, str, float]:
        coast = self._errors(COAST, sight)
        error = self.filter.beer_c - sight.setpoint_c
        demand = urgency(error, self._wait.waited_s)
        if sight.heating_on:
            return self._keep_heating(coast, demand) if sight.may_heat else (False, False, _BY_ITSELF, demand)
        if sight.cooling_on:
            return self._keep_cooling(coast, sight, demand)
        if self.rules.has_cooling and self._may_cool(coast, error, sight):
            return True, False, "would get too warm", demand
        if self.rules.has_heater and self._may_heat(coast, error, sight):
            return False, sight.may_heat, "would get too cold" if sight.may_heat else _BY_ITSELF, demand
        return False, False, "coasting", demand

    def _keep_cooling(self, coast: Array, sight: Sight, demand: float) -> tuple[bool, bool, str, float]:
        near = int(self.tuning.look_s / _EVERY_S)
        if not self._is_bath_useful(sight):
            return False, False, "bath not usefully colder", demand
        if self._trying(sight):
            return False, False, "watching what the first run does", demand
        if float(coast[:near].min()) <= -self.band_k:
            return False, False, "cold enough in store", demand
        if self._frost(sight, 0.0):
            return False, False, "outer beer near freezing", demand
        return True, False, "cooling", demand

    def _trying(self, sight: Sight) -> bool:
        """The first run of a compressor that nobody knows yet ends early; unless there is far to go."""
        unknown = not self._pumped and self._runs <= 1 and self.filter.beer_c - sight.setpoint_c < self.tuning.far_k
        return unknown and self._clock_s - self._started_s >= self.rules.run_s

    def _keep_heating(self, coast: Array, demand: float) -> tuple[bool, bool, str, float]:
        near = int(self.tuning.look_s / _EVERY_S)
        if float(coast[:near].max()) >= self.tuning.heat_band_k:
            return False, False, "warm enough in store", demand
        return False, True, "heating", demand

    def _frost(self, sight: Sight, more_k: float) -> bool:
        outer = self._outlook.outer[COAST][:10] @ self.filter.state
        return float(outer.min()) < sight.freezes_at_c + self.tuning.frost_margin_k + more_k

    def _may_cool(self, coast: Array, error: float, sight: Sight) -> bool:
        if self._clock_s - self._heated_s < self.tuning.change_over_s and error < 0.6:
            return False
        if sight.ready_in_s > 0.0 or not self._is_bath_useful(sight):
            return False
        if self._runs == 1 and error < self.tuning.far_k and self._clock_s - self._started_s < self.tuning.watch_s:
            return False
        near = int(self.tuning.start_look_s / _EVERY_S)
        crest = max(error, float(self._errors(COOL, sight)[:near].max()))
        if crest < self.band_k or float(coast[:near].min()) <= -self.band_k or self._frost(sight, 0.3):
            return False
        after = self._outlook.pulse @ self.filter.state - sight.setpoint_c
        return crest >= -float(after[:near].min())

    def _is_bath_useful(self, sight: Sight) -> bool:
        if not self._pumped or sight.bath_c is None:
            return True
        return sight.bath_c < self.filter.beer_c - self.tuning.useful_bath_k

    def _may_heat(self, coast: Array, error: float, sight: Sight) -> bool:
        if self._clock_s - self._cooled_s < self.tuning.change_over_s and error > -0.6:
            return False
        near, far = int(self.tuning.start_look_s / _EVERY_S), int(self.tuning.look_s / _EVERY_S)
        if float(coast[far]) >= -self.tuning.heat_band_k:
            return False
        return min(error, float(self._errors(HEAT, sight)[:near].min())) <= -self.tuning.heat_band_k

    def _estimate(self, sight: Sight) -> Estimate:
        if self.filter.fresh:
            return Estimate(None, 99.0, None, 0.0, 0.0)
        state, known = self.filter.state, self.filter
        if self._clock_s - self._reached_s >= _REACH_EVERY_S:
            self._sureness, self._reached_s = known.sureness, self._clock_s
            self._reach = self._how_cold(sight) if self.rules.has_cooling else self._reach
        beer_c, sd_k, outer_c, heat_w = known.beer_c, known.beer_sd_k, float(state[OUTER]), float(state[YEAST])
        unasked = self._unasked.share if self._unasked is not None else None
        return Estimate(beer_c, sd_k, outer_c, heat_w, self._sureness, *self._reach, unasked=unasked)

    def _how_cold(self, sight: Sight) -> tuple[float, float, float]:
        """degC, standard deviation and sureness of the coldest beer that can be held."""
        state, row, slope = self.filter.state.copy(), self._outlook.coldest, self._outlook.coldest_slope
        bath_sd_k, sure = 0.0, self._sureness
        if self._pumped and sight.bath_reach is not None:
            state[BATH], bath_sd_k = self._bath_at_rest(sight.bath_reach)
            sure = min(sure, sight.bath_reach.certainty)
        by_all = np.concatenate((row, slope @ state))
        if self._pumped:
            by_all[BATH] = 0.0
        variance = float(by_all @ self.filter.covariance @ by_all) + (float(row[BATH]) * bath_sd_k) ** 2
        return float(row @ state), sqrt(max(0.0, variance)), sure

    def _bath_at_rest(self, reach: BathReach) -> tuple[float, float]:
        """degC of the bath, and its standard deviation, when vessel and chiller have come to rest with each other."""
        row, state, p = self._outlook.coldest, self.filter.state, self.filter.learnt.parameters
        beer_at_0_c = float(row @ state) - float(row[BATH] * state[BATH])
        load_at_0_w = p["room_w_k"] * (float(state[ROOM]) - beer_at_0_c) + float(state[YEAST])
        eases_w_k = p["room_w_k"] * float(row[BATH])
        at_0_w = reach.at_5_w - 5.0 * reach.slope_w_k
        bath_c = max(reach.floor_c, (load_at_0_w - at_0_w) / (reach.slope_w_k + eases_w_k))
        return bath_c, reach.sd_k(load_at_0_w - eases_w_k * bath_c)

    def _want(self, sight: Sight) -> Want | None:
        """A bath cold enough for the yeast's heat and the room's at a third of the pump's time; as cold as can be to
        crash."""
        if not self._pumped:
            return None
        p = self.filter.learnt.parameters
        state = self.filter.state
        load = float(state[YEAST]) + p["room_w_k"] * (float(state[ROOM]) - sight.setpoint_c)
        through = p["jacket_w_k"] * p["flow_w_k"] / (p["jacket_w_k"] + p["flow_w_k"])
        drawn = p["flow_w_k"] * float(state[JACKET] - state[BATH]) if sight.cooling_on else 0.0
        soon = sight.now + timedelta(seconds=self.tuning.crash_notice_s)
        crash = [at for at, to in sight.ahead if to < sight.setpoint_c - 1.0 and at < soon]
        if self.filter.beer_c > sight.setpoint_c + 0.5:
            return Want(-99.0, sight.now, 1.0, drawn)
        if crash:
            return Want(-99.0, crash[0], 0.5, drawn)
        return Want(sight.setpoint_c - max(4.0, load / through * 3.0), sight.now, 0.3, drawn)

    def snapshot(self) -> Mapping[str, Any]:
        """See `control.Controller`."""
        return {"learnt": self.filter.lesson(), "band_k": self.band_k, "runs": self._runs}

    def restore(self, state: Mapping[str, Any]) -> None:
        """See `control.Controller`."""
        self.filter.recall(state["learnt"])
        self.band_k = min(self.tuning.widest_k, max(self.tuning.narrowest_k, float(state["band_k"])))
        self._runs = int(state["runs"])
