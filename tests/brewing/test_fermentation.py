"""Fermentation: balances that close, an independent solver, and what the trade knows."""

import numpy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from brewing import fermentation_heat, gravity
from brewing.errors import OutOfRange
from brewing.fermentation import Jacket, Wort, course, inoculum_share
from brewing.kinetics import STRAINS, Programme, speed

WORT = Wort(volume_l=19.0, original_gravity=1.050, final_gravity=1.010)
CELLS = 177e9
ALE = STRAINS["ale"]
STEADY = Programme.steady(18.0)
CLOSED = 1e-6


@settings(max_examples=40)
@given(
    st.floats(1.030, 1.100),
    st.floats(0.6, 0.85),
    st.floats(5.0, 500.0),
    st.sampled_from(sorted(STRAINS)),
    st.floats(8.0, 30.0),
    st.floats(0.0, 20.0),
)
def test_mass_co2_and_energy_close_for_any_batch(
    original: float, attenuated: float, volume_l: float, strain: str, around_c: float, ua_w_k: float
) -> None:
    wort = Wort(volume_l, original, gravity.final_gravity_for(original, 100.0 * attenuated))
    for jacket in (None, Jacket(start_c=20.0, ua_w_k=ua_w_k)):
        balance = course(wort, STRAINS[strain], 1e10 * volume_l, Programme.steady(around_c), 14.0, jacket).balance()
        assert max(abs(part) for part in balance) < CLOSED


def test_the_balances_close_through_a_programme_of_holds_and_ramps() -> None:
    programme = Programme(((0.0, 17.0), (4.0, 17.0), (5.0, 21.0), (10.0, 21.0), (11.0, 1.0)))
    assert max(abs(part) for part in course(WORT, ALE, CELLS, programme).balance()) < CLOSED


def test_a_general_solver_comes_to_the_same_course() -> None:
    """scipy's LSODA on the equations of the module's docstring, written out once more; beer that warms itself."""
    jacket, room_c = Jacket(start_c=17.0, ua_w_k=1.5), 16.0
    fermentable, inoculum, mass = WORT.fermentable, inoculum_share(WORT, CELLS), WORT.mass_kg

    def slopes(_: float, state: numpy.ndarray) -> list[float]:
        gone, awake, beer_c = state
        pace = speed(float(beer_c), ALE)
        rate = ALE.rate * pace * (gone + inoculum * awake) * (1.0 - gone)
        heat_w = rate * fermentable * mass * 587_000.0 / 86_400.0
        warming = (heat_w - jacket.ua_w_k * (beer_c - room_c)) * 86_400.0 / (mass * 4050.0)
        return [rate, pace * (1.0 - awake) * 24.0 / ALE.lag_h, warming]

    days = numpy.linspace(0.0, 21.0, 43)
    solved = solve_ivp(slopes, (0.0, 21.0), [0.0, 0.0, 17.0], method="LSODA", t_eval=days, rtol=1e-10, atol=1e-12)
    ours = course(WORT, ALE, CELLS, Programme.steady(room_c), jacket=jacket)
    for day, gone, _, beer_c in zip(days, *solved.y, strict=True):
        state = ours.states[round(day * 12)]
        assert 1.0 - state.extract / fermentable == pytest.approx(gone, abs=2e-4)
        assert state.temperature_c == pytest.approx(beer_c, abs=5e-3)


def test_it_ends_with_the_alcohol_that_the_gravities_say() -> None:
    end = course(WORT, ALE, CELLS, STEADY).at(21.0)
    said = gravity.strength(1.050, 1.010)
    assert end.gravity == pytest.approx(1.010, abs=1e-5)
    assert end.alcohol_by_volume == pytest.approx(said.alcohol_by_volume, abs=1e-3)
    assert end.attenuation == pytest.approx(gravity.apparent_attenuation(1.050, 1.010), abs=0.01)


def test_the_heat_in_all_is_that_of_the_extract_fermented() -> None:
    worked = course(WORT, ALE, CELLS, STEADY)
    assert worked.total_heat_j == pytest.approx(587_000.0 * WORT.fermentable * WORT.mass_kg, rel=1e-4)


def test_the_extract_fermented_agrees_with_the_fall_of_real_extract() -> None:
    """Balling's balance counts the gas and yeast that leave; the plain fall is up to 3 % less at 12 degP."""
    beer = gravity.strength(1.050, 1.010)
    assert WORT.fermentable == pytest.approx((beer.original_extract - beer.real_extract) / 100.0, rel=0.03)


def test_gravity_only_falls_and_heat_is_never_taken() -> None:
    moments = course(WORT, ALE, CELLS, STEADY).moments()
    assert all(later.gravity <= earlier.gravity for earlier, later in zip(moments, moments[1:], strict=False))
    assert min(moment.heat_w for moment in moments) >= 0.0


@pytest.mark.parametrize(
    ("strain", "temperature_c", "soonest", "latest"), [("ale", 20.0, 2.5, 7.0), ("lager", 11.0, 5.0, 14.0)]
)
def test_main_fermentation_takes_as_long_as_brewers_say(
    strain: str, temperature_c: float, soonest: float, latest: float
) -> None:
    """Common practice, no source: ale three to seven days, lager one to two weeks."""
    cells = STRAINS[strain].cells_per_ml_plato * 12.4 * 19_000.0
    day = course(WORT, STRAINS[strain], cells, Programme.steady(temperature_c)).day_when_fermented()
    assert day is not None
    assert soonest < day < latest


def test_warmer_beer_ferments_and_clears_sooner() -> None:
    cool, warm = (course(WORT, ALE, CELLS, Programme.steady(at), 30.0) for at in (16.0, 21.0))
    assert (warm.day_when_fermented() or 99.0) < (cool.day_when_fermented() or 99.0)
    assert (warm.day_when_clean() or 99.0) < (cool.day_when_clean() or 99.0)


def test_more_yeast_begins_sooner() -> None:
    little, much = (course(WORT, ALE, cells, STEADY) for cells in (CELLS / 2.0, CELLS * 2.0))
    assert (much.day_when_fermented(0.5) or 99.0) < (little.day_when_fermented(0.5) or 99.0)


def test_a_diketone_rest_clears_a_lager_sooner() -> None:
    cold = Programme.steady(10.0)
    rest = Programme(((0.0, 10.0), (6.0, 10.0), (7.0, 16.0)))
    days = [course(WORT, STRAINS["lager"], 350e9, programme, 40.0).day_when_clean() for programme in (cold, rest)]
    assert days[0] is not None
    assert days[1] is not None
    assert days[1] < days[0] - 1.0


def test_diketones_rise_and_fall_as_published_for_lager() -> None:
    """A published lager model peaks near 0.9 mg/L: ours within a factor of two, and below taste in the end."""
    worked = course(WORT, STRAINS["lager"], 350e9, Programme.steady(11.0), 30.0)
    levels = [moment.diketones_mg_l for moment in worked.moments()]
    assert 0.45 < max(levels) < 1.8
    assert levels[-1] < 0.1


def test_beer_that_is_too_cold_never_ferments() -> None:
    worked = course(WORT, ALE, CELLS, Programme.steady(4.0))
    assert worked.day_when_fermented() is None
    assert worked.peak_heat()[1] == 0.0


def test_beer_left_alone_warms_above_the_room() -> None:
    worked = course(WORT, ALE, CELLS, STEADY, jacket=Jacket(start_c=18.0, ua_w_k=1.0))
    assert 20.0 < max(state.temperature_c for state in worked.states) < 18.0 + 12.0


def test_insulated_beer_rises_by_no_more_than_the_adiabatic_limit() -> None:
    worked = course(WORT, ALE, CELLS, STEADY, 30.0, Jacket(start_c=18.0, ua_w_k=0.0))
    limit = 587_000.0 * WORT.fermentable / 4050.0
    assert worked.states[-1].temperature_c - 18.0 == pytest.approx(limit, rel=1e-3)


def test_finer_steps_change_nothing_that_can_be_read() -> None:
    worked = course(WORT, ALE, CELLS, STEADY, 2.0)
    fine = worked.states[0]
    for n in range(96):
        fine = worked.model.after(n / 48.0, 1.0 / 48.0, fine)
    assert worked.states[-1].extract == pytest.approx(fine.extract, rel=1e-4)
    assert worked.states[-1].diketones == pytest.approx(fine.diketones, rel=1e-3)


@pytest.mark.parametrize(
    ("wort", "cells", "days", "argument"),
    [
        (Wort(19.0, 1.050, 1.060), CELLS, 21.0, "final_gravity"),
        (Wort(0.0, 1.050, 1.010), CELLS, 21.0, "volume_l"),
        (Wort(19.0, 1.050, 1.010), 0.0, 21.0, "cells"),
        (Wort(19.0, 1.050, 1.010), float("nan"), 21.0, "cells"),
        (Wort(19.0, 1.050, 1.010), CELLS, 500.0, "days"),
        (Wort(19.0, 1.050, 1.050), CELLS, 21.0, "final_gravity"),
    ],
)
def test_batches_that_cannot_be_are_refused_by_name(wort: Wort, cells: float, days: float, argument: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        course(wort, ALE, cells, STEADY, days)
    assert caught.value.argument == argument


def test_a_day_beyond_the_course_is_refused() -> None:
    with pytest.raises(OutOfRange, match="day"):
        course(WORT, ALE, CELLS, STEADY, 5.0).at(6.0)


def test_thermochemistry_bounds_the_heat_from_below() -> None:
    """Heats of formation (CODATA-like): 0.38 kJ a gram of glucose without growth."""
    bound = fermentation_heat.glucose_enthalpy() / 0.180156
    assert bound * 1000.0 < fermentation_heat.HEAT_J_KG < fermentation_heat.REFUSED_HEAT_J_KG


def test_beer_in_a_strong_jacket_is_as_cold_as_the_jacket() -> None:
    worked = course(Wort(5.0, 1.050, 1.010), ALE, CELLS, Programme.steady(14.0), 5.0, Jacket(20.0, 150.0))
    assert worked.states[-1].temperature_c == pytest.approx(14.0, abs=0.05)
    assert max(state.temperature_c for state in worked.states) <= 20.0


@pytest.mark.parametrize("ua_w_k", [-1.0, 1e5, float("nan")])
def test_an_exchange_of_heat_that_cannot_be_is_refused(ua_w_k: float) -> None:
    with pytest.raises(OutOfRange, match="ua_w_k"):
        course(WORT, ALE, CELLS, STEADY, jacket=Jacket(18.0, ua_w_k))


@pytest.mark.parametrize(("fall", "heat"), [(-1.0, 587e3), (30.0, 587e3), (3.0, 1.0), (float("nan"), 587e3)])
def test_a_heat_that_cannot_be_is_refused(fall: float, heat: float) -> None:
    with pytest.raises(OutOfRange):
        fermentation_heat.heat_rate(19.0, 1.050, fall, heat)
