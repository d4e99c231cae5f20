"""Evaluates the rows on the density of water."""

from brewing import water

EVALUATORS = {
    "density of water": lambda row: water.density(row["T_C"]),
    "temperature of maximum density": lambda row: water.DENSEST_AT_C,
    "ratio rho(60F)/rho(20C)": lambda row: water.density((60.0 - 32.0) / 1.8) / water.density(20.0),
}
