"""Open doors: the published exchange equation, its cap, and balances."""

import pytest

from brewing import door, psychrometrics
from brewing.door import Doorway
from brewing.errors import OutOfRange
from brewing.psychrometrics import Air

DOORWAY = Doorway(0.72, 1.2)
COLD, WARM = Air(4.0, 0.8), Air(22.0, 0.5)


def test_exchange_is_the_printed_equation_in_its_own_units() -> None:
    # Gosney & Olama 1975: 13.26 A (1 - ro/ri)^0.5 (g H)^0.5 Fm in ft3/min with A in ft2, H in ft, g 32.174 ft/s2
    inside, outside = psychrometrics.density(COLD), psychrometrics.density(WARM)
    shape = (2.0 / (1.0 + (inside / outside) ** (1 / 3))) ** 1.5
    area, height = 0.72 / 0.3048**2, 1.2 / 0.3048
    cubic_feet = 13.26 * area * (1.0 - outside / inside) ** 0.5 * (32.174 * height) ** 0.5 * shape
    assert door.exchange(DOORWAY, COLD, WARM) == pytest.approx(cubic_feet * 0.3048**3 / 60.0, rel=1e-3)


def test_heat_is_the_air_exchanged_times_its_enthalpy() -> None:
    carried = psychrometrics.enthalpy(WARM) - psychrometrics.enthalpy(COLD)
    flow = door.exchange(DOORWAY, COLD, WARM) * psychrometrics.density(COLD)
    assert door.heat_rate(DOORWAY, COLD, WARM) == pytest.approx(flow * carried)


def test_an_opening_never_costs_more_than_one_change_of_air() -> None:
    most = door.air_change_heat(0.2, COLD, WARM)
    assert door.heat(0.5, 0.2, DOORWAY, COLD, WARM) < most
    assert door.heat(600.0, 0.2, DOORWAY, COLD, WARM) == pytest.approx(most)


def test_a_small_cabinet_empties_within_seconds() -> None:
    assert 0.2 / door.exchange(DOORWAY, COLD, WARM) < 5.0


def test_a_larger_difference_lets_in_more() -> None:
    rates = [door.heat_rate(DOORWAY, Air(celsius, 0.8), WARM) for celsius in range(20, -10, -2)]
    assert rates == sorted(rates)


def test_warm_air_does_not_fall_out() -> None:
    with pytest.raises(OutOfRange, match="inside is 22 degC"):
        door.exchange(DOORWAY, WARM, COLD)


def test_equal_air_does_not_move() -> None:
    assert door.exchange(DOORWAY, COLD, COLD) == 0.0


@pytest.mark.parametrize("doorway", [Doorway(0.0, 1.0), Doorway(1.0, 0.0), Doorway(float("nan"), 1.0)])
def test_a_door_of_no_size_is_refused(doorway: Doorway) -> None:
    with pytest.raises(OutOfRange, match="area_m2|height_m"):
        door.exchange(doorway, COLD, WARM)
