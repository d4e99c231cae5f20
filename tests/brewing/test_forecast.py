"""Forecasts from gravity readings: of our own kinetics, and of a published model that knows nothing of them."""

from random import Random

import pytest

from brewing import gravity, lager_kinetics
from brewing.errors import OutOfRange
from brewing.fermentation import Course, Wort, course, inoculum_share
from brewing.forecast import READING_SG, Expectation, Reading, fit
from brewing.kinetics import STRAINS, Programme

WORT = Wort(volume_l=19.0, original_gravity=1.050, final_gravity=1.012)
CELLS = 160e9
PROGRAMME = Programme(((0.0, 18.0), (4.0, 18.0), (6.0, 21.0)))
EXPECTED = Expectation(1.050, 1.010, STRAINS["ale"], inoculum_share(WORT, CELLS))


def batch(rate: float = 1.3, lag_h: float = 14.0) -> Course:
    return course(WORT, STRAINS["ale"]._replace(rate=rate, lag_h=lag_h), CELLS, PROGRAMME)


def readings(true: Course, until: float, seed: int = 1, noise: float = READING_SG) -> list[Reading]:
    random = Random(seed)
    return [Reading(n / 4.0, true.at(n / 4.0).gravity + random.gauss(0.0, noise)) for n in range(int(until * 4.0) + 1)]


def end_of(true: Course) -> float:
    return next(moment.day for moment in true.moments() if moment.gravity <= WORT.final_gravity + 0.001)


def test_without_readings_the_forecast_is_what_was_expected() -> None:
    fitted = fit([], EXPECTED, PROGRAMME)
    assert fitted.final_gravity == pytest.approx(1.010, abs=1e-6)
    assert fitted.strain.rate == pytest.approx(STRAINS["ale"].rate)


def test_many_good_readings_give_the_kinetics_back() -> None:
    fitted = fit(readings(batch(), 12.0, noise=0.0001), EXPECTED, PROGRAMME, reading_sg=0.0001)
    assert fitted.strain.rate == pytest.approx(1.3, rel=0.06)
    assert fitted.strain.lag_h == pytest.approx(14.0, rel=0.15)
    assert fitted.final_gravity == pytest.approx(1.012, abs=0.0002)


@pytest.mark.parametrize("until", [1.5, 3.0, 5.0])
def test_the_band_holds_the_truth_about_as_often_as_it_says(until: float) -> None:
    """90 % bands over 40 batches whose pace, lag and end differ from what was expected."""
    random, held = Random(7), 0
    for seed in range(40):
        true = batch(1.8 * 2.0 ** random.gauss(0.0, 0.5), 10.0 * 2.0 ** random.gauss(0.0, 0.5))
        said = fit(readings(true, until, seed), EXPECTED, PROGRAMME).at(until + 1.5)
        held += said.low <= true.at(until + 1.5).gravity <= said.high
    assert held >= 33


def test_more_readings_narrow_the_band_and_sharpen_the_end() -> None:
    fits = [fit(readings(batch(), until), EXPECTED, PROGRAMME) for until in (1.0, 3.0, 6.0)]
    widths = [fitted.at(8.0).high - fitted.at(8.0).low for fitted in fits]
    assert widths[0] > widths[1] > widths[2]
    ends = [abs((fitted.end().day or 99.0) - end_of(batch())) for fitted in fits]
    assert ends[2] < 0.75


def test_a_curve_is_its_days_one_by_one() -> None:
    fitted = fit(readings(batch(), 3.0), EXPECTED, PROGRAMME)
    days = [0.0, 1.0, 3.5, 9.0]
    for whole, single in zip(fitted.curve(days), map(fitted.at, days), strict=True):
        assert whole == pytest.approx(single, abs=1e-5)


def test_one_reading_out_of_the_world_hardly_moves_the_forecast() -> None:
    good = readings(batch(), 5.0)
    spoilt = [*good[:10], Reading(good[10].day, good[10].gravity + 0.015), *good[11:]]
    clean, dirty = (fit(given, EXPECTED, PROGRAMME) for given in (good, spoilt))
    assert dirty.at(6.0).gravity == pytest.approx(clean.at(6.0).gravity, abs=0.0008)
    assert dirty.final_gravity == pytest.approx(clean.final_gravity, abs=0.001)


@pytest.mark.parametrize("temperature_c", [8.0, 10.0, 12.0, 14.0])
def test_a_published_lager_is_forecast_within_its_band(temperature_c: float) -> None:
    """Sugar curves of de Andres-Toro et al. 1998, brought to the gravities of a 1.050 wort; four days of readings."""
    original, final = gravity.plato(1.050), gravity.plato(1.012)
    states = {n / 2.0: lager_kinetics.after(n * 12.0, temperature_c) for n in range(21)}
    true = {d: gravity.specific_gravity(final + (original - final) * s.sugar / 130.0) for d, s in states.items()}
    expected = Expectation(1.050, 1.012, STRAINS["lager"], 0.2)
    fitted = fit([Reading(*one) for one in true.items() if one[0] <= 4.0], expected, Programme.steady(temperature_c))
    end = fitted.end()
    assert max(abs(fitted.at(day).gravity - sg) for day, sg in true.items()) < 0.0035
    assert end.earliest is not None
    assert end.latest is not None
    assert end.earliest <= next(day for day, sg in true.items() if sg <= 1.013) <= end.latest


def test_in_the_cold_the_end_is_never() -> None:
    end = fit(readings(batch(), 2.0), EXPECTED, Programme(((0.0, 18.0), (2.0, 18.0), (2.5, 3.0)))).end()
    assert end.day is None
    assert end.latest is None


def test_the_fitted_strain_runs_the_full_model_to_the_same_gravities() -> None:
    fitted = fit(readings(batch(), 6.0), EXPECTED, PROGRAMME)
    full = course(WORT._replace(final_gravity=fitted.final_gravity), fitted.strain, CELLS, PROGRAMME)
    for day in (1.0, 3.0, 5.0, 9.0):
        assert full.at(day).gravity == pytest.approx(fitted.at(day).gravity, abs=0.001)


@pytest.mark.parametrize(
    "reading", [Reading(1.0, 1.080), Reading(1.0, float("nan")), Reading(-1.0, 1.05), Reading(1.0, 0.5)]
)
def test_a_reading_that_cannot_be_of_this_beer_is_refused(reading: Reading) -> None:
    with pytest.raises(OutOfRange):
        fit([reading], EXPECTED, PROGRAMME)


def test_an_end_above_the_beginning_is_refused() -> None:
    with pytest.raises(OutOfRange, match="final_gravity"):
        fit([], EXPECTED._replace(final_gravity=1.060), PROGRAMME)
