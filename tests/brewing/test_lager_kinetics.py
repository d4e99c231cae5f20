"""The published lager model; its solutions stand in tests/reference, to 1e-4."""

import pytest
from scipy.integrate import solve_ivp

from brewing import lager_kinetics
from brewing.errors import OutOfRange
from brewing.lager_kinetics import PITCHED


@pytest.mark.parametrize("temperature_c", [8.0, 11.0, 14.0])
def test_a_general_solver_comes_to_the_same_state(temperature_c: float) -> None:
    """scipy's LSODA on the same rates, at a day on which everything happens at once."""
    from math import exp

    rates = {name: exp(a + b / (temperature_c + 273.15)) for name, (a, b) in lager_kinetics._ARRHENIUS.items()}
    solved = solve_ivp(
        lambda _, state: lager_kinetics._slopes(tuple(state), rates, 65.0), (0.0, 72.0), PITCHED, rtol=1e-10, atol=1e-12
    )
    for ours, theirs in zip(lager_kinetics.after(72.0, temperature_c), solved.y[:, -1], strict=True):
        assert ours == pytest.approx(theirs, rel=1e-6, abs=1e-7)


def test_nothing_has_happened_at_pitching() -> None:
    assert lager_kinetics.after(0.0, 12.0) == PITCHED


def test_its_ethanol_is_below_what_the_sugar_can_give() -> None:
    """Within 8-14 degC the yield stays below the stoichiometric 0.511; beyond, it does not."""
    yields = {}
    for temperature_c in (8.0, 14.0, 20.0):
        end = lager_kinetics.after(600.0, temperature_c, extrapolate=True)
        yields[temperature_c] = end.ethanol / (PITCHED.sugar - end.sugar)
    assert yields[8.0] < yields[14.0] < 0.511 < yields[20.0]


@pytest.mark.parametrize(("hours", "temperature_c"), [(24.0, 20.0), (24.0, 5.0), (-1.0, 12.0), (24.0, float("nan"))])
def test_outside_its_range_it_is_refused(hours: float, temperature_c: float) -> None:
    with pytest.raises(OutOfRange):
        lager_kinetics.after(hours, temperature_c)
