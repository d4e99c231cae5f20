"""Evaluates the customary figures of the trade."""

from brewing import carbonation, thermal, units

EVALUATORS = {
    "keg volume": lambda row: units.read("5 gal", "L"),
    "5 US gal": lambda row: units.read("5 gal", "L"),
    "serving pressure": lambda row: carbonation.gauge_for(2.7, 4.0) / carbonation.PSI_PA,
    "cold crash hold": lambda row: thermal.CRASH_HOLD_S / 3600.0,
    "fridge water bucket floor for a jacketed fermenter": lambda row: thermal.between(4.0, 20.0, 1.0 / 2.2),
}
HABITS = {"keg volume": (18.5, 19.5), "serving pressure": (8.0, 18.0), "cold crash hold": (12.0, 72.0)}
