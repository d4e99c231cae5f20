"""How close the beer is kept to its programme, on plants that differ, with one tuning (terms: `control_figures`).

Beside it run a two-point thermostat and the fastest crash that the plant can do; an optimiser that knows the true model
and state is kept in `control_bound.json`.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import nan
from multiprocessing import Pool
from statistics import median

from benchmarks.control_bound import fastest_h, load
from benchmarks.control_cost import Cost, measure
from benchmarks.control_figures import SEEDS, Judged, Verdict, judge
from benchmarks.control_plants import CASES, Case
from benchmarks.control_policy import Predictive
from benchmarks.control_runs import Run, Thermostat
from benchmarks.control_runs import run as run_plant
from benchmarks.rows import Row, at_most

NAME = "control"
_DECISIONS_PER_MINUTE = 6


@dataclass(frozen=True, slots=True)
class Compared:
    """One plant and seed: ours, the thermostat's, the optimiser's (None where none is kept), the fastest crash."""

    case: Case
    ours: Verdict
    thermostat: Verdict
    bound_rms_k: dict[str, float] | None
    fastest_h: dict[str, float]

    def beers(self) -> Iterator[tuple[str, Judged, Judged]]:
        """Each judged chamber, ours and the thermostat's."""
        for name, judged in self.ours.chambers.items():
            yield name, judged, self.thermostat.chambers[name]


def _both(case_seed: tuple[int, int]) -> tuple[Verdict, Verdict, dict[str, float]]:
    case, seed = CASES[case_seed[0]], case_seed[1]
    ours = Run(case, seed, Predictive(case, seed))
    ours.until(case.crash_h)
    fastest = fastest_h(ours)
    ours.until(case.hours)
    return judge(case, ours.outcome()), judge(case, run_plant(case, seed, Thermostat)), fastest


def compare(processes: int | None = None) -> list[Compared]:
    """Every plant and seed."""
    kept = load()
    jobs = [(index, seed) for index in range(len(CASES)) for seed in SEEDS]
    with Pool(processes) as pool:
        verdicts = pool.map(_both, jobs, chunksize=1)
    found = []
    for (index, seed), (ours, thermostat, fastest) in zip(jobs, verdicts, strict=True):
        bound = kept.get((CASES[index].name, seed), {}).get("hold_rms_k")
        found.append(Compared(CASES[index], ours, thermostat, bound, fastest))
    return found


def run() -> Iterable[Row]:
    """All figures; median and worst are over plants, chambers and seeds."""
    yield from figures(compare())
    yield from cost_figures(measure())


def figures(found: list[Compared]) -> Iterator[Row]:
    """The rows. Goals stand here and nowhere else."""
    beers = [(each, name, ours, theirs) for each in found for name, ours, theirs in each.beers()]
    over = [ours.hold_rms_k / theirs.hold_rms_k for _, _, ours, theirs in beers]
    ours_rms, theirs_rms = median(b[2].hold_rms_k for b in beers), median(b[3].hold_rms_k for b in beers)
    yield at_most(NAME, "hold_rms_over_thermostat_median", median(over), "1", 0.10, theirs_rms, ours_rms / theirs_rms)
    yield at_most(NAME, "hold_rms_over_thermostat_worst", max(over), "1", 0.20)
    bounded = [ours.hold_rms_k / each.bound_rms_k[name] for each, name, ours, _ in beers if each.bound_rms_k]
    every = len(bounded) == len(beers) // len(SEEDS)
    yield at_most(NAME, "hold_rms_over_bound_median", median(bounded) if every else nan, "1", 4.0)
    yield at_most(NAME, "hold_max_k_worst", max(b[2].hold_max_k for b in beers), "K", 0.25)
    yield at_most(NAME, "ramp_overshoot_k_worst", max(b[2].ramp_overshoot_k for b in beers), "K", 0.20)
    under = [b[2].crash_undershoot_k for b in beers]
    yield at_most(NAME, "crash_undershoot_k_median", median(under), "K", 0.10)
    yield at_most(NAME, "crash_undershoot_k_worst", max(under), "K", 0.30)
    yield at_most(NAME, "frozen_minutes", sum(b[2].frozen_minutes for b in beers), "min", 0.0)
    late = [ours.crash_h / each.fastest_h[name] for each, name, ours, _ in beers]
    yield at_most(NAME, "crash_time_over_fastest_median", median(late), "1", 1.03)
    yield at_most(NAME, "crash_time_over_fastest_worst", max(late), "1", 1.08)
    yield from _machines(found)
    yield at_most(NAME, "heat_cool_fights", sum(b[2].fights for b in beers), "1", 0.0)


def _machines(found: list[Compared]) -> Iterator[Row]:
    starts = [each.ours.starts_per_hour for each in found]
    theirs = median(each.thermostat.starts_per_hour for each in found)
    yield at_most(NAME, "starts_per_hour_median", median(starts), "1/h", 0.8, theirs)
    yield at_most(NAME, "starts_per_hour_worst", max(starts), "1/h", 2.0)
    kwh = [each.ours.kwh / each.thermostat.kwh for each in found]
    baseline = median(each.thermostat.kwh for each in found)
    yield at_most(NAME, "kwh_over_thermostat_median", median(kwh), "1", 0.65, baseline)
    yield at_most(NAME, "short_rests", sum(each.ours.short_rests for each in found), "1", 0.0)


def cost_figures(cost: Cost) -> Iterator[Row]:
    """Control and interlocks together, in the supervisor itself; the share is of a decision every ten seconds."""
    yield at_most(NAME, "decision_cpu_ms_per_chamber_minute", cost.decision_ms_per_chamber_minute, "ms", 0.5)
    yield at_most(NAME, "core_share_of_100_chambers", cost.share_of_a_core, "1", 0.01)
