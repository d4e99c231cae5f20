"""Questions on the line from keg to glass, and on what is left in the keg."""

from brewing import atmosphere, draught
from brewing.draught import Line, Liquid
from services.calc.question import Figure, Input, Question
from services.calc.questions.carbonation import ALTITUDE, PRESSURE_CAUTION, PSI

GAUGE = Input("gauge", "Pa gauge", "serving pressure", default="12 psi")
RISE = Input("rise", "m", "tap above the middle of the keg", default="0.5 m")
BORE = Input("bore", "mm", "inside diameter", default="4.76 mm")
ROUGHNESS = Input("roughness", "mm", "wall roughness", default="0.0015 mm")
FITTINGS = Input("fittings", "1", "losses of tap and fittings, in velocity heads", default="1")
TEMPERATURE = Input("temperature", "degC", "beer in the line", default="4 degC")
VISCOSITY = Input("viscosity", "mPa*s", "of the beer, 1.5 to 2.4, where it was measured", optional=True)
LINE_SOURCE = "Darcy-Weisbach with Colebrook's friction (textbook), as the fluids library has it"
LINE_FORMULA = "gauge = f L/d rho v^2/2 + rho g h + K rho v^2/2; f = 64/Re below Re 2300, Colebrook above"
LINE_RANGE = "bore 1 to 50 mm; +/-10 % for the viscosity of beer; between Re 2300 and 4000 no law holds well"


def _line(bore: float, rise: float, fittings: float, roughness: float) -> Line:
    return Line(bore / 1000.0, rise, fittings, roughness / 1000.0)


def _beer(temperature: float, viscosity: float | None) -> Liquid:
    return draught.beer_at(temperature, None if viscosity is None else viscosity / 1000.0)


def _flow_figures(flow: float, bore: float, liquid: Liquid) -> tuple[Figure, Figure]:
    number = draught.reynolds(flow, bore / 1000.0, liquid)
    unsure = "the flow is neither laminar nor turbulent: friction there is uncertain by tens of percent"
    return (
        Figure("velocity_m_s", "the beer moves at", draught.velocity(flow, bore / 1000.0), "m/s", 2),
        Figure("reynolds", "Reynolds number", number, "", 0, unsure if draught.transitional(number) else ""),
    )


def _line_length(
    gauge: float,
    rise: float,
    bore: float,
    flow: float,
    roughness: float,
    fittings: float,
    temperature: float,
    viscosity: float | None,
    tubing: str,
) -> tuple[Figure, ...]:
    liquid, line = _beer(temperature, viscosity), _line(bore, rise, fittings, roughness)
    length = draught.balanced_length(gauge, line, flow, liquid)
    gradient = draught.friction_gradient(flow, line.bore_m, liquid, line.roughness_m)
    return (
        Figure("length_m", "line that uses up the pressure", length, "m", 2),
        Figure("gradient_kpa_m", "friction", gradient / 1000.0, "kPa/m", 1),
        Figure("gradient_psi_ft", "", gradient / PSI * draught.FOOT, "psi/ft", 2),
        *_flow_figures(flow, bore, liquid),
        Figure(
            "rule_of_thumb_m",
            f"by the trade's list ({tubing})",
            draught.rule_of_thumb_length(gauge, rise, tubing),
            "m",
            2,
        ),
        Figure("line_volume_ml", "beer standing in it", draught.line_volume(length, line.bore_m) * 1000.0, "mL", 0),
    )


def _line_flow(
    length: float,
    gauge: float,
    rise: float,
    bore: float,
    roughness: float,
    fittings: float,
    temperature: float,
    viscosity: float | None,
) -> tuple[Figure, ...]:
    liquid, line = _beer(temperature, viscosity), _line(bore, rise, fittings, roughness)
    flow = draught.flow_through(length, gauge, line, liquid)
    return (
        Figure("flow_ml_s", "it pours", flow * 1e6, "mL/s", 1),
        Figure("half_litre_s", "half a litre takes", 0.5e-3 / flow, "s", 0),
        *_flow_figures(flow, bore, liquid),
    )


def _first_pour(
    keg: float, line: float, gauge: float, rise: float, length: float, bore: float, altitude: float
) -> tuple[Figure, ...]:
    air = atmosphere.pressure_at_altitude(altitude)
    freed = draught.gas_set_free(keg, line, gauge, rise, air)
    standing = draught.line_volume(length, bore / 1000.0)
    foam = "the first pour will foam: cool the line, shorten it, or pour the first glass slowly" if freed > 0.05 else ""
    return (
        Figure("line_volume_ml", "beer at the line's temperature", standing * 1000.0, "mL", 0),
        Figure("freed_volumes", "gas it cannot hold there", freed, "volumes", 2, foam),
        Figure("freed_ml", "which is, as gas", freed * standing * 1000.0, "mL", 0),
    )


def _keg_contents(
    gross: float | None, empty: float, filled: float, poured: float | None, glass: float, density: float
) -> tuple[Figure, ...]:
    if gross is not None:
        left = draught.contents_by_mass(gross, empty, density)
    elif poured is not None:
        left = draught.contents_by_flow(filled, poured)
    else:
        raise ValueError("gross or poured is missing: what does the keg weigh, or how much has been poured?")
    return (
        Figure("left_l", "beer left", left, "L", 2),
        Figure("pours", "pours left", float(draught.pours_left(left, glass)), "", 0),
    )


QUESTIONS = (
    Question(
        "line-length",
        "How long must the beer line be so that it pours without foaming?",
        (
            GAUGE,
            RISE,
            BORE,
            Input("flow", "m**3/s", "pour rate", default="63 mL/s"),
            ROUGHNESS,
            FITTINGS,
            TEMPERATURE,
            VISCOSITY,
            Input(
                "tubing", "", "for the trade's list", "3/16 in ID soft vinyl line", tuple(draught.TRADE_RESTRICTIONS)
            ),
        ),
        _line_length,
        LINE_FORMULA,
        f"{LINE_SOURCE}; the list of resistances is common practice without a source and carries fittings and "
        f"tolerance",
        LINE_RANGE,
        PRESSURE_CAUTION,
    ),
    Question(
        "line-flow",
        "How fast does this line pour?",
        (Input("length", "m", "line", default="2 m"), GAUGE, RISE, BORE, ROUGHNESS, FITTINGS, TEMPERATURE, VISCOSITY),
        _line_flow,
        LINE_FORMULA,
        LINE_SOURCE,
        LINE_RANGE,
        PRESSURE_CAUTION,
    ),
    Question(
        "first-pour",
        "What does a line warmer than the keg do to the first glass?",
        (
            Input("keg", "degC", "beer in the keg", default="4 degC"),
            Input("line", "degC", "line and tap", default="15 degC"),
            GAUGE,
            RISE,
            Input("length", "m", "line outside the cold", default="2 m"),
            BORE,
            ALTITUDE,
        ),
        _first_pour,
        "gas set free = volumes at keg temperature and pressure - volumes at line temperature and tap pressure",
        "chart of the trade as fitted by Hall 1995, from memory; at rest, after hours",
        "-1.1 to 21.1 degC; less when pours follow each other quickly",
    ),
    Question(
        "keg-contents",
        "How much beer is left in the keg, and how many pours?",
        (
            Input("gross", "kg", "keg on the scale", optional=True, such_as="15 kg"),
            Input("empty", "kg", "empty keg with its fittings", default="4.2 kg"),
            Input("filled", "L", "beer filled in, for a flow meter", default="19 L"),
            Input("poured", "L", "poured so far by a flow meter", optional=True),
            Input("glass", "L", "one pour", default="0.5 L"),
            Input("density", "kg/m**3", "of the beer", default="1010 kg/m**3"),
        ),
        _keg_contents,
        "(gross - empty) / density, or filled - poured",
        "mass balance",
        "a scale within its own error; flow meters count foam as beer",
    ),
)
