"""The laws of carbon dioxide in water against each other and against libraries."""

import pytest
from iapws._iapws import _Henry

from brewing import solubility
from brewing.errors import OutOfRange


@pytest.mark.parametrize("celsius", range(2, 100, 3))
def test_the_iapws_guideline_is_coded_as_the_library_codes_it(celsius: int) -> None:
    assert solubility.iapws_henry_pa(celsius) == pytest.approx(_Henry(celsius + 273.15, "CO2") * 1e6, rel=1e-6)


@pytest.mark.parametrize("celsius", range(2, 41, 2))
def test_three_laws_agree_within_five_percent_over_the_brewers_range(celsius: int) -> None:
    weiss = solubility.weiss_k0(celsius)
    for henry in (solubility.carroll_henry_pa(celsius), solubility.iapws_henry_pa(celsius)):
        assert solubility.from_henry(henry, celsius) == pytest.approx(weiss, rel=0.05)


def test_the_two_parameter_law_is_ten_percent_low_at_freezing_and_right_at_25_degrees() -> None:
    def ratio(celsius: float) -> float:
        return solubility.two_parameter_solubility(celsius) * 101.325 / solubility.weiss_k0(celsius)

    assert ratio(0.0) == pytest.approx(0.90, abs=0.005)
    assert ratio(25.0) == pytest.approx(1.0, abs=0.02)


def test_cold_water_holds_more_gas_at_every_step() -> None:
    held = [solubility.volumes_in_water(tenths / 10) for tenths in range(0, 401)]
    assert held == sorted(held, reverse=True)


def test_gas_held_is_in_proportion_to_its_pressure() -> None:
    once = solubility.volumes_in_water(5.0, 100_000.0)
    assert solubility.volumes_in_water(5.0, 300_000.0) == pytest.approx(3.0 * once)


def test_water_at_room_temperature_holds_less_than_its_own_volume_of_gas() -> None:
    # Weiss 1974 at 20 degC and 1 atm
    assert solubility.volumes_in_water(20.0) == pytest.approx(0.870, abs=0.001)


@pytest.mark.parametrize("celsius", range(0, 41, 5))
def test_two_opinions_on_diffusion_agree_within_nine_percent(celsius: int) -> None:
    assert solubility.diffusivity(celsius) == pytest.approx(solubility.diffusivity_jaehne(celsius), rel=0.09)


def test_diffusion_at_25_degrees_is_the_accepted_figure() -> None:
    # 1.92e-9 m2/s, Versteeg & van Swaaij 1988 and many compilations
    assert solubility.diffusivity(25.0) == pytest.approx(1.92e-9, rel=0.01)
    assert solubility.diffusivity_jaehne(25.0) == pytest.approx(1.92e-9, rel=0.01)


@pytest.mark.parametrize("law", [solubility.weiss_k0, solubility.two_parameter_solubility, solubility.diffusivity])
def test_ice_is_no_solvent(law: object) -> None:
    with pytest.raises(OutOfRange, match="temperature_c is -1 degC, outside 0 to 40 degC"):
        law(-1.0)  # type: ignore[operator]


def test_a_henry_constant_of_another_unit_is_refused() -> None:
    with pytest.raises(OutOfRange, match="henry_pa"):
        solubility.from_henry(161.968, 25.0)
