"""Whether gravity falls, rests where it should, or has come to rest too soon."""

from random import Random

import pytest

from brewing.errors import OutOfRange
from brewing.forecast import Expectation, Reading
from brewing.kinetics import STRAINS
from brewing.stall import Pace, progress

EXPECTED = Expectation(1.050, 1.010, STRAINS["ale"], 0.08)


def line(start: float, fall_per_day: float, first: float, last: float, noise: float = 0.0005) -> list[Reading]:
    random, count = Random(3), int((last - first) * 8.0) + 1
    days = [first + n / 8.0 for n in range(count)]
    return [Reading(day, start - fall_per_day * (day - first) + random.gauss(0.0, noise)) for day in days]


CASES = [
    (line(1.050, 0.0, 0.0, 1.5), 1.5, Pace.LAGGING),
    (line(1.050, 0.0, 0.0, 4.0), 4.0, Pace.STALLED),
    (line(1.040, 0.012, 1.0, 3.0), 3.0, Pace.FERMENTING),
    (line(1.016, 0.002, 3.0, 6.0), 6.0, Pace.FERMENTING),
    (line(1.011, 0.0, 5.0, 9.0), 9.0, Pace.OVER),
    (line(1.008, 0.0, 5.0, 9.0), 9.0, Pace.OVER),
    (line(1.022, 0.0, 5.0, 9.0), 9.0, Pace.STALLED),
]


@pytest.mark.parametrize(("given", "day", "pace"), CASES)
def test_the_pace_is_what_a_brewer_would_say(given: list[Reading], day: float, pace: Pace) -> None:
    assert progress(given, EXPECTED, day).pace is pace


def test_a_stall_says_how_far_above_its_end_it_rests() -> None:
    said = progress(line(1.022, 0.0, 5.0, 9.0, noise=0.0), EXPECTED, 9.0)
    assert said.why == "at rest at 1.0220, 0.012 above the expected 1.010"
    assert said.gravity == pytest.approx(1.022)


@pytest.mark.parametrize("given", [[], [Reading(4.0, 1.020)], line(1.020, 0.0, 4.5, 5.0)])
def test_too_few_readings_tell_nothing(given: list[Reading]) -> None:
    assert progress(given, EXPECTED, 5.0).pace is Pace.UNKNOWN


def test_old_readings_do_not_count() -> None:
    assert progress(line(1.022, 0.0, 1.0, 5.0), EXPECTED, 9.0).pace is Pace.UNKNOWN


def test_readings_that_scatter_too_much_are_no_stall() -> None:
    assert progress(line(1.024, 0.0, 5.0, 7.0, noise=0.006), EXPECTED, 7.0).pace is Pace.UNKNOWN


@pytest.mark.parametrize("seed_day", [5.0, 6.0, 7.0])
def test_a_batch_that_creeps_is_not_called_stalled(seed_day: float) -> None:
    """A slow end of 0.001 a day, read to 0.0003."""
    assert progress(line(1.016, 0.0012, 3.0, seed_day, noise=0.0003), EXPECTED, seed_day, reading_sg=0.0003).pace is (
        Pace.FERMENTING
    )


@pytest.mark.parametrize(("day", "window"), [(float("nan"), 2.0), (-1.0, 2.0), (5.0, 0.0)])
def test_a_moment_that_cannot_be_is_refused(day: float, window: float) -> None:
    with pytest.raises(OutOfRange):
        progress([], EXPECTED, day, window)
