"""Temperature and yeast: cardinal temperatures, programmes, and time that counts."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from brewing.errors import OutOfRange
from brewing.kinetics import STRAINS, Programme, arrhenius, speed, yeast_days

NAMES = st.sampled_from(sorted(STRAINS))


@pytest.mark.parametrize("name", STRAINS)
def test_speed_is_one_at_the_usual_temperature_and_none_at_the_ends(name: str) -> None:
    strain = STRAINS[name]
    assert speed(strain.usual_c, strain) == pytest.approx(1.0)
    assert speed(strain.lowest_c, strain) == speed(strain.highest_c, strain) == 0.0


@given(NAMES, st.floats(-5.0, 45.0))
def test_nothing_is_faster_than_the_best_temperature(name: str, temperature_c: float) -> None:
    """Cardinal temperature model of Rosso et al. 1993: its maximum lies at the optimum, by construction."""
    strain = STRAINS[name]
    assert 0.0 <= speed(temperature_c, strain) <= speed(strain.best_c, strain) * (1.0 + 1e-12)


@given(st.floats(0.0, 30.0), st.floats(0.1, 5.0))
def test_reactions_go_faster_in_the_warm(temperature_c: float, more: float) -> None:
    assert arrhenius(temperature_c + more, 60_000.0) > arrhenius(temperature_c, 60_000.0)


def test_an_activation_of_fifty_kilojoules_doubles_in_ten_kelvin() -> None:
    """The chemist's rule of thumb, between 15 and 25 degC."""
    assert arrhenius(25.0, 50_000.0) / arrhenius(15.0, 50_000.0) == pytest.approx(2.0, abs=0.05)


def test_a_programme_goes_straight_between_its_points_and_holds_outside() -> None:
    programme = Programme(((1.0, 18.0), (3.0, 22.0)))
    assert [programme.at(day) for day in (0.0, 1.0, 2.0, 3.0, 9.0)] == [18.0, 18.0, 20.0, 22.0, 22.0]


def test_two_points_on_one_day_are_a_step() -> None:
    programme = Programme(((0.0, 18.0), (2.0, 18.0), (2.0, 10.0), (5.0, 10.0)))
    assert (programme.at(1.999), programme.at(2.0)) == (18.0, 10.0)


@given(NAMES, st.floats(0.5, 40.0))
def test_days_at_the_usual_temperature_count_as_days(name: str, days: float) -> None:
    strain = STRAINS[name]
    assert yeast_days(Programme.steady(strain.usual_c), strain, (days,))[0] == pytest.approx(days)


@given(st.lists(st.floats(0.0, 30.0), min_size=1, max_size=6).map(sorted), st.floats(0.0, 30.0))
def test_time_never_runs_backwards(days: list[float], temperature_c: float) -> None:
    counted = yeast_days(Programme.steady(temperature_c), STRAINS["ale"], tuple(days))
    assert all(later >= earlier >= 0.0 for earlier, later in zip(counted, counted[1:], strict=False))


@pytest.mark.parametrize("points", [((0.0, 18.0), (-1.0, 20.0)), ((0.0, float("nan")),), ((0.0, 99.0),)])
def test_programmes_that_cannot_be_are_refused(points: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(OutOfRange):
        Programme(points)


def test_an_empty_programme_is_refused() -> None:
    with pytest.raises(ValueError, match="at least one"):
        Programme(())


def test_a_strain_whose_usual_temperature_stops_it_is_refused() -> None:
    with pytest.raises(OutOfRange, match="usual_c"):
        speed(20.0, STRAINS["ale"]._replace(usual_c=50.0))
