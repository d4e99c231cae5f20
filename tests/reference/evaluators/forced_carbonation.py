"""Evaluates the rows on how fast beer takes up gas."""

from brewing import absorption, solubility

DAY = 86_400.0

EVALUATORS = {
    "set-and-forget carbonation at serving pressure and temperature": lambda row: absorption.METHODS[
        "set and wait"
    ].customary.removesuffix(" d"),
    "diffusion coefficient of CO2 in water": lambda row: solubility.diffusivity(row["T_C"]),
    "mean saturation of stagnant slab (one face at equilibrium)": lambda row: absorption.slab_saturation(
        row["Fourier_Dt_L2"]
    ),
    "first-order carbonation C(t)=Ceq-(Ceq-C0)exp(-kt)": lambda row: absorption.volumes_after(
        row["t_days"] * DAY, row["k_per_day"], row["C0_vol"], row["Ceq_vol"]
    ),
    "time to reach fraction of the gap": lambda row: absorption.time_to_close(row["fraction"], row["k_per_day"]) / DAY,
    "pure diffusion only: time to 90% in 0.5 m deep still beer at 4 C": lambda row: (
        absorption.diffusion_time(row["L_m"], row["T_C"], 0.9) / DAY
    ),
}
