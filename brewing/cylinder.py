"""The gas cylinder: what is in it, what a keg takes out of it, and why its gauge cannot tell.

While liquid remains the pressure depends on temperature alone, so the gauge stands still until about 71 % is gone (20
degC) and then falls fast. Weigh the cylinder instead.

Caution: keep it upright and chained, out of the sun and below 50 degC; a legally full one is solid with liquid near
27 degC and its pressure then climbs by several bar a kelvin. Never defeat or plug its relief device; have it tested
and filled by licensed people. A leak suffocates: see exposure.
"""

from brewing.atmosphere import STANDARD_PA, absolute_pressure
from brewing.carbon_dioxide import (
    CRITICAL_C,
    KG_PER_M3_PER_VOLUME,
    gas_density,
    pressure_of,
    saturation,
)
from brewing.errors import check

FILL_KG_M3 = 680.0
MAXIMUM_FILL_PERCENT = {  # 49 CFR 173.304a(a)(2) Table 1: mass of CO2 as a share of the water the cylinder holds
    "DOT-3A1800/3AA1800/3AL1800/39": 68.0,
    "DOT-3A2000/3AA2000": 70.3,
    "DOT-3A2265/3AA2265": 73.2,
    "DOT-3A2400/3AA2400": 74.5,
}


def contents(gross_kg: float, tare_kg: float) -> float:
    """kg of gas and liquid left, by weighing; OutOfRange names `gross_kg` when it is below the tare stamped on the
    neck.
    """
    tare = check("tare_kg", tare_kg, 0.1, 200.0, "kg")
    return (
        check("gross_kg", gross_kg, tare, 300.0, "kg", "weigh again, and read the tare stamped on the cylinder") - tare
    )


def internal_volume(full_kg: float, fill_kg_m3: float = FILL_KG_M3) -> float:
    """Smallest water capacity in m3 that may hold that charge (680 kg/m3 is 68 % by 49 CFR 173.304a)."""
    return check("full_kg", full_kg, 0.001, 100.0, "kg") / _fill(fill_kg_m3)


def last_liquid_mass(full_kg: float, temperature_c: float, fill_kg_m3: float = FILL_KG_M3) -> float:
    """kg left when the last liquid boils away: above it the gauge says nothing. -20 to 30.9 degC."""
    temperature_c = check("temperature_c", temperature_c, -20.0, CRITICAL_C, "degC", "above it there is no liquid")
    return saturation(temperature_c).vapour_kg_m3 * internal_volume(full_kg, fill_kg_m3)


def contents_by_gauge(
    absolute_pa: float, temperature_c: float, full_kg: float, fill_kg_m3: float = FILL_KG_M3
) -> float | None:
    """kg left by pressure; None while liquid remains (within 2 % of saturation), when only a scale can tell.

    -20 to 30.9 degC of the cylinder itself, which draw cools below the room.
    """
    temperature_c = check("temperature_c", temperature_c, -20.0, CRITICAL_C, "degC")
    full = saturation(temperature_c).pressure_pa
    pressure = check("absolute_pa", absolute_pa, 0.0, 1.05 * full, "Pa", "the cylinder is warmer than that")
    if pressure >= 0.98 * full:
        return None
    return _density_below(pressure, temperature_c) * internal_volume(full_kg, fill_kg_m3)


def pressure(mass_kg: float, volume_m3: float, temperature_c: float) -> float:
    """Pa absolute in a cylinder of that water capacity, -20 to 65 degC: two phases, all gas, or solid with liquid."""
    temperature_c = check("temperature_c", temperature_c, -20.0, 65.0, "degC")
    volume_m3 = check("volume_m3", volume_m3, 1e-6, 1.0, "m3")
    density = check("mass_kg", mass_kg, 0.0, 900.0 * volume_m3, "kg", "overfilled: do not use it") / volume_m3
    if temperature_c < CRITICAL_C:
        balance = saturation(temperature_c)
        if balance.vapour_kg_m3 <= density <= balance.liquid_kg_m3:
            return balance.pressure_pa
    return pressure_of(density, temperature_c)


def keg_gas_mass(volume_l: float, gauge_pa: float, temperature_c: float, atmosphere_pa: float = STANDARD_PA) -> float:
    """kg of gas in an emptied keg at serving pressure, which is what pushing the beer out has cost; -20 to 100
    degC.
    """
    volume_l = check("volume_l", volume_l, 0.0, 10_000.0, "L")
    return volume_l * 1e-3 * gas_density(absolute_pressure(gauge_pa, atmosphere_pa), temperature_c)


def carbonating_mass(volume_l: float, from_volumes: float, to_volumes: float) -> float:
    """kg of gas that the beer itself takes up, real-gas volumes; OutOfRange names `to_volumes` when it holds more
    already.
    """
    volume_l = check("volume_l", volume_l, 0.0, 10_000.0, "L")
    start = check("from_volumes", from_volumes, 0.0, 6.0, "vol")
    return (check("to_volumes", to_volumes, start, 6.0, "vol") - start) * volume_l * 1e-3 * KG_PER_M3_PER_VOLUME


def kegs_served(contents_kg: float, gas_per_keg_kg: float, wasted: float = 0.1) -> float:
    """Kegs that the contents will serve; `wasted` (0 to 0.9) is the share lost to purging, leaks and the last gas.

    The 10 % is common practice, no source.
    """
    contents_kg = check("contents_kg", contents_kg, 0.0, 100.0, "kg")
    wasted = check("wasted", wasted, 0.0, 0.9, "")
    return contents_kg * (1.0 - wasted) / check("gas_per_keg_kg", gas_per_keg_kg, 1e-4, 100.0, "kg")


def _fill(fill_kg_m3: float) -> float:
    return check("fill_kg_m3", fill_kg_m3, 1.0, 745.0, "kg/m3", "the legal maximum is 74.5 % of the water capacity")


def _density_below(pressure_pa: float, temperature_c: float) -> float:
    """Gas density by bisection, which stays sound up to the saturation line where Newton's method would not."""
    low, high = 0.0, saturation(temperature_c).vapour_kg_m3
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if pressure_of(middle, temperature_c) < pressure_pa else (low, middle)
    return (low + high) / 2
