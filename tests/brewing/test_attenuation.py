"""The curves along which extract falls."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from brewing import attenuation
from brewing.attenuation import FermentedShare
from brewing.errors import OutOfRange

RATES = st.floats(0.2, 4.0)


@given(RATES, st.floats(0.05, 2.0), st.floats(0.02, 0.5), st.floats(0.5, 2.0))
def test_a_general_solver_comes_to_the_same_share(rate: float, lag: float, inoculum: float, order: float) -> None:
    """scipy's DOP853 on the equation of the docstring; below an order of 1 the curve has a corner where all is gone."""
    from math import exp

    def slope(day: float, gone: list[float]) -> list[float]:
        return [rate * (gone[0] + inoculum * (1.0 - exp(-day / lag))) * max(0.0, 1.0 - gone[0]) ** order]

    end = 4.0 / rate + lag
    solved = solve_ivp(slope, (0.0, end), [0.0], method="DOP853", rtol=1e-9, atol=1e-11).y[0][-1]
    close = 3e-5 if order >= 1.0 else 2e-3
    assert FermentedShare(rate, lag, inoculum, order).at(end) == pytest.approx(solved, abs=close)


@given(RATES, st.floats(0.05, 0.95))
def test_the_time_of_a_share_is_found_again(rate: float, share: float) -> None:
    curve = FermentedShare(rate, 0.5, 0.08)
    assert curve.at(curve.when(share)) == pytest.approx(share, abs=1e-9)


@given(RATES, st.floats(0.0, 20.0), st.floats(0.0, 5.0))
def test_what_is_gone_stays_gone(rate: float, day: float, later: float) -> None:
    curve = FermentedShare(rate, 0.5, 0.08)
    assert 0.0 <= curve.at(day) <= curve.at(day + later) + 1e-12 <= 1.0 + 1e-9


def test_without_lag_the_curve_is_the_published_logistic() -> None:
    """Closed form: x = (1 - exp(-k(1+i)t))/(1 + exp(-k(1+i)t)/i), the logistic begun from the inoculum."""
    from math import exp

    rate, inoculum = 1.5, 0.1
    curve = FermentedShare(rate, 0.005, inoculum)
    for day in (0.5, 1.0, 2.0, 3.0):
        fading = exp(-rate * (1.0 + inoculum) * (day - 0.005))
        assert curve.at(day) == pytest.approx((1.0 - fading) / (1.0 + fading / inoculum), abs=2e-4)


def test_a_lower_order_breaks_off_and_a_higher_one_drags_on() -> None:
    sharp, plain, slow = (FermentedShare(1.5, 0.4, 0.08, order) for order in (0.6, 1.0, 1.6))
    assert sharp.when(0.98) < plain.when(0.98) < slow.when(0.98)


@given(st.floats(8.0, 20.0), st.floats(0.5, 4.0), st.floats(0.2, 3.0), st.floats(0.5, 5.0))
def test_the_logistic_falls_fastest_in_its_middle(original: float, final: float, rate: float, middle: float) -> None:
    around = [attenuation.logistic_extract(original, final, rate, middle, middle + step) for step in (-1e-4, 1e-4)]
    assert (around[0] - around[1]) / 2e-4 == pytest.approx(
        attenuation.logistic_peak_rate(original, final, rate), rel=1e-5
    )


@pytest.mark.parametrize("final", [13.0, float("nan")])
def test_a_final_extract_above_the_original_is_refused(final: float) -> None:
    with pytest.raises(OutOfRange, match="final"):
        attenuation.logistic_extract(12.0, final, 1.0, 2.0, 1.0)
