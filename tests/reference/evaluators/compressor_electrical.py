"""Evaluates the rows on the compressor as a load."""

from brewing import electrical

EVALUATORS = {
    "minimum compressor off time": lambda row: electrical.LEAST_REST_S / 60.0,
    "minimum compressor off time, shortest seen": lambda row: electrical.SHORTEST_REST_SEEN_S / 60.0,
    "maximum starts per hour": lambda row: electrical.MOST_STARTS_PER_HOUR,
    "minimum compressor on time": lambda row: electrical.LEAST_RUN_S / 60.0,
    "inrush current multiple": lambda row: electrical.inrush_current(1.0),
    "isobutane R600a charge limit, household": lambda row: electrical.ISOBUTANE_CHARGE_LIMIT_KG * 1000.0,
    "isobutane lower flammable limit": lambda row: electrical.ISOBUTANE_LOWER_FLAMMABLE_PERCENT,
    "heater + compressor interlock": lambda row: 0 if {"heater", "compressor"} <= {*electrical.NEVER_TOGETHER} else 2,
    "GFCI/RCD trip level personnel": lambda row: electrical.RESIDUAL_CURRENT_TRIP_A * 1000.0,
    "continuous load limit on a 15 A branch": lambda row: electrical.continuous_limit(15.0),
    "deadband for a compressor thermostat": lambda row: electrical.DEADBAND_K,
    "cycle of an on/off thermostat, lumped": lambda row: (
        electrical.cycle(row["C_J_K"], row["Q_cool_W"], row["load_W"], row["deadband_K"]).starts_per_hour
    ),
    "worst duty cycle for starts": lambda row: electrical.worst_load(row["Q_cool_W"]),
}
