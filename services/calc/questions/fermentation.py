"""How a fermentation will go, what heat it frees, and where readings say that it is going."""

from brewing import fermentation_heat, gravity, units
from brewing.fermentation import Course, Jacket, Wort, course, inoculum_share
from brewing.forecast import Expectation, Fit, Reading, fit
from brewing.kinetics import STRAINS, Programme
from brewing.stall import Pace, progress
from services.calc.question import BadInput, Figure, Input, Question

VOLUME = Input("volume", "L", "wort in the vessel", "19 L")
ORIGINAL = Input("original_gravity", "SG", "gravity of the wort", "1.050")
FINAL = Input("final_gravity", "SG", "gravity at which this yeast should leave it", "1.010")
STRAIN = Input("strain", "1", "kind of yeast: " + ", ".join(STRAINS), "ale", tuple(STRAINS))
TEMPERATURE = Input("temperature", "degC", "temperature of the beer", "18 degC")
PROGRAMME = Input(
    "programme",
    "text",
    "day=temperature, ... instead of one temperature, as in '0=10 degC, 6=10 degC, 8=16 degC'",
    optional=True,
)
EXCHANGE = Input(
    "exchange",
    "W/K",
    "heat exchanged with the room by a vessel left alone; the temperature is then the room's",
    optional=True,
)
CELLS = Input("cells", "cell", "living cells pitched; by custom of the strain when left out", optional=True)
KINETICS = (
    "logistic rate as in MacIntosh & Speers and ASBC Yeast-14, cardinal temperatures by Rosso et al. 1993 (published); "
    "rates of the strains from memory"
)
FORMULA = (
    "dx/dt = k f(T) (x + i a)(1 - x)^n; 2.0665 g extract = 1 g alcohol + 0.9565 g CO2 + 0.11 g yeast, 587 J a gram"
)
CO2_CAUTION = (
    "fermentation fills closed rooms with carbon dioxide, which kills without warning: ventilate, and keep an "
    "independent CO2 alarm near the floor; never seal a working vessel without relief"
)


def _pitched(cells: float | None, wort: Wort, strain: str) -> float:
    if cells is not None:
        return cells
    return STRAINS[strain].cells_per_ml_plato * gravity.plato(wort.original_gravity) * wort.volume_l * 1000.0


def _ferment(
    volume: float,
    original_gravity: float,
    final_gravity: float,
    strain: str,
    temperature: float,
    programme: str | None,
    exchange: float | None,
    cells: float | None,
) -> tuple[Figure, ...]:
    wort = Wort(volume, original_gravity, final_gravity)
    pitched = _pitched(cells, wort, strain)
    around = _programme(programme) if programme else Programme.steady(temperature)
    jacket = None if exchange is None else Jacket(around.at(0.0), exchange)
    worked = course(wort, STRAINS[strain], pitched, around, days=60.0, jacket=jacket)
    return (
        *_end_figures(worked),
        *_heat_figures(worked),
        Figure("warmest_c", "warmest beer", max(state.temperature_c for state in worked.states), "degC", 1),
        Figure("billion_cells", "from", pitched / 1e9, "billion cells", 0),
    )


def _programme(written: str) -> Programme:
    try:
        pairs = [one.split("=") for one in written.split(",")]
        return Programme(tuple((float(day), units.read(at, "degC")) for day, at in pairs))
    except ValueError as error:
        raise BadInput(f"programme: {error}; write it like '0=10 degC, 6=10 degC, 8=16 degC'") from error


def _end_figures(worked: Course) -> tuple[Figure, ...]:
    end, clean = worked.day_when_fermented(), worked.day_when_clean()
    warning = "" if end else "at this temperature this yeast does not finish within 60 days"
    return (
        Figure("half_way_d", "half fermented after", worked.day_when_fermented(0.5), "d", 1),
        Figure("end_d", "99 % fermented after", end, "d", 1, warning),
        Figure("clean_d", "diketones below 0.1 mg/L after", clean, "d", 1),
    )


def _heat_figures(worked: Course) -> tuple[Figure, ...]:
    day, watts = worked.peak_heat()
    return (
        Figure("peak_heat_w", f"most heat, on day {day:.1f}", watts, "W", 1),
        Figure("total_heat_kj", "heat in all", worked.total_heat_j / 1000.0, "kJ", 0),
        Figure("co2_kg", "carbon dioxide in all", worked.states[-1].co2 * worked.wort.mass_kg, "kg", 2),
    )


def _heat(volume: float, original_gravity: float, fall_per_day: float) -> tuple[Figure, ...]:
    """The fall is apparent, as a hydrometer shows it."""
    real = fall_per_day * gravity.REAL_SHARE
    watts = fermentation_heat.heat_rate(volume, original_gravity, real)
    low, high = (watts * factor for factor in fermentation_heat.HEAT_SPREAD)
    warms = watts * 86_400.0 / fermentation_heat.wort_mass(volume, original_gravity) / fermentation_heat.BEER_J_KG_K
    return (
        Figure("heat_w", "heat set free", watts, "W", 1),
        Figure("least_w", "published values allow", low, "W", 1),
        Figure("most_w", "to", high, "W", 1),
        Figure("warms_k_per_day", "warms the beer, if none is carried away, by", warms, "K/d", 1),
    )


def _forecast(
    readings: str, original_gravity: float, final_gravity: float, strain: str, temperature: float
) -> tuple[Figure, ...]:
    expected = _expectation(original_gravity, final_gravity, strain)
    read = _read(readings)
    fitted = fit(read, expected, Programme.steady(temperature))
    judged = progress(read, expected, max(one.day for one in read))
    warning = judged.why if judged.pace is Pace.STALLED else ""
    return (
        Figure("final_gravity", "heading for", fitted.final_gravity, "", 4),
        Figure("final_gravity_90", "give or take, nine times in ten", 1.645 * fitted.final_gravity_deviation, "", 4),
        *_forecast_end(fitted),
        Figure("pace", "gravity now", f"{judged.pace.value}: {judged.why}", warning=warning),
    )


def _forecast_end(fitted: Fit) -> tuple[Figure, ...]:
    end = fitted.end()
    return (
        Figure("end_d", "over on day", end.day, "", 1),
        Figure("earliest_d", "earliest", end.earliest, "", 1),
        Figure("latest_d", "latest", end.latest, "", 1),
    )


def _expectation(original_gravity: float, final_gravity: float, strain: str) -> Expectation:
    wort = Wort(19.0, original_gravity, final_gravity)
    return Expectation(
        original_gravity, final_gravity, STRAINS[strain], inoculum_share(wort, _pitched(None, wort, strain))
    )


def _read(written: str) -> list[Reading]:
    try:
        pairs = [one.split("=") for one in written.replace(" ", "").split(",")]
        return [Reading(float(day), float(value)) for day, value in pairs]
    except ValueError as error:
        raise BadInput(
            f"readings: {written!r} is no list of day=gravity; write it like '0=1.050, 1.5=1.041'"
        ) from error


QUESTIONS = (
    Question(
        name="ferment",
        asks="How long will this fermentation take, and what heat does it free?",
        inputs=(VOLUME, ORIGINAL, FINAL, STRAIN, TEMPERATURE, PROGRAMME, EXCHANGE, CELLS),
        work=_ferment,
        formula=FORMULA,
        source=KINETICS,
        holds="0 to 40 degC and within the strain's own limits; a guess until readings come, off by half in time",
        caution=CO2_CAUTION,
    ),
    Question(
        name="fermentation-heat",
        asks="How much heat does yeast set free at this pace?",
        inputs=(VOLUME, ORIGINAL, Input("fall_per_day", "degP/d", "fall of apparent extract", "3 degP/d")),
        work=_heat,
        formula="W = mass x 0.8192 fall x 587 kJ/kg",
        source="252 Btu/lb of extract, published values -2/+11 %; 0.8192 by Balling (published)",
        holds="up to 24 degP a day",
        caution=CO2_CAUTION,
    ),
    Question(
        name="gravity-forecast",
        asks="Where do these readings say that the beer is going, and when will it be there?",
        inputs=(
            Input("readings", "text", "day=gravity, day=gravity, ...", "0=1.050, 1=1.046, 2=1.034, 3=1.022"),
            ORIGINAL,
            FINAL,
            STRAIN,
            TEMPERATURE,
        ),
        work=_forecast,
        formula="the kinetics of `ferment`, fitted to the readings by least squares with what is expected as a prior",
        source=KINETICS,
        holds="readings good to 0.0015, corrected for temperature; 90 % bands",
        caution="bottle only when gravity has rested for days at its end: unfinished beer bursts glass",
    ),
)
