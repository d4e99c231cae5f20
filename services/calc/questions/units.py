"""One quantity in every unit that the trade uses for it."""

from brewing import atmosphere, gravity, units
from services.calc.question import BadInput, Figure, Input, Question

ALTITUDE = Input("altitude", "m", "height above the sea, for gauge and absolute pressure", "0 m")
SCALES: dict[str, tuple[str, ...]] = {
    "degC": ("degC", "degF", "K"),
    "L": ("L", "gal", "impgal", "bbl", "USpint", "pint", "floz"),
    "kg": ("kg", "g", "lb", "oz"),
    "m": ("m", "cm", "ft", "in"),
    "g/L": ("g/L", "vol"),
    "W": ("W", "kW", "btu/hour"),
    "kJ": ("kJ", "kW*hour", "kcal", "btu"),
}
NAMES = {
    "gal": "US gal", "impgal": "imperial gal", "bbl": "US barrels of beer", "USpint": "US pints",
    "pint": "imperial pints", "floz": "US fl oz", "vol": "volumes of CO2", "btu/hour": "Btu/h", "kW*hour": "kWh",
    "btu": "Btu",
}  # fmt: skip
PRESSURES = ("bar", "psi", "kPa")


def _in_other_units(quantity: str, altitude: float) -> tuple[Figure, ...]:
    for unit, others in SCALES.items():
        try:
            value = units.read(quantity, unit)
        except units.QuantityError:
            continue
        return tuple(_figure(units.convert(value, unit, other), other) for other in others)
    return _pressure(quantity, altitude) or _gravity(quantity)


def _pressure(quantity: str, altitude: float) -> tuple[Figure, ...]:
    air = atmosphere.pressure_at_altitude(altitude)
    for kind, air_to_add in (("Pa gauge", air), ("Pa absolute", 0.0)):
        try:
            absolute = units.read(quantity, kind) + air_to_add
        except units.QuantityError:
            continue
        return (*_scale(absolute - air, "gauge"), *_scale(absolute, "absolute"))
    return ()


def _scale(pascal: float, kind: str) -> tuple[Figure, ...]:
    return tuple(_figure(units.convert(pascal, "Pa", unit), unit, f" {kind}") for unit in PRESSURES)


def _gravity(quantity: str) -> tuple[Figure, ...]:
    try:
        specific = units.read(quantity, "SG")
    except units.QuantityError as error:
        raise BadInput(
            f"{quantity!r} is none of the trade's quantities; write it like '12 psi' or '12.4 degP'"
        ) from error
    return (_figure(specific, "SG"), _figure(gravity.plato(specific), "degP"))


def _figure(value: float, unit: str, kind: str = "") -> Figure:
    digits = 4 if unit in ("SG", "bbl") or abs(value) < 1.0 else 2
    return Figure((unit + kind).replace(" ", "_"), "", value, NAMES.get(unit, unit) + kind, digits)


QUESTIONS = (
    Question(
        name="in-other-units",
        asks="What is this quantity in other units?",
        inputs=(
            Input("quantity", "text", "a number and its unit; a plain pressure is gauge", such_as="12 psi"),
            ALTITUDE,
        ),
        work=_in_other_units,
        formula="absolute = gauge + air's; 1 volume of CO2 = 1.9768 g/L; Plato by the ASBC polynomial",
        source="NIST SP 811; US Standard Atmosphere 1976; Span & Wagner 1996; ASBC Table 1 (published)",
        holds="a volume of CO2 as a real gas at 0 degC and 1 atm; as an ideal gas it would be 1.9635 g/L",
    ),
)
