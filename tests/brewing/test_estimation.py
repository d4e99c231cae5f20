"""Estimation, against numpy's linear algebra and scipy's optimiser."""

import numpy
import pytest
from scipy.optimize import least_squares

from brewing.estimation import Prior, estimate, inverse

DAYS = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]


def decay(values: list[float]) -> list[float]:
    return [values[0] * 2.0 ** (-values[1] * day) + values[2] for day in DAYS]


PRIOR = Prior([1.0, 0.8, 0.0], [0.5, 0.5, 0.2])
READ = [1.31, 0.79, 0.52, 0.33, 0.25, 0.18]


def test_the_inverse_is_the_librarys() -> None:
    matrix = [[4.0, 1.0, 0.5], [1.0, 3.0, 0.2], [0.5, 0.2, 2.0]]
    assert numpy.allclose(inverse(matrix), numpy.linalg.inv(numpy.array(matrix)), atol=1e-14)


def test_a_general_optimiser_comes_to_the_same_values() -> None:
    """scipy's least_squares on the same residuals, none of which is an outlier."""

    def residuals(values: numpy.ndarray) -> numpy.ndarray:
        of_readings = (numpy.array(READ) - decay(list(values))) / 0.05
        return numpy.concatenate([of_readings, (values - PRIOR.centre) / PRIOR.deviation])

    ours = estimate(decay, READ, PRIOR, 0.05)
    assert ours.scatter == 0.05
    assert ours.values == pytest.approx(least_squares(residuals, PRIOR.centre).x, abs=1e-5)


def test_without_readings_the_prior_stands() -> None:
    ours = estimate(lambda values: [], [], PRIOR, 0.05)
    assert ours.values == PRIOR.centre
    assert ours.deviation(lambda values: values[1]) == pytest.approx(0.5)


def test_readings_that_scatter_more_than_they_should_are_trusted_less() -> None:
    scattered = [one + 0.2 * (-1.0) ** n for n, one in enumerate(READ)]
    assert estimate(decay, scattered, PRIOR, 0.01).scatter > 0.1


def test_an_outlier_counts_for_little() -> None:
    spoilt = [*READ[:3], READ[3] + 1.0, *READ[4:]]
    clean, dirty = (estimate(decay, read, PRIOR, 0.05).values for read in (READ, spoilt))
    assert dirty[1] == pytest.approx(clean[1], abs=0.12)
