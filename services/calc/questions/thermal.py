"""Questions on heat, moist air and the compressor."""

from brewing import coolant, door, electrical, psychrometrics, reservoir, thermal, two_node
from brewing.door import Doorway
from brewing.psychrometrics import Air
from brewing.reservoir import Crash, Reservoir
from brewing.thermal import Mass
from brewing.two_node import Pair, Temperatures
from services.calc.question import Figure, Input, Question

MAINS_CAUTION = (
    "Mains and flammable refrigerant kill: wiring belongs to licensed people and local codes; fit a "
    "residual-current device and "
    "an independent thermal cut-out whatever software does."
)
HUMIDITY = Input("humidity", "percent", "relative humidity outside", default="50 %")
AMBIENT = Input("ambient", "degC", "room", default="20 degC")


def _crash_time(
    volume: float, start: float, target: float, ambient: float, ua: float, cooling: float
) -> tuple[Figure, ...]:
    beer = Mass(volume * 1.01)
    seconds = thermal.crash_time(beer, start, target, ambient, ua, cooling)
    ice = "the beer is driven to near its freezing point: watch it" if target < 0.0 else ""
    return (
        Figure("time_h", "it takes", seconds / 3600.0, "h", 1, ice),
        Figure("heat_kj", "heat to take out", thermal.sensible_heat(beer, start, target) / 1000.0, "kJ", 0),
        Figure("mean_w", "on average", thermal.cooling_load(beer, start, target, max(seconds, 1.0)), "W", 0),
        Figure("settles_c", "left on, it would settle at", thermal.settles_at(ambient, ua, cooling), "degC", 1),
    )


def _bath_crash(
    bath: float, fraction: float, start: float, volume: float, beer: float, target: float,
    jacket: float, room_leak: float, ambient: float, chiller: float,
) -> tuple[Figure, ...]:  # fmt: skip
    share = fraction / 100.0
    cold = Mass(bath * 1e-3 * coolant.density(share, start), coolant.specific_heat(share, start))
    warm = Mass(volume * 1.01)
    pair = Pair(cold, warm, jacket, room_leak, room_c=ambient, chill_w=chiller)
    begin = Temperatures(start, beer)
    seconds = two_node.time_to_reach(pair, begin, target)
    then = two_node.after(pair, begin, seconds)
    ice = coolant.warmest_freezing_point(share)
    frozen = (
        "the chiller would take the bath below its freezing point: it needs its thermostat" if then.bath_c < ice else ""
    )
    return (
        Figure("time_h", "it takes", seconds / 3600.0, "h", 1),
        Figure("bath_c", "the bath is then at", then.bath_c, "degC", 1, frozen),
        Figure("met_c", "without chiller or leak they would meet at",
               thermal.mixed_temperature(cold, start, warm, beer), "degC", 1),
        Figure("heat_kj", "heat to take out", thermal.sensible_heat(warm, beer, target) / 1000.0, "kJ", 0),
    )  # fmt: skip


def _chamber_balance(
    inside: float, ambient: float, ua: float, cooling: float, fermentation: float, fans: float, doors: float
) -> tuple[Figure, ...]:
    balance = thermal.chamber_balance(inside, ambient, ua, cooling, fermentation, fans, doors)
    short = "it cannot hold that temperature" if balance.spare_w < 0.0 else ""
    return (
        Figure("walls_w", "through the walls", balance.walls_w, "W", 1),
        Figure("gain_w", "heat coming in", balance.gain_w, "W", 1),
        Figure("spare_w", "cooling to spare", balance.spare_w, "W", 1, short),
        Figure("duty", "cooling runs", balance.duty * 100.0 if cooling else None, "% of the time", 0),
    )


def _crashes_that_fit(
    bath: float, fraction: float, start: float, lowest: float, highest: float, chiller: float, leak: float,
    vessels: float, volume: float, beer_from: float, beer_to: float, duration: float,
) -> tuple[Figure, ...]:  # fmt: skip
    share = fraction / 100.0
    cold = Mass(bath * 1e-3 * coolant.density(share, lowest), coolant.specific_heat(share, lowest))
    held = Reservoir(cold, lowest, highest, chiller, leak)
    crashes = [Crash(Mass(volume * 1.01), beer_from, beer_to, 0.0, duration)] * round(vessels)
    verdict = reservoir.carries(held, crashes, start)
    short = "" if verdict.fits else "the bath gets too warm: stagger the crashes, take longer, or chill harder"
    return (
        Figure("fits", "it carries them", verdict.fits, warning=short),
        Figure("warmest_c", "the bath rises to", verdict.warmest_c, "degC", 1),
        Figure("stored_kj", "cold stored when ready", reservoir.stored_cold(held) / 1000.0, "kJ", 0),
        Figure("missing_kj", "missing", verdict.missing_j / 1000.0, "kJ", 0),
        Figure("chiller_w", "chiller that would do", reservoir.chiller_for(held, crashes, start), "W", 0),
    )


def _door_open(
    opened: float, chamber: float, width: float, height: float, inside: float, ambient: float, humidity: float
) -> tuple[Figure, ...]:
    doorway, cold, warm = Doorway(width * height, height), Air(inside, 0.8), Air(ambient, humidity / 100.0)
    flow = door.exchange(doorway, cold, warm)
    return (
        Figure("heat_kj", "heat let in", door.heat(opened, chamber, doorway, cold, warm) / 1000.0, "kJ", 1),
        Figure("all_air_kj", "at most, one change of air", door.air_change_heat(chamber, cold, warm) / 1000.0, "kJ", 1),
        Figure("rate_w", "while cold air falls out", door.heat_rate(doorway, cold, warm), "W", 0),
        Figure("empty_s", "which lasts", chamber / flow if flow > 0.0 else None, "s", 1),
    )


def _condensation(ambient: float, humidity: float, surface: float) -> tuple[Figure, ...]:
    air = Air(ambient, humidity / 100.0)
    wet = psychrometrics.condenses(air, surface)
    said = ("it rimes" if surface < 0.0 else "it drips: insulate it airtight, or dry the air") if wet else ""
    return (
        Figure("dew_point_c", "dew point (frost point below 0)", psychrometrics.dew_point(*air[:2]), "degC", 1),
        Figure("condenses", "the surface gets wet", wet, warning=said),
        Figure("humidity_ratio", "water in the air", psychrometrics.humidity_ratio(air) * 1000.0, "g/kg dry air", 2),
        Figure("driest_surface_c", "stays dry above", psychrometrics.driest_surface(air), "degC", 1),
    )


def _compressor_cycle(mass: float, heat: float, cooling: float, load: float, deadband: float) -> tuple[Figure, ...]:
    capacity = Mass(mass, heat).capacity
    round_ = electrical.cycle(capacity, cooling, load, deadband)
    often = round_.starts_per_hour > electrical.MOST_STARTS_PER_HOUR or round_.off_s < electrical.LEAST_REST_S
    return (
        Figure("on_min", "runs for", round_.on_s / 60.0, "min", 1),
        Figure("off_min", "rests for", round_.off_s / 60.0, "min", 1),
        Figure("starts_per_h", "starts", round_.starts_per_hour, "an hour", 2, "it short-cycles" if often else ""),
        Figure("worst_load_w", "most starts at a load of", electrical.worst_load(cooling), "W", 0),
        Figure("deadband_k", "deadband for 6 starts at worst", electrical.deadband_for(capacity, cooling), "K", 2),
    )


QUESTIONS = (
    Question(
        "crash-time",
        "How long does a crash take?",
        (
            Input("volume", "L", "beer", default="19 L"),
            Input("start", "degC", "beer now", default="20 degC"),
            Input("target", "degC", "beer wanted", default="2 degC"),
            AMBIENT,
            Input("ua", "W/K", "heat leak of the chamber", default="1.5 W/K"),
            Input("cooling", "W", "cooling power (not electrical)", default="60 W"),
        ),
        _crash_time,
        "t = m c / UA ln((T0 - Te) / (Tt - Te)), Te = ambient - cooling / UA",
        "Newton's law of cooling in closed form; 4050 J/(kg K), widely quoted, +/-3 %",
        "stirred or small vessels, sensible heat only; a still one takes 10 to 20 % longer at its core",
        MAINS_CAUTION,
    ),
    Question(
        "bath-crash",
        "How long does a bath take to bring a jacketed beer down?",
        (
            Input("bath", "L", "coolant", default="40 L"),
            Input("fraction", "percent", "propylene glycol by mass", default="30 %"),
            Input("start", "degC", "bath at the start", default="-4 degC"),
            Input("volume", "L", "beer", default="23 L"),
            Input("beer", "degC", "beer now", default="20 degC"),
            Input("target", "degC", "beer wanted", default="2 degC"),
            Input("jacket", "W/K", "between bath and beer while the pump runs", default="15 W/K"),
            Input("room_leak", "W/K", "between bath and room", default="2 W/K"),
            AMBIENT,
            Input("chiller", "W", "cooling power of the chiller", default="150 W"),
        ),
        _bath_crash,
        "two linear heat balances, bath and beer, solved in closed form",
        "eigen solution of the two-node model; coolant by Melinder 2010",
        "pump and chiller always on, no ice; looked for within two weeks",
        MAINS_CAUTION,
    ),
    Question(
        "chamber-balance",
        "Can this chamber hold that temperature?",
        (
            Input("inside", "degC", "temperature to hold", default="4 degC"),
            AMBIENT,
            Input("ua", "W/K", "heat leak of the chamber", default="1.5 W/K"),
            Input("cooling", "W", "cooling power (not electrical)", default="60 W"),
            Input("fermentation", "W", "heat of fermentation", default="0 W"),
            Input("fans", "W", "fans inside", default="3 W"),
            Input("doors", "J/h", "heat let in by doors", default="20 kJ/h"),
        ),
        _chamber_balance,
        "cooling to spare = cooling - UA (ambient - inside) - fermentation - fans - doors",
        "heat balance",
        "steady state",
        MAINS_CAUTION,
    ),
    Question(
        "crashes-that-fit",
        "Does this reservoir carry that many crashes at once?",
        (
            Input("bath", "L", "coolant", default="40 L"),
            Input("fraction", "percent", "propylene glycol by mass", default="30 %"),
            Input("start", "degC", "bath at the start", default="-4 degC"),
            Input("lowest", "degC", "where the chiller stops", default="-4 degC"),
            Input("highest", "degC", "warmest that still cools", default="0 degC"),
            Input("chiller", "W", "cooling power of the chiller", default="250 W"),
            Input("leak", "W", "heat leaking into the bath", default="20 W"),
            Input("vessels", "1", "vessels crashed together", default="2"),
            Input("volume", "L", "beer in each", default="23 L"),
            Input("beer_from", "degC", "beer at the start", default="20 degC"),
            Input("beer_to", "degC", "beer at the end", default="2 degC"),
            Input("duration", "s", "time for it", default="12 h"),
        ),
        _crashes_that_fit,
        "m c dT/dt = loads + leak - chiller, followed from start to end",
        "energy balance; coolant by Melinder 2010",
        "heat spread evenly over the crash; a real one loads the bath more at first, so leave a quarter unused",
        MAINS_CAUTION,
    ),
    Question(
        "door-open",
        "How much heat does an open door let in?",
        (
            Input("opened", "s", "how long it stands open", default="30 s"),
            Input("chamber", "m**3", "air in the chamber", default="0.2 m**3"),
            Input("width", "m", "door opening", default="0.6 m"),
            Input("height", "m", "door opening", default="1.2 m"),
            Input("inside", "degC", "chamber air", default="4 degC"),
            AMBIENT,
            HUMIDITY,
        ),
        _door_open,
        "0.221 A (1 - ro/ri)^0.5 (g H)^0.5 Fm, capped at one change of air; air inside taken at 80 %",
        "Gosney & Olama 1975, as printed for refrigerated rooms; moist air by ASHRAE 2017",
        "+/-20 %, while cold air remains; walls and shelves not counted",
    ),
    Question(
        "condensation",
        "Does a surface this cold get wet?",
        (AMBIENT, HUMIDITY, Input("surface", "degC", "coldest surface", default="4 degC")),
        _condensation,
        "wet when its saturation pressure is below the air's vapour pressure",
        "ASHRAE Handbook Fundamentals 2017, chapter 1, equations 5 and 6",
        "-40 to 60 degC; over ice below 0 degC",
    ),
    Question(
        "compressor-cycle",
        "How often does the compressor start?",
        (
            Input("mass", "kg", "what the thermostat's probe follows", default="19.2 kg"),
            Input("heat", "J/kg/K", "its specific heat", default="4050 J/kg/K"),
            Input("cooling", "W", "cooling power", default="120 W"),
            Input("load", "W", "heat coming in", default="30 W"),
            Input("deadband", "K step", "between on and off", default="1 K"),
        ),
        _compressor_cycle,
        "on = C db / (Q - L), off = C db / L; most starts at L = Q / 2",
        "closed form without lag; rest 5 min and 6 starts an hour are habit in field guides",
        "lag makes real cycles longer",
        MAINS_CAUTION,
    ),
)
