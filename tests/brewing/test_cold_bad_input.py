"""No argument of the cold half may be NaN, infinite or absurd: the error names the argument and its range."""

import inspect
import math
from collections.abc import Callable
from typing import Any

import pytest

from brewing import (
    absorption,
    antifreeze,
    atmosphere,
    calibration,
    carbon_dioxide,
    carbonation,
    coolant,
    cylinder,
    door,
    draught,
    electrical,
    exposure,
    priming,
    probes,
    psychrometrics,
    reservoir,
    solubility,
    thermal,
    two_node,
    water,
)
from brewing.calibration import Point
from brewing.door import Doorway
from brewing.draught import Line, Liquid
from brewing.errors import OutOfRange
from brewing.probes import SteinhartHart
from brewing.psychrometrics import Air
from brewing.reservoir import Crash, Reservoir
from brewing.thermal import Mass
from brewing.two_node import Pair, Temperatures

LIQUID, LINE = Liquid(), Line(0.005, 0.5)
COLD, WARM, DOORWAY = Air(4.0, 0.8), Air(22.0, 0.5), Doorway(0.7, 1.2)
BEER, BATH = Mass(19.0), Mass(40.0, 3800.0)
RESERVOIR = Reservoir(BATH, -4.0, 0.0, 150.0, 20.0)
CRASH = Crash(BEER, 20.0, 2.0, 0.0, 40_000.0)
PAIR, START = Pair(BATH, BEER, 8.0, 2.0, 1.0, 20.0, 50.0, 5.0), Temperatures(-4.0, 20.0)
CURVE = SteinhartHart(0.001129148, 0.000234125, 8.76741e-08)

GOOD: list[tuple[Callable[..., Any], tuple[Any, ...]]] = [
    (absorption.diffusion_time, (0.5, 4.0, 0.9)),
    (absorption.overshoot_per_hour, (24.0, 2.0, 3.0)),
    (absorption.slab_saturation, (0.3,)),
    (absorption.time_to_close, (0.9, 0.4)),
    (absorption.time_to_volumes, (2.0, 0.4, 1.0, 2.5)),
    (absorption.volumes_after, (3600.0, 0.4, 1.0, 2.5)),
    (antifreeze.by_mass, (0.3,)),
    (antifreeze.by_volume, (0.3,)),
    (antifreeze.lange_by_volume, (0.3,)),
    (atmosphere.absolute_pressure, (1e5, 1e5)),
    (atmosphere.gauge_pressure, (2e5, 1e5)),
    (atmosphere.gauge_to_add, (9e4,)),
    (atmosphere.pressure_at_altitude, (500.0,)),
    (calibration.boiling_point, (1e5,)),
    (calibration.ice_point(0.1).correct, (18.0,)),
    (calibration.ice_point(0.1).uncertainty, (18.0, 0.03)),
    (calibration.ice_point, (0.2, 0.03)),
    (calibration.one_point, (Point(0.2, 0.0),)),
    (calibration.two_point, (Point(0.2, 0.0), Point(30.0, 30.1))),
    (carbon_dioxide.gas_density, (2e5, 20.0)),
    (carbon_dioxide.pressure_of, (50.0, 20.0)),
    (carbon_dioxide.saturation, (20.0,)),
    (carbonation.gauge_for, (2.5, 4.0, 1e5)),
    (carbonation.grams_per_litre, (2.5,)),
    (carbonation.henry_constant, (6.0,)),
    (carbonation.residual_volumes, (20.0, 1e5)),
    (carbonation.temperature_for, (2.5, 8e4, 1e5)),
    (carbonation.volumes, (4.0, 8e4, 1e5)),
    (carbonation.volumes_from_grams, (5.0,)),
    (coolant.conductivity, (0.3, 0.0)),
    (coolant.density, (0.3, 0.0)),
    (coolant.diluted, (40.0, 0.3, 2.0)),
    (coolant.exchange, (40.0, 0.2, 0.3)),
    (coolant.fraction_for, (-10.0,)),
    (coolant.fraction_for_bath, (-6.0, coolant.Glycol.PROPYLENE, 5.0)),
    (coolant.freezing_point, (0.3,)),
    (coolant.freezing_spread, (0.3,)),
    (coolant.lowest_bath, (0.3, coolant.Glycol.PROPYLENE, 5.0)),
    (coolant.mass_fraction_from_volume, (0.3, coolant.Glycol.PROPYLENE, 1036.0, 998.0)),
    (coolant.mix, (40.0, 0.3)),
    (coolant.specific_heat, (0.3, 0.0)),
    (coolant.top_up, (40.0, 0.2, 0.3)),
    (coolant.viscosity, (0.3, 0.0)),
    (coolant.volume_fraction_from_mass, (0.3,)),
    (coolant.warmest_freezing_point, (0.3,)),
    (cylinder.carbonating_mass, (19.0, 0.9, 2.5)),
    (cylinder.contents, (6.0, 4.5)),
    (cylinder.contents_by_gauge, (4e6, 20.0, 2.0, 680.0)),
    (cylinder.internal_volume, (2.0, 680.0)),
    (cylinder.keg_gas_mass, (19.0, 8e4, 4.0, 1e5)),
    (cylinder.kegs_served, (2.0, 0.1, 0.1)),
    (cylinder.last_liquid_mass, (2.0, 20.0, 680.0)),
    (cylinder.pressure, (1.0, 0.003, 20.0)),
    (door.air_change_heat, (0.2, COLD, WARM)),
    (door.exchange, (DOORWAY, COLD, WARM)),
    (door.heat, (30.0, 0.2, DOORWAY, COLD, WARM)),
    (door.heat_rate, (DOORWAY, COLD, WARM)),
    (draught.balanced_length, (8e4, LINE, 6e-5, LIQUID)),
    (draught.beer_at, (4.0,)),
    (draught.contents_by_flow, (19.0, 5.0)),
    (draught.contents_by_mass, (12.0, 4.0, 1010.0)),
    (draught.flow_through, (2.0, 8e4, LINE, LIQUID)),
    (draught.friction_factor, (8000.0, 0.001)),
    (draught.friction_gradient, (6e-5, 0.005, LIQUID, 1e-6)),
    (draught.gas_set_free, (4.0, 12.0, 8e4, 0.5, 1e5)),
    (draught.head, (1.0, 1010.0)),
    (draught.line_volume, (2.0, 0.005)),
    (draught.pours_left, (10.0, 0.5, 0.1)),
    (draught.reynolds, (6e-5, 0.005, LIQUID)),
    (draught.rule_of_thumb_length, (8e4, 0.5, "3/16 in ID barrier line", 0.0)),
    (draught.transitional, (3000.0,)),
    (draught.velocity, (6e-5, 0.005)),
    (electrical.continuous_limit, (10.0,)),
    (electrical.cycle, (8e4, 120.0, 30.0, 1.0)),
    (electrical.deadband_for, (8e4, 120.0, 6.0)),
    (electrical.inrush_current, (1.0, 6.0)),
    (electrical.worst_load, (120.0,)),
    (exposure.air_changes_for, (5000.0, 1e-6, 30.0, 20.0)),
    (exposure.milligrams_per_m3, (5000.0,)),
    (exposure.release, (1.0, 30.0, 20.0)),
    (exposure.rise_after, (3600.0, 1e-6, 0.5, 30.0, 20.0)),
    (exposure.steady_rise, (1e-6, 0.5, 30.0, 20.0)),
    (exposure.verdict, (5000.0,)),
    (priming.bottle_gauge, (2.5, 20.0, 1e5)),
    (priming.bottle_warning, (2.5,)),
    (priming.sugar_mass, (19.0, 2.4, 0.86)),
    (priming.volumes_from_sugar, (19.0, 0.1, 0.86)),
    (priming.volumes_if_unfinished, (0.002, 2.4)),
    (probes.lead_error, (0.4, 20.0, 100.0)),
    (probes.platinum, (107.8, 100.0)),
    (probes.platinum_resistance, (20.0, 100.0)),
    (probes.platinum_slope, (20.0, 100.0)),
    (probes.platinum_tolerance, (20.0,)),
    (probes.thermistor, (1e4, CURVE)),
    (probes.thermistor_by_beta, (1e4, 1e4, 3950.0, 25.0)),
    (probes.thermistor_resistance, (20.0, CURVE)),
    (psychrometrics.condenses, (WARM, 4.0)),
    (psychrometrics.density, (WARM,)),
    (psychrometrics.dew_point, (20.0, 0.5)),
    (psychrometrics.dew_point_magnus, (20.0, 0.5)),
    (psychrometrics.driest_surface, (WARM, 1.0)),
    (psychrometrics.enthalpy, (WARM,)),
    (psychrometrics.humidity_ratio, (WARM,)),
    (psychrometrics.saturation_pressure, (20.0,)),
    (psychrometrics.vapour_pressure, (WARM,)),
    (reservoir.carries, (RESERVOIR, [CRASH], -4.0)),
    (reservoir.chiller_for, (RESERVOIR, [CRASH], -4.0)),
    (reservoir.stored_cold, (RESERVOIR,)),
    (solubility.carroll_henry_pa, (20.0,)),
    (solubility.diffusivity, (20.0,)),
    (solubility.diffusivity_jaehne, (20.0,)),
    (solubility.from_henry, (1.4e8, 20.0)),
    (solubility.iapws_henry_pa, (20.0,)),
    (solubility.two_parameter_solubility, (20.0, 3.3e-4, 2400.0)),
    (solubility.volumes_in_water, (20.0, 1e5)),
    (solubility.weiss_k0, (20.0,)),
    (thermal.between, (4.0, 20.0, 0.45)),
    (thermal.chamber_balance, (4.0, 20.0, 1.5, 60.0, 5.0, 3.0, 1000.0)),
    (thermal.cooling_load, (BEER, 20.0, 2.0, 3600.0)),
    (thermal.crash_time, (BEER, 20.0, 2.0, 20.0, 1.5, 100.0)),
    (thermal.mixed_temperature, (BEER, 20.0, BATH, -4.0)),
    (thermal.sensible_heat, (BEER, 20.0, 2.0)),
    (thermal.settles_at, (20.0, 1.5, 60.0, 5.0)),
    (thermal.sugar_solution_specific_heat, (0.12, 20.0, 1.0)),
    (thermal.temperature_after, (3600.0, 20.0, 2.0, 9e4)),
    (thermal.time_constant, (BEER, 8.0)),
    (thermal.time_to_reach, (5.0, 20.0, 2.0, 9e4)),
    (thermal.wall_transmittance, (0.04, 0.024, 8.0, 8.0)),
    (two_node.after, (PAIR, START, 3600.0)),
    (two_node.time_to_reach, (PAIR, START, 10.0)),
    (water.density, (20.0,)),
    (water.specific_heat, (20.0,)),
    (water.vapour_pressure, (20.0,)),
    (water.viscosity, (20.0,)),
]


TAKES_NO_LONE_FIGURE = {  # words, bytes, whole numbers, arrays: their own tests spoil them
    "co2_yield",
    "crc8",
    "ds18b20_conversion_time",
    "ds18b20_fault",
    "ds18b20_temperature",
    "gauges_for_many",
    "steinhart_hart",
    "volumes_of_many",
    "warning",
}


def spoilt(argument: Any) -> list[Any]:
    """The argument with a NaN, an infinity or an absurd figure in each place that holds a float."""
    if isinstance(argument, float):
        return [math.nan, math.inf, -math.inf, 1e30]
    if isinstance(argument, tuple) and hasattr(argument, "_fields"):
        return [
            argument._replace(**{name: bad}) for name in argument._fields for bad in spoilt(getattr(argument, name))
        ]
    return []


def cases() -> list[Any]:
    found = []
    for function, arguments in GOOD:
        for place, argument in enumerate(arguments):
            found += [
                pytest.param(
                    function, (*arguments[:place], bad, *arguments[place + 1 :]), id=f"{function.__qualname__}-{bad}"
                )
                for bad in spoilt(argument)
            ]
    return found


@pytest.mark.parametrize(("function", "arguments"), GOOD, ids=lambda value: getattr(value, "__qualname__", ""))
def test_the_sound_arguments_are_accepted(function: Callable[..., Any], arguments: tuple[Any, ...]) -> None:
    function(*arguments)


@pytest.mark.parametrize(("function", "arguments"), cases())
def test_a_figure_that_is_none_is_refused_by_name(function: Callable[..., Any], arguments: tuple[Any, ...]) -> None:
    with pytest.raises(OutOfRange) as refusal:
        function(*arguments)
    assert refusal.value.argument
    assert refusal.value.unit is not None


def test_every_public_function_of_the_cold_half_is_tried() -> None:
    modules = {inspect.getmodule(function) for function, _ in GOOD}
    tried = {function.__qualname__ for function, _ in GOOD}
    public = {
        name
        for module in modules
        for name, function in inspect.getmembers(module, inspect.isfunction)
        if function.__module__ == getattr(module, "__name__", "") and not name.startswith("_")
    }
    assert public - tried == TAKES_NO_LONE_FIGURE
