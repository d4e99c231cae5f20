"""Evaluates the rows on priming; masses in grams."""

from brewing import priming

EVALUATORS = {
    "CO2 per gram of sugar, complete fermentation": lambda row: priming.co2_yield(row["sugar"]),
    "CO2 per gram extract fermented (Balling)": lambda row: priming.co2_yield("extract"),
    "priming sugar mass": lambda row: (
        1000.0 * priming.sugar_mass(row["volume_L"], row["target_vol"], row["residual_vol"], row["sugar"])
    ),
    "priming: pressure hazard cue, volumes above bottle habit": lambda row: (
        priming.VESSELS["standard bottle"].most_volumes
    ),
}
