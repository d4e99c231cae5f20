"""A guided first run: each output is moved in turn, and the probes say whether the right one answers the right way.

A state machine that only wishes, like control: guards and interlocks stay in force, so what they hold back is
reported, not forced. It finds swapped relays, a probe in the wrong hole and an output that does nothing, and measures
lags and rates with their uncertainty.
"""

from datetime import datetime
from math import exp
from statistics import StatisticsError, fmean, linear_regression, stdev

from schemas.control import GuidedRun
from schemas.plant import Chamber, Point
from services.supervisor.findings import Commissioned, Trial, Verdict, sentence
from services.supervisor.knowledge import Known
from services.supervisor.roles import Bars
from services.supervisor.sides import Side, Temperatures, Watch, sides_of

QUIET_S = 300.0
"""How long the probes are watched with everything off, before each trial."""
LONGEST_QUIET_S = 2700.0
"""A chamber that has not come to rest in that time is tried as it is."""
DRIFT_DIES_S = 900.0
HELD_BACK_S = 1200.0
"""A trial that guards or interlocks have kept from starting for so long is given up."""
LONGEST_S = {Point.AIR: 1200.0, Point.BEER: 5400.0, Point.BATH: 3600.0}
"""How long each point is given to answer."""
ANSWER_K = {Point.AIR: 2.0, Point.BEER: 0.5, Point.BATH: 0.7}
CLEAR_K = {Point.AIR: 0.6, Point.BEER: 0.25, Point.BATH: 0.25}
"""A change that is no longer noise or the steps of a probe's number."""
ENOUGH_K = 0.4
"""A trial goes on after the answer, to measure heat, until the beer has moved so far or the time is over."""
AFTER_S = 2400.0
"""Watched at the end with everything off: what walls and evaporator still give tells how much heat was moved."""
FARTHEST_K = 1.0
"""The beer may get so much farther from its setpoint than it was; then control takes over."""
FASTER = 2.0
"""A probe meant to answer first must not be beaten by another by this factor."""
_FEWEST = 6
_QUIET_SHARE = 0.3


class Course:
    """A guided first run on its way. Hand it every look; `wish` is what it wants meanwhile."""

    def __init__(self, name: str, chamber: Chamber, who: str, now: datetime) -> None:
        self.name = name
        self.who = who
        self.began = now
        self.sides = sides_of(chamber)
        self.trials: list[Trial] = []
        self._quiet = Watch()
        self._tried = Watch()
        self._on_s: float | None = None
        self._asked_s: float | None = None
        self._waited_s: float | None = None
        self._idle_w: float | None = None
        self._busy_w: float | None = None
        self._now_s: float | None = None
        self._answered = False
        self._after_s: float | None = None
        self._off_k: float | None = None
        self._note = ""

    @property
    def tried(self) -> bool:
        """Whether everything has been tried, or something was found that must be put right first."""
        faulty = any(trial.verdict is Verdict.OPPOSITE for trial in self.trials)
        return faulty or len(self.trials) == len(self.sides)

    @property
    def done(self) -> bool:
        """Whether it is over."""
        answered = any(trial.verdict is Verdict.ANSWERED for trial in self.trials)
        return self.tried and (not answered or bool(self._note) or self._since(self._after_s) >= AFTER_S)

    @property
    def wish(self) -> tuple[float, float]:
        """Cooling and heating, 0 or 1."""
        if self.tried or self._asked_s is None:
            return 0.0, 0.0
        role = self.sides[len(self.trials)].role
        return float(role is Bars.COOL), float(role is Bars.HEAT)

    @property
    def outputs(self) -> tuple[str, ...]:
        """Those of the present trial; none when all is done."""
        return () if self.tried else self.sides[len(self.trials)].outputs

    def says(self) -> str:
        """One sentence on where it is."""
        if self.done:
            return "Guided first run: done."
        part = len(self.sides) if self.tried else len(self.trials)
        return f"Guided first run, part {part + 1} of {len(self.sides) + 1}: {self._doing_now()}."

    def progress(self) -> GuidedRun | None:
        """How far it is; None once it is done."""
        if self.done:
            return None
        parts, done = len(self.sides) + 1, len(self.trials)
        if self.tried:
            inner, done = self._since(self._after_s) / AFTER_S, parts - 1
        else:
            inner = _QUIET_SHARE * min(1.0, self._since(self._waited_s) / QUIET_S)
            inner += (1.0 - _QUIET_SHARE) * min(1.0, self._since(self._on_s) / LONGEST_S[self.sides[done].point])
        return GuidedRun(part=done + 1, parts=parts, doing=self._doing_now(), share=(done + inner) / parts)

    def _since(self, at_s: float | None) -> float:
        return 0.0 if at_s is None or self._now_s is None else self._now_s - at_s

    def _doing_now(self) -> str:
        if self.tried:
            return "watching what was stored"
        if self._asked_s is None:
            return "watching with everything off"
        return self.sides[len(self.trials)].doing() + ("" if self._on_s is not None else ", which waits for its turn")

    def look(
        self, now_s: float, temperatures: Temperatures, running: bool, power_w: float | None, off_k: float = 0.0
    ) -> None:
        """Takes one look in. `running`: the outputs of the present trial are really asked to run.

        `off_k` is how far the beer is from its setpoint; a trial itself is short, and has an end of its own.
        """
        if self.done:
            return
        self._now_s = now_s
        self._off_k = abs(off_k) if self._off_k is None else self._off_k
        if self._on_s is None and abs(off_k) > self._off_k + FARTHEST_K:
            self.stop(f"Stopped: the beer got {FARTHEST_K:g} K farther from its setpoint. Control takes over.")
        elif self.tried:
            self._after_s = now_s if self._after_s is None else self._after_s
        else:
            self._try(now_s, temperatures, running, power_w)

    def _try(self, now_s: float, temperatures: Temperatures, running: bool, power_w: float | None) -> None:
        side = self.sides[len(self.trials)]
        if self._asked_s is None:
            self._watch_quietly(now_s, temperatures, power_w)
        elif not running and self._on_s is None:
            if now_s - self._asked_s >= HELD_BACK_S:
                self._end(side, Verdict.HELD_BACK)
        elif not running:
            self._judge(side, now_s, over=True, cut=True)
        else:
            self._on_s = now_s if self._on_s is None else self._on_s
            self._busy_w = power_w
            self._tried.note(now_s, temperatures)
            self._judge(side, now_s, over=now_s - self._on_s >= LONGEST_S[side.point])

    def stop(self, note: str = "Stopped by a person.") -> None:
        """Ends it before its time: what was not tried is said so."""
        self._note = note
        for side in self.sides[len(self.trials) :]:
            self._end(side, Verdict.STOPPED)

    def result(self, now: datetime, model: tuple[Known, ...] = ()) -> Commissioned:
        """What was found; `model` is what is known of the chamber by now."""
        trials = tuple(self.trials)
        return Commissioned(
            chamber=self.name, who=self.who, began=self.began, ended=now, trials=trials, model=model, note=self._note
        )

    def _watch_quietly(self, now_s: float, temperatures: Temperatures, power_w: float | None) -> None:
        self._quiet.note(now_s, temperatures)
        self._idle_w = power_w
        self._waited_s = now_s if self._waited_s is None else self._waited_s
        if now_s - self._quiet.times_s[0] < QUIET_S or len(self._quiet.times_s) < _FEWEST:
            return
        if self._is_steady() or now_s - self._waited_s >= LONGEST_QUIET_S:
            self._asked_s = now_s
        else:
            self._quiet = Watch()

    def _is_steady(self) -> bool:
        side = self.sides[len(self.trials)]
        seen = self._quiet.values.get(side.probe)
        slope = linear_regression(self._quiet.times_s, seen).slope if seen else 0.0
        return abs(slope) * QUIET_S <= CLEAR_K[side.point] / 2.0

    def _judge(self, side: Side, now_s: float, over: bool, cut: bool = False) -> None:
        sign, clear_k = side.sign, CLEAR_K[side.point]
        moved = {name: sign * self._moved(name) for name in self._tried.values if name in self._quiet.values}
        mine = moved.get(side.probe, 0.0)
        other = max((name for name in moved if name != side.probe), key=lambda name: moved[name], default="")
        self._answered |= mine >= ANSWER_K[side.point]
        if self._answered:
            if over or side.beer is None or moved.get(side.beer, ENOUGH_K) >= ENOUGH_K:
                self._end(side, Verdict.ANSWERED)
        elif mine <= -clear_k:
            self._end(side, Verdict.OPPOSITE)
        elif other and moved[other] >= FASTER * max(mine, clear_k / 2.0 if over else clear_k):
            self._end(side, Verdict.OTHER_PROBE, other)
        elif over:
            self._end(side, Verdict.ANSWERED if mine >= clear_k else Verdict.HELD_BACK if cut else Verdict.SILENT)

    def _moved(self, probe: str) -> float:
        """How far a probe is from where its drift would have taken it; the mean of three looks against noise."""
        last = self._tried.values[probe][-3:]
        if len(last) < 3:
            return 0.0
        return fmean(last) - self._expected(probe, fmean(self._tried.times_s[-3:]))

    def _expected(self, probe: str, now_s: float) -> float:
        """Where its drift would have taken it: a drift dies away."""
        slope, intercept = linear_regression(self._quiet.times_s, self._quiet.values[probe])
        last_s = self._quiet.times_s[-1]
        return intercept + slope * (last_s + DRIFT_DIES_S * (1.0 - exp((last_s - now_s) / DRIFT_DIES_S)))

    def _end(self, side: Side, verdict: Verdict, other: str = "") -> None:
        lag = self._lag(side) if verdict is Verdict.ANSWERED else None
        rate = self._rate(side) if verdict is Verdict.ANSWERED else None
        power_w = self._busy_w - self._idle_w if self._busy_w is not None and self._idle_w is not None else None
        trial = Trial(
            does=side.doing(),
            outputs=side.outputs,
            probe=side.probe,
            verdict=verdict,
            lag_s=lag[0] if lag else None,
            lag_sd_s=lag[1] if lag else None,
            rate_k_per_h=rate[0] if rate else None,
            rate_sd_k_per_h=rate[1] if rate else None,
            power_w=power_w,
            says="",
        )
        self.trials.append(trial.model_copy(update={"says": sentence(trial, other)}))
        self._quiet, self._tried = Watch(), Watch()
        self._answered = False
        self._on_s = self._asked_s = self._waited_s = self._idle_w = self._busy_w = None

    def _lag(self, side: Side) -> tuple[float, float] | None:
        """Seconds until the answer was clear, and how sure that is: the time between two looks, and the noise."""
        sign, clear_k = side.sign, CLEAR_K[side.point]
        times, seen = self._tried.times_s, self._tried.values[side.probe]
        for now_s, value in zip(times, seen, strict=True):
            if sign * (value - self._expected(side.probe, now_s)) >= clear_k:
                step_s = (times[-1] - times[0]) / max(1, len(times) - 1)
                return now_s - (self._on_s or now_s), step_s
        return None

    def _rate(self, side: Side) -> tuple[float, float] | None:
        """K/h over the later half of the answer, less the drift before; its standard deviation from the scatter."""
        end = self._answer_ends(side)
        half = end // 2
        times, seen = self._tried.times_s[half:end], self._tried.values[side.probe][half:end]
        try:
            slope, intercept = linear_regression(times, seen)
            drift = linear_regression(self._quiet.times_s, self._quiet.values[side.probe]).slope
            scatter = stdev([value - intercept - slope * now_s for now_s, value in zip(times, seen, strict=True)])
        except StatisticsError:
            return None
        spread_s = stdev(times) * len(times) ** 0.5
        return (slope - drift) * 3600.0, scatter / spread_s * 3600.0

    def _answer_ends(self, side: Side) -> int:
        """How many looks it took until the answer was whole."""
        sign, looks = side.sign, enumerate(self._tried.values[side.probe])
        times, whole_k = self._tried.times_s, ANSWER_K[side.point]
        far = (k + 1 for k, value in looks if sign * (value - self._expected(side.probe, times[k])) >= whole_k)
        return max(_FEWEST, next(far, len(times)))
