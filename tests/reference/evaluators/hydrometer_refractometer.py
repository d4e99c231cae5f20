"""Evaluates the rows on hydrometers and refractometers."""

from brewing import hydrometer, refractometer

SIXTY_F = (60.0 - 32.0) / 1.8

EVALUATORS = {
    "hydrometer reading corrected to calibration temperature": lambda row: hydrometer.corrected_gravity(
        row["reading"], row["T_C"], row["T_cal_C"], row["gamma_per_K"]
    ),
    "Brix hydrometer temperature correction (20 C scale)": lambda row: (
        hydrometer.corrected_brix(row["reading_Bx"], row["T_C"]) - row["reading_Bx"]
    ),
    "SG 60F/60F of a wort with SG 20/20 = 1.050": lambda row: hydrometer.gravity_on_scale(1.05, 20.0, SIXTY_F),
    "refractive index nD20 of sucrose": lambda row: refractometer.refractive_index(row["Brix"]),
    "refractive index nD20 of ethanol-water": lambda row: refractometer.ethanol_refractive_index(row["w_pct"]),
    "final gravity from two refractometer readings": lambda row: refractometer.final_gravity_by_index(
        row["Brix_initial_true"], row["Brix_final"], row["wort_correction_factor"]
    ),
    "cubic FG correction (equation-level)": lambda row: refractometer.final_gravity(
        row["Brix_initial_true"], row["Brix_final"], 1.0
    ),
    "wort correction factor of a refractometer": lambda row: refractometer.WORT_CORRECTION,
    "refractometer temperature coefficient near 20 C, 10-15 Bx": lambda row: (
        refractometer.at_20_c(12.0, 21.0) - refractometer.at_20_c(12.0, 20.0)
    ),
}
HABITS = {"wort correction factor of a refractometer": (1.0, 1.06)}
