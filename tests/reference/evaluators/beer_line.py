"""Evaluates the rows on the line between keg and tap; pressures in kPa or psi as the rows have them."""

from collections.abc import Mapping
from typing import Any

from brewing import draught
from brewing.draught import FOOT, INCH, Line, Liquid

PSI = draught.PSI_PA


def gradient(row: Mapping[str, Any]) -> float:
    bore = row["ID_in"] * INCH if "ID_in" in row else row["ID_mm"] / 1000.0
    liquid = Liquid(row["rho"], row["mu_Pa_s"])
    return draught.friction_gradient(row["Q_mL_s"] * 1e-6, bore, liquid, row.get("roughness_m", 0.0)) / 1000.0


def length(row: Mapping[str, Any]) -> float:
    line = Line(row["ID_in"] * INCH, row["rise_m"], row["exit_loss_K"])
    liquid = Liquid(row["rho"], row["mu_Pa_s"])
    return draught.balanced_length(row["p_psig"] * PSI, line, row["Q_mL_s"] * 1e-6, liquid)


EVALUATORS = {
    "line pressure drop per metre (Darcy-Weisbach, Colebrook)": gradient,
    "laminar line pressure drop per metre (Hagen-Poiseuille)": gradient,
    "hydrostatic head": lambda row: draught.head(row["h_m"], row["rho"]) / 1000.0,
    "line length that balances the keg": length,
    "trade line restriction": lambda row: draught.TRADE_RESTRICTIONS[row["line"]].usual / PSI * FOOT,
    "pour rate": lambda row: draught.POUR_M3_S * 1e6,
}
