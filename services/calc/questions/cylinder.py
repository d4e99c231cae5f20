"""Questions on the gas cylinder and on gas in the room."""

from brewing import cylinder, exposure
from services.calc.question import Figure, Input, Question
from services.calc.questions.carbonation import BAR, PRESSURE_CAUTION

ROOM_CAUTION = (
    "Carbon dioxide suffocates without warning and gathers at the floor: ventilate low, keep an "
    "independent alarm, never go in "
    "after somebody who has collapsed. Local limits rule; this figure protects nobody."
)


def _gas_cylinder(
    gross: float, tare: float, full: float, temperature: float, keg: float, gauge: float, volumes: float
) -> tuple[Figure, ...]:
    left = cylinder.contents(gross, tare)
    last = cylinder.last_liquid_mass(full, temperature)
    carbonating = cylinder.carbonating_mass(keg, 0.86, max(volumes, 0.86))
    pushing = cylinder.keg_gas_mass(keg, gauge, temperature)
    inside = cylinder.pressure(left, cylinder.internal_volume(full), temperature)
    blind = left > last
    return (
        Figure("left_kg", "gas left", left, "kg", 2),
        Figure("pushing_g", "to push one keg out", pushing * 1000.0, "g", 0),
        Figure("carbonating_g", "to carbonate one", carbonating * 1000.0, "g", 0),
        Figure("kegs_pushed", "kegs it will push out", cylinder.kegs_served(left, pushing), "kegs", 1),
        Figure(
            "kegs_carbonated",
            "kegs it will carbonate and push",
            cylinder.kegs_served(left, pushing + carbonating),
            "kegs",
            1,
        ),
        Figure("pressure_bar", "its gauge shows about", inside / BAR - 1.013, "bar", 1),
        Figure("blind", "and says nothing of what is left", blind),
        Figure("last_liquid_kg", "the gauge starts to fall at", last, "kg", 2),
    )


def _room_gas(
    released: float, room: float, temperature: float, source: float, air_changes: float
) -> tuple[Figure, ...]:
    added = exposure.release(released, room, temperature)
    steady = exposure.steady_rise(source, air_changes, room, temperature)
    return (
        Figure("release_ppm", "if all of that escapes", added, "ppm added", 0, exposure.verdict(added)),
        Figure("steady_ppm", "from the steady source", steady, "ppm added", 0, exposure.verdict(steady)),
        Figure("limit_8h_ppm", "8 h limit (US)", exposure.LIMITS["osha_pel"].ppm, "ppm", 0),
        Figure("limit_15min_ppm", "15 min limit", exposure.LIMITS["niosh_stel"].ppm, "ppm", 0),
        Figure("danger_ppm", "immediately dangerous", exposure.LIMITS["idlh"].ppm, "ppm", 0),
    )


QUESTIONS = (
    Question(
        "gas-cylinder",
        "How much gas is left in the cylinder, and for how many kegs?",
        (
            Input("gross", "kg", "what it weighs now", default="6 kg"),
            Input("tare", "kg", "tare stamped on the neck", default="4.5 kg"),
            Input("full", "kg", "charge of a full one", default="2.268 kg"),
            Input("temperature", "degC", "where cylinder and keg stand", default="20 degC"),
            Input("keg", "L", "one keg", default="19 L"),
            Input("gauge", "Pa gauge", "serving pressure", default="12 psi"),
            Input("volumes", "vol", "carbonation", default="2.5 vol"),
        ),
        _gas_cylinder,
        "mass = gross - tare; the gauge is flat above vapour density x water capacity; 10 % taken as wasted",
        "Span & Wagner 1996 for CO2; filling 68 % of the water capacity, 49 CFR 173.304a; waste is common practice",
        "-20 to 30.9 degC; gas to a tenth, kegs as a guide",
        "Keep it upright, chained and below 50 degC: a full one is solid with liquid near 27 degC. Never "
        "touch its relief "
        "device. " + PRESSURE_CAUTION,
    ),
    Question(
        "room-gas",
        "How high does carbon dioxide rise in this room?",
        (
            Input("released", "kg", "gas that may escape at once", default="2.268 kg"),
            Input("room", "m**3", "free volume of the room", default="30 m**3"),
            Input("temperature", "degC", "room temperature", default="20 degC"),
            Input("source", "kg/s", "steady source, as from fermentation", default="0.006 kg/h"),
            Input("air_changes", "1/h", "air changes", default="0.5 1/h"),
        ),
        _room_gas,
        "1 - exp(-V / room) for a release; G / (G + Q) for a steady source",
        "well-mixed room; limits from NIOSH (1994) and 29 CFR 1910.1000 Table Z-1",
        "well mixed: near the floor it is worse and sooner",
        ROOM_CAUTION,
    ),
)
