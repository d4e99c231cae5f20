"""The trade's arithmetic: fast enough to be worked out while somebody watches, and right on every reference row."""

from collections.abc import Callable, Iterable
from time import perf_counter

from benchmarks.rows import Row, at_most

NAME = "arithmetic"

SEASON_MS = 5.0
ARRAY_NS = 200.0
STATES = 1_000_000
_REPEATS = 15


def run() -> Iterable[Row]:
    """A 21-day fermentation with heat, a million carbonation states, and the reference rows."""
    yield at_most(NAME, "season_solve_ms", 1e3 * _best(_season), "ms", SEASON_MS)
    yield _arrays()
    yield at_most(NAME, "reference_rows_failing", _failing(), "rows", 0.0)


def _season() -> float:
    from brewing.fermentation import Jacket, Wort, course
    from brewing.kinetics import STRAINS, Programme

    wort = Wort(volume_l=23.0, original_gravity=1.050, final_gravity=1.010)
    programme = Programme(((0.0, 17.0), (4.0, 17.0), (6.0, 20.0), (14.0, 20.0), (15.0, 2.0)))
    season = course(wort, STRAINS["ale"], 200e9, programme, 21.0, Jacket(start_c=18.0, ua_w_k=8.0))
    return season.total_heat_j + season.peak_heat()[1]


def _arrays() -> Row:
    import numpy

    from brewing.carbonation import PSI_PA, volumes, volumes_of_many

    temperatures = numpy.linspace(0.0, 20.0, STATES)
    gauges = numpy.linspace(5.0, 30.0, STATES) * PSI_PA
    one_by_one = 1e9 * _best(lambda: [volumes(4.0, 12.0 * PSI_PA) for _ in range(1000)]) / 1000.0
    each = 1e9 * _best(lambda: volumes_of_many(temperatures, gauges)) / STATES
    return at_most(NAME, "carbonation_array_ns_per_value", each, "ns", ARRAY_NS, one_by_one, each / one_by_one)


def _failing() -> float:
    from tests.reference.evaluation import failing

    return float(sum(1 for _ in failing()))


def _best(work: Callable[[], object]) -> float:
    """Seconds of the fastest of several runs: what the work costs when nothing else has the processor."""
    times = []
    for _ in range(_REPEATS):
        begun = perf_counter()
        work()
        times.append(perf_counter() - begun)
    return min(times)
