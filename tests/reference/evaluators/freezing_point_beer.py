"""Evaluates the rows on freezing."""

from brewing import freezing

EVALUATORS = {
    "freezing point of ethanol-water": lambda row: freezing.of_alcohol(row["w_pct"]),
    "ideal freezing point of sucrose solution (wort)": lambda row: freezing.of_wort(row["w_pct"]),
    "cryoscopic constant of water": lambda row: freezing.CRYOSCOPIC_CONSTANT,
    "freezing point of beer, -(0.42A+0.04E+0.2)": lambda row: freezing.trade_estimate(row["A_pct_w"], row["OE_P"]),
    "the same with + signs as printed in some copies (WRONG)": lambda row: freezing.of_beer(
        row["A_pct_w"], row["OE_P"]
    ),
}
HABITS = {"the same with + signs as printed in some copies (WRONG)": (-3.0, -1.62)}
