"""Air pressure against the US Standard Atmosphere 1976 in the fluids library, and gauge against absolute."""

import pytest
from fluids.atmosphere import ATMOSPHERE_1976

from brewing import atmosphere
from brewing.errors import OutOfRange


@pytest.mark.parametrize("altitude", range(0, 11_000, 500))
def test_pressure_at_altitude_follows_the_standard_atmosphere(altitude: int) -> None:
    assert atmosphere.pressure_at_altitude(altitude) == pytest.approx(ATMOSPHERE_1976(altitude).P, rel=1e-5)


def test_pressure_falls_with_every_metre() -> None:
    pressures = [atmosphere.pressure_at_altitude(metres) for metres in range(-500, 11_001, 10)]
    assert pressures == sorted(pressures, reverse=True)


def test_absolute_and_gauge_undo_each_other() -> None:
    absolute = atmosphere.absolute_pressure(82_737.0, 84_000.0)
    assert absolute == pytest.approx(166_737.0)
    assert atmosphere.gauge_pressure(absolute, 84_000.0) == pytest.approx(82_737.0)


def test_a_gauge_below_vacuum_is_refused() -> None:
    with pytest.raises(OutOfRange, match="gauge_pa is -102000 Pa"):
        atmosphere.absolute_pressure(-102_000.0)


def test_a_mountain_above_the_troposphere_is_refused() -> None:
    with pytest.raises(OutOfRange, match="altitude_m is 12000 m, outside -500 to 11000 m"):
        atmosphere.pressure_at_altitude(12_000.0)


def test_a_brewery_a_mile_high_adds_two_and_a_half_psi() -> None:
    # common practice, no source: half a psi for each thousand feet
    added = atmosphere.gauge_to_add(atmosphere.pressure_at_altitude(1609.0)) / 6894.757
    assert added == pytest.approx(2.6, abs=0.1)
