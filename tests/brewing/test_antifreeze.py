"""Handbook freezing points beside the coolant's own equation."""

import pytest
from CoolProp.CoolProp import PropsSI

from brewing import antifreeze, coolant
from brewing.antifreeze import Glycol
from brewing.errors import OutOfRange


@pytest.mark.parametrize(("glycol", "fluid"), [(Glycol.PROPYLENE, "APG"), (Glycol.ETHYLENE, "AEG")])
@pytest.mark.parametrize("percent", range(10, 60, 4))
def test_freezing_by_volume_is_coolprop_s_fit_of_the_handbook(percent: int, glycol: Glycol, fluid: str) -> None:
    fraction = percent / 100
    expected = PropsSI("T_FREEZE", "T", 300.0, "P", 101_325.0, f"INCOMP::{fluid}[{fraction}]") - 273.15
    assert antifreeze.by_volume(fraction, glycol) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize("percent", range(0, 41, 5))
def test_the_equation_stays_near_the_table_up_to_forty_percent(percent: int) -> None:
    assert coolant.freezing_point(percent / 100) == pytest.approx(antifreeze.by_mass(percent / 100), abs=0.6)


@pytest.mark.parametrize("glycol", Glycol)
@pytest.mark.parametrize("percent", range(0, 61, 5))
def test_the_table_lies_within_the_spread_that_is_claimed(percent: int, glycol: Glycol) -> None:
    if percent <= 50:
        gap = abs(coolant.freezing_point(percent / 100, glycol) - antifreeze.by_mass(percent / 100, glycol))
        assert gap <= coolant.freezing_spread(percent / 100, glycol)


@pytest.mark.parametrize(("percent", "printed"), antifreeze.LANGE_BY_VOLUME)
def test_the_equation_stays_near_the_table_by_volume(percent: float, printed: float) -> None:
    # Lange's Handbook, 15th edition, Table 5.13; its steps are whole degrees Fahrenheit
    own = coolant.freezing_point(coolant.mass_fraction_from_volume(percent / 100))
    assert own == pytest.approx(printed, abs=1.5)
    assert antifreeze.lange_by_volume(percent / 100) == pytest.approx(printed)


def test_tables_are_straight_between_their_steps() -> None:
    assert antifreeze.by_mass(0.275) == pytest.approx((antifreeze.by_mass(0.25) + antifreeze.by_mass(0.30)) / 2)
    assert antifreeze.lange_by_volume(0.025) == pytest.approx(-0.55)


def test_taking_a_mass_fraction_for_a_volume_fraction_errs_by_a_third_of_a_kelvin() -> None:
    assert antifreeze.by_volume(0.30) - coolant.freezing_point(0.30) == pytest.approx(-0.32, abs=0.05)


@pytest.mark.parametrize("glycol", Glycol)
def test_every_table_falls_all_the_way(glycol: Glycol) -> None:
    table = [antifreeze.by_mass(n / 100, glycol) for n in range(0, 61)]
    assert table == sorted(table, reverse=True)


def test_beyond_the_tables_is_refused() -> None:
    with pytest.raises(OutOfRange, match="mass_fraction"):
        antifreeze.by_mass(0.65)
    with pytest.raises(OutOfRange, match="volume_fraction"):
        antifreeze.by_volume(0.05)
    with pytest.raises(OutOfRange, match="volume_fraction"):
        antifreeze.lange_by_volume(0.55)
