"""Questions on gas in beer: what it holds, what pressure holds it, how long it takes, and sugar instead of
pressure.
"""

from brewing import absorption, atmosphere, carbonation, priming
from services.calc.question import Figure, Input, Question

PSI, BAR = carbonation.PSI_PA, 1e5
ALTITUDE = Input("altitude", "m", "height above the sea", default="0 m")
TEMPERATURE = Input("temperature", "degC", "beer temperature", default="4 degC")
CHART = (
    "chart of the trade as fitted by Hall 1995, Zymurgy 18(2), from memory; 6.5 % below pure water (Weiss"
    " 1974) at 4 degC"
)
CHART_RANGE = "-1.1 to 21.1 degC (30 to 70 degF), 0 to 40 psi gauge; +/-0.05 volumes, beers differ by 5 %"
PRESSURE_CAUTION = (
    "Pressure bursts kegs and glass, and carbon dioxide suffocates. Stay below the lowest rating in the "
    "line, keep a relief "
    "valve on every vessel, ventilate, and have an independent alarm in closed rooms."
)


def gauge_figures(name: str, label: str, gauge_pa: float, warning: str = "") -> tuple[Figure, Figure]:
    """One pressure in both units that regulators are marked in."""
    return (
        Figure(f"{name}_psi", label, gauge_pa / PSI, "psi gauge", 1, warning),
        Figure(f"{name}_bar", "", gauge_pa / BAR, "bar gauge", 2),
    )


def _serving_pressure(volumes: float, temperature: float, altitude: float) -> tuple[Figure, ...]:
    air = atmosphere.pressure_at_altitude(altitude)
    gauge = carbonation.gauge_for(volumes, temperature, air)
    return (
        *gauge_figures("gauge", "set the regulator to", gauge),
        Figure("absolute_bar", "which is", (gauge + air) / BAR, "bar absolute", 2),
        Figure("altitude_part_psi", "of which for the altitude", atmosphere.gauge_to_add(air) / PSI, "psi", 1),
        Figure("grams_per_litre", "the beer then holds", carbonation.grams_per_litre(volumes), "g/L", 2),
    )


def _dissolved_gas(gauge: float, temperature: float, altitude: float) -> tuple[Figure, ...]:
    held = carbonation.volumes(temperature, gauge, atmosphere.pressure_at_altitude(altitude))
    return (
        Figure("volumes", "the beer will hold", held, "volumes", 2),
        Figure("grams_per_litre", "", carbonation.grams_per_litre(held), "g/L (real gas, 1.977 g/L a volume)", 2),
        Figure("grams_per_litre_ideal", "", carbonation.grams_per_litre(held, "ideal"), "g/L (ideal gas, 1.964)", 2),
    )


def _residual_gas(highest_temperature: float, altitude: float) -> tuple[Figure, ...]:
    left = carbonation.residual_volumes(highest_temperature, atmosphere.pressure_at_altitude(altitude))
    return (
        Figure("volumes", "left by fermentation", left, "volumes", 2),
        Figure("grams_per_litre", "", carbonation.grams_per_litre(left), "g/L", 2),
    )


def _carbonation_time(
    method: str, start: float, target: float, gauge: float, temperature: float, altitude: float
) -> tuple[Figure, ...]:
    end = carbonation.volumes(temperature, gauge, atmosphere.pressure_at_altitude(altitude))
    way = absorption.METHODS[method]
    soonest, latest = (
        absorption.time_to_volumes(target, rate, start, end) for rate in (way.fastest_per_day, way.slowest_per_day)
    )
    overshoot = absorption.overshoot_per_hour(way.fastest_per_day, target, end)
    return (
        Figure("equilibrium_volumes", "it would end at", end, "volumes", 2),
        Figure("soonest_h", "earliest", soonest / 3600.0, "h", 1),
        Figure("latest_h", "latest", latest / 3600.0, "h", 1),
        Figure("overshoot_per_h", "then goes on by", overshoot, "volumes/h", 2),
        Figure("customary", "customarily", way.customary),
        Figure("how", "how", way.how),
        Figure("risk", "risk", way.risk),
    )


def _priming_sugar(
    volume: float, volumes: float, highest_temperature: float, sugar: str, vessel: str, warmest: float, altitude: float
) -> tuple[Figure, ...]:
    air = atmosphere.pressure_at_altitude(altitude)
    residual = carbonation.residual_volumes(highest_temperature, air)
    mass = priming.sugar_mass(volume, volumes, residual, sugar)
    gauge = priming.bottle_gauge(volumes, warmest, air)
    return (
        Figure("sugar_g", f"{sugar.replace('_', ' ')} in all", mass * 1000.0, "g", 0),
        Figure("sugar_g_per_l", "", priming.sugar_mass(1.0, volumes, residual, sugar) * 1000.0, "g/L", 2),
        Figure("residual_volumes", "the beer holds already", residual, "volumes", 2),
        *gauge_figures("bottle", "a bottle at its warmest bears", gauge, priming.bottle_warning(volumes, vessel)),
        Figure("unfinished", "if 0.002 SG too early", priming.volumes_if_unfinished(0.002, volumes), "volumes", 1),
    )


QUESTIONS = (
    Question(
        "serving-pressure",
        "What pressure holds this much gas in the beer?",
        (Input("volumes", "vol", "gas wanted, in volumes or g/L", default="2.5 vol"), TEMPERATURE, ALTITUDE),
        _serving_pressure,
        "gauge = (V + 0.003342) / (0.01821 + 0.090115 exp(-(tF - 32) / 43.11)) - atmosphere, psi",
        CHART,
        CHART_RANGE,
        PRESSURE_CAUTION,
    ),
    Question(
        "dissolved-gas",
        "How much gas does beer hold at this pressure and temperature?",
        (Input("gauge", "Pa gauge", "pressure on the regulator", default="12 psi"), TEMPERATURE, ALTITUDE),
        _dissolved_gas,
        "V = (gauge + atmosphere) (0.01821 + 0.090115 exp(-(tF - 32) / 43.11)) - 0.003342, psi",
        CHART,
        CHART_RANGE,
        PRESSURE_CAUTION,
    ),
    Question(
        "residual-gas",
        "How much gas has fermentation left in the beer?",
        (Input("highest_temperature", "degC", "warmest since it stopped working hard", default="20 degC"), ALTITUDE),
        _residual_gas,
        "V = 3.0378 - 0.050062 tF + 0.00026555 tF^2, in proportion to the air pressure",
        "common quadratic of the trade, from memory; 0.02 to 0.06 volumes above the pressure chart at 0 psi",
        "0 to 26.7 degC (32 to 80 degF); cooling afterwards adds none unless gas is fed",
    ),
    Question(
        "carbonation-time",
        "How long until the beer has taken up the gas?",
        (
            Input("method", "", "way to carbonate", default="set and wait", choices=tuple(absorption.METHODS)),
            Input("start", "vol", "gas in the beer now", default="0.86 vol"),
            Input("target", "vol", "gas wanted", default="2.4 vol"),
            Input("gauge", "Pa gauge", "pressure held meanwhile", default="12 psi"),
            TEMPERATURE,
            ALTITUDE,
        ),
        _carbonation_time,
        "V(t) = Veq - (Veq - V0) exp(-k t), k 0.3 to 0.45 a day left alone, 12 to 36 shaken, 2 to 12 through a stone",
        "two-film absorption with one lumped rate; the rates are common practice without a source",
        "constant pressure and temperature, target below equilibrium; a factor of two either way",
        PRESSURE_CAUTION,
    ),
    Question(
        "priming-sugar",
        "How much sugar carbonates this beer in the bottle?",
        (
            Input("volume", "L", "beer to bottle", default="19 L"),
            Input("volumes", "vol", "gas wanted", default="2.4 vol"),
            Input("highest_temperature", "degC", "warmest since it stopped working hard", default="20 degC"),
            Input("sugar", "", "which sugar", default="sucrose", choices=tuple(priming.SUGARS)),
            Input("vessel", "", "which bottle", default="standard bottle", choices=tuple(priming.VESSELS)),
            Input("warmest", "degC", "warmest that the bottles will ever be", default="30 degC"),
            ALTITUDE,
        ),
        _priming_sugar,
        "m = (V - Vresidual) volume 1.9768 / y; y 0.514 sucrose, 0.489 glucose, 0.444 glucose monohydrate",
        "stoichiometry of fermentation (extract: Balling 1865); bottle pressure by Weiss 1974 times 0.964 for beer",
        "up to 6 volumes; sugar 5 % either way, since 0 to 10 % of it does not become gas; bottle pressure errs high",
        "Glass bursts. Bottle only finished beer, weigh the sugar, use bottles made for the pressure, keep "
        "them in a closed "
        "case, cool and away from faces.",
    ),
)
