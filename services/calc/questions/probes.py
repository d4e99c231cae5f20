"""Questions on probes and their calibration."""

from brewing import atmosphere, calibration, probes
from brewing.calibration import Point
from brewing.probes import SteinhartHart
from services.calc.question import Figure, Input, Question

REPEATABILITY = Input("repeatability", "K step", "scatter of single readings", default="0.03 K")


def _thermistor(resistance: float, a: float, b: float, c: float, reference: float, beta: float) -> tuple[Figure, ...]:
    curve = probes.thermistor(resistance, SteinhartHart(a, b, c))
    simple = probes.thermistor_by_beta(resistance, reference, beta)
    return (
        Figure("temperature_c", "by Steinhart-Hart", curve, "degC", 3),
        Figure("by_beta_c", "by the beta value", simple, "degC", 3),
        Figure("difference_k", "beta is off by", simple - curve, "K", 3),
    )


def _platinum_probe(resistance: float, at_zero: float, lead: float, grade: str) -> tuple[Figure, ...]:
    read = probes.platinum(resistance, at_zero)
    error = probes.lead_error(lead, read, at_zero)
    return (
        Figure("temperature_c", "temperature", read - error, "degC", 3),
        Figure("lead_error_k", "two-wire leads add", error, "K", 2),
        Figure("tolerance_k", f"a new class {grade} element is within", probes.platinum_tolerance(read, grade), "K", 2),
    )


def _ice_point(read: float, reading: float, repeatability: float) -> tuple[Figure, ...]:
    corrected = calibration.ice_point(read, repeatability)
    left = corrected.uncertainty(reading, repeatability)
    return (
        Figure("offset_k", "add to every reading", corrected.offset_c, "K", 3),
        Figure("corrected_c", "the reading becomes", corrected.correct(reading), "degC", 3),
        Figure("uncertainty_k", "standard uncertainty left", left, "K", 3),
        Figure("uncertainty_95_k", "at 95 %", 2.0 * left, "K", 3),
    )


def _boiling_point(altitude: float) -> tuple[Figure, ...]:
    air = atmosphere.pressure_at_altitude(altitude)
    return (
        Figure("temperature_c", "water boils at", calibration.boiling_point(air), "degC", 2),
        Figure("pressure_kpa", "under", air / 1000.0, "kPa", 2),
        Figure("weather_k", "weather moves that by", 0.5, "K either way", 1),
    )


def _two_point(
    cold_read: float, cold_true: float, warm_read: float, warm_true: float, warm_sure: float, reading: float,
    repeatability: float,
) -> tuple[Figure, ...]:  # fmt: skip
    cold = Point(cold_read, cold_true, repeatability)
    warm = Point(warm_read, warm_true, repeatability, warm_sure)
    corrected = calibration.two_point(cold, warm)
    left = corrected.uncertainty(reading, repeatability)
    outside = "the reading lies outside the two points: the uncertainty grows quickly there"
    return (
        Figure("offset_c", "offset", corrected.offset_c, "degC", 3),
        Figure("slope", "slope", corrected.slope, "", 5),
        Figure("corrected_c", "the reading becomes", corrected.correct(reading), "degC", 3),
        Figure(
            "uncertainty_k",
            "standard uncertainty left",
            left,
            "K",
            3,
            "" if cold_read <= reading <= warm_read else outside,
        ),
        Figure("uncertainty_95_k", "at 95 %", 2.0 * left, "K", 3),
    )


def _onewire_reading(scratchpad: str) -> tuple[Figure, ...]:
    try:
        content = bytes.fromhex(scratchpad)
    except ValueError as error:
        raise ValueError("scratchpad: write nine bytes in hexadecimal, as the bus gives them") from error
    fault = probes.ds18b20_fault(content)
    return (
        Figure(
            "temperature_c",
            "temperature",
            "none" if fault else probes.ds18b20_temperature(*content[:2]),
            "degC",
            4,
            fault,
        ),
        Figure("check_byte", "check byte of the first eight", f"{probes.crc8(content[:8]):02X}"),
    )


QUESTIONS = (
    Question(
        "onewire-reading",
        "What do these nine bytes of a DS18B20 say?",
        (Input("scratchpad", "text", "nine bytes in hexadecimal", default="72 01 4b 46 7f ff 0e 10 57"),),
        _onewire_reading,
        "sixteenths of a degree in two's complement; check byte x^8 + x^5 + x^4 + 1, reflected, start 0",
        "DS18B20 datasheet; faults as in the Linux kernel's w1_therm documentation",
        "-55 to 125 degC; 85 degC with byte 6 at 0x0C is the power-on value, all zeros pass the check and mean a short",
    ),
    Question(
        "thermistor",
        "What temperature does this thermistor show?",
        (
            Input("resistance", "ohm", "measured", default="10000 ohm"),
            Input("a", "1", "Steinhart-Hart A", default="0.001129148"),
            Input("b", "1", "Steinhart-Hart B", default="0.000234125"),
            Input("c", "1", "Steinhart-Hart C", default="8.76741e-8"),
            Input("reference", "ohm", "resistance at 25 degC", default="10000 ohm"),
            Input("beta", "K step", "beta value", default="3950 K"),
        ),
        _thermistor,
        "1/T = A + B ln R + C (ln R)^3; 1/T = 1/T0 + ln(R/R0) / beta",
        "Steinhart & Hart 1968; coefficients of a common 10 kohm part from its public datasheet",
        "-80 to 200 degC; the curve within 0.003 K over 0 to 50 degC, beta off by half a kelvin at 0 degC",
    ),
    Question(
        "platinum-probe",
        "What temperature does this platinum probe show?",
        (
            Input("resistance", "ohm", "measured", default="107.79 ohm"),
            Input("at_zero", "ohm", "resistance at 0 degC", default="100 ohm"),
            Input("lead", "ohm", "both leads of two-wire wiring", default="0 ohm"),
            Input("grade", "", "tolerance class", default="B", choices=tuple(probes.TOLERANCE_CLASSES)),
        ),
        _platinum_probe,
        "R = R0 (1 + A t + B t^2), below 0 degC also + R0 C (t - 100) t^3, inverted",
        "IEC 60751",
        "-200 to 850 degC",
    ),
    Question(
        "ice-point",
        "What correction does an ice bath give, and how sure is it?",
        (
            Input("read", "degC", "what the probe shows in stirred ice water", default="0.3 degC"),
            Input("reading", "degC", "a reading to correct", default="18 degC"),
            REPEATABILITY,
        ),
        _ice_point,
        "true = read + offset; uncertainties in squares, with 0.2 % of the distance from 0 degC for the slope",
        "combination as in JCGM 100:2008; a home ice bath within 0.03 K, from memory",
        "probes off by less than 5 K; readings -60 to 150 degC",
    ),
    Question(
        "boiling-point",
        "At what temperature does water boil here?",
        (Input("altitude", "m", "height above the sea", default="0 m"),),
        _boiling_point,
        "vapour pressure of water equals the air's",
        "Wagner & Pruss 1993; US Standard Atmosphere 1976",
        "0 to 4000 m; within 0.01 K of the pressure, which weather moves by 2 kPa",
        "Steam and boiling water scald.",
    ),
    Question(
        "two-point",
        "What correction do two known temperatures give, and how sure is it?",
        (
            Input("cold_read", "degC", "probe in the cold one", default="0.3 degC"),
            Input("cold_true", "degC", "truth of it", default="0 degC"),
            Input("warm_read", "degC", "probe in the warm one", default="30.5 degC"),
            Input("warm_true", "degC", "truth of it", default="30 degC"),
            Input("warm_sure", "K step", "standard uncertainty of that truth", default="0.1 K"),
            Input("reading", "degC", "a reading to correct", default="18 degC"),
            REPEATABILITY,
        ),
        _two_point,
        "true = offset + slope x read; each point's uncertainty weighted by its share",
        "straight line through two points; combination as in JCGM 100:2008",
        "points at least 5 K apart, slope within 10 % of 1; best between the points",
    ),
)
