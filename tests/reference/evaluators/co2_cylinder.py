"""Evaluates the rows on the gas cylinder."""

from brewing import carbon_dioxide, cylinder
from brewing.carbonation import PSI_PA

EVALUATORS = {
    "CO2 saturation pressure (cylinder, while liquid remains)": lambda row: (
        carbon_dioxide.saturation(row["T_C"]).pressure_pa / 1e5
    ),
    "CO2 saturated liquid density": lambda row: carbon_dioxide.saturation(row["T_C"]).liquid_kg_m3,
    "CO2 saturated vapour density": lambda row: carbon_dioxide.saturation(row["T_C"]).vapour_kg_m3,
    "critical temperature CO2": lambda row: carbon_dioxide.CRITICAL_C,
    "critical pressure CO2": lambda row: carbon_dioxide.CRITICAL_PA / 1e5,
    "triple point temperature CO2": lambda row: carbon_dioxide.TRIPLE_C,
    "maximum filling density of CO2": lambda row: cylinder.MAXIMUM_FILL_PERCENT[row["cylinder"]],
    "minimum internal volume for fill at 68%": lambda row: 1000.0 * cylinder.internal_volume(row["mass_kg"]),
    "mass left when the last liquid is gone (pressure then starts to fall)": lambda row: cylinder.last_liquid_mass(
        row["mass_full_kg"], row["T_C"], row["fill_density_kg_m3"]
    ),
    "pressure of a cylinder filled to 680 kg/m3": lambda row: cylinder.pressure(0.680, 0.001, row["T_C"]) / 1e5,
    "CO2 mass to fill an emptied 19 L keg (dispense use)": lambda row: (
        1000.0 * cylinder.keg_gas_mass(row["V_L"], row["p_psig"] * PSI_PA, row["T_C"])
    ),
    "CO2 mass to carbonate 19 L": lambda row: (
        1000.0 * cylinder.carbonating_mass(row["V_L"], row["from_vol"], row["to_vol"])
    ),
}
