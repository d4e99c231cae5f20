"""Evaluates the rows on pitching."""

from brewing import yeast

RATES = {"hybrid/high gravity": "high gravity"}

EVALUATORS = {
    "pitch rate": lambda row: yeast.RATES[RATES.get(row["kind"], row["kind"])].usual,
    "cells needed": lambda row: yeast.cells_needed(row["V_L"], row["Plato"], row["rate"]),
    "dry yeast viable cells": lambda row: yeast.DRY_CELLS_PER_G,
    "slurry density": lambda row: yeast.SLURRY_CELLS_PER_ML,
    "dry yeast mass": lambda row: yeast.dry_mass(row["cells"], row["cells_per_g"]),
}
HABITS = {"dry yeast viable cells": (5e9, 20e9), "slurry density": (0.8e9, 2e9), "pitch rate": (0.35e6, 2.0e6)}
