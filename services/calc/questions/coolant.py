"""Questions on glycol and water."""

from brewing import coolant
from brewing.coolant import Glycol
from services.calc.question import Figure, Input, Question

GLYCOL = Input("glycol", "", "which glycol", default="propylene_glycol", choices=tuple(Glycol))
MARGIN = Input("margin", "K step", "bath above freezing, habit 3 to 8 K", default="5 K")
FRACTION = Input("fraction", "percent", "glycol by mass", default="30 %")
SOURCE = (
    "Melinder 2010, as in CoolProp's MPG and MEG; freezing also by the ASHRAE Handbook (from memory), the warmer counts"
)
RANGE = "0 to 60 % by mass, freezing point to 100 degC; freezing +/-1.2 K (propylene), 2.5 K (ethylene), viscosity 10 %"
CAUTION = (
    "Ethylene glycol, and car antifreeze of any kind, is poisonous: only food-grade propylene glycol near"
    " beer. More glycol is "
    "not better: it flows worse and carries less heat. Measure the strength of the bath; makers' inhibitors change it."
)


def _coolant(fraction: float, temperature: float, glycol: str, margin: float) -> tuple[Figure, ...]:
    share, kind = fraction / 100.0, Glycol(glycol)
    return (
        Figure("freezing_c", "freezes at", coolant.freezing_point(share, kind), "degC", 1, coolant.warning(kind)),
        Figure("freezing_safe_c", "or, by the warmest table", coolant.warmest_freezing_point(share, kind), "degC", 1),
        Figure("lowest_bath_c", "coldest safe bath", coolant.lowest_bath(share, kind, margin), "degC", 1),
        Figure("density", "density", coolant.density(share, temperature, kind), "kg/m3", 1),
        Figure("specific_heat", "specific heat", coolant.specific_heat(share, temperature, kind), "J/(kg K)", 0),
        Figure("viscosity", "viscosity", coolant.viscosity(share, temperature, kind) * 1000.0, "mPa s", 2),
        Figure("conductivity", "conductivity", coolant.conductivity(share, temperature, kind), "W/(m K)", 3),
        Figure("by_volume", "by volume", coolant.volume_fraction_from_mass(share, kind) * 100.0, "%", 1),
    )


def _coolant_mix(volume: float, bath: float, glycol: str, margin: float) -> tuple[Figure, ...]:
    kind = Glycol(glycol)
    share = coolant.fraction_for_bath(bath, kind, margin)
    recipe = coolant.mix(volume, share, kind)
    return (
        Figure("by_mass", "glycol by mass", share * 100.0, "%", 1, coolant.warning(kind)),
        Figure("by_volume", "by volume", coolant.volume_fraction_from_mass(share, kind) * 100.0, "%", 1),
        Figure("glycol_kg", "weigh out glycol", recipe.glycol_kg, "kg", 2),
        Figure("water_kg", "and water", recipe.water_kg, "kg", 2),
        Figure("freezing_c", "it freezes at", coolant.warmest_freezing_point(share, kind), "degC", 1),
    )


def _coolant_top_up(mass: float, fraction: float, target: float, water: float, glycol: str) -> tuple[Figure, ...]:
    kind = Glycol(glycol)
    weak = coolant.diluted(mass, fraction / 100.0, water)
    add = coolant.top_up(mass + water, weak, target / 100.0)
    drain = coolant.exchange(mass + water, weak, target / 100.0)
    return (
        Figure("diluted", "the bath now holds", weak * 100.0, "% by mass", 1, coolant.warning(kind)),
        Figure("freezing_c", "and freezes at", coolant.warmest_freezing_point(weak, kind), "degC", 1),
        Figure("add_kg", "add pure glycol", add, "kg", 2),
        Figure("drain_kg", "or, when full, replace by glycol", drain, "kg", 2),
    )


QUESTIONS = (
    Question(
        "coolant",
        "What does this glycol do at this temperature?",
        (FRACTION, Input("temperature", "degC", "of the bath", default="-4 degC"), GLYCOL, MARGIN),
        _coolant,
        "sum of C_ij (T - Tm)^i (w - wm)^j; viscosity its exponential",
        SOURCE,
        RANGE,
        CAUTION,
    ),
    Question(
        "coolant-mix",
        "How much glycol does a bath this cold need?",
        (
            Input("volume", "L", "coolant to make", default="40 L"),
            Input("bath", "degC", "coldest setting of the bath", default="-6 degC"),
            GLYCOL,
            MARGIN,
        ),
        _coolant_mix,
        "the mass fraction whose warmest freezing point is the bath less the margin",
        SOURCE,
        RANGE,
        CAUTION,
    ),
    Question(
        "coolant-top-up",
        "How much glycol brings a diluted bath back to strength?",
        (
            Input("mass", "kg", "coolant before dilution", default="40 kg"),
            FRACTION,
            Input("target", "percent", "wanted by mass", default="30 %"),
            Input("water", "kg", "water that got in", default="4 kg"),
            GLYCOL,
        ),
        _coolant_top_up,
        "add = m (target - w) / (1 - target); replace = m (target - w) / (1 - w)",
        f"mass balance; freezing: {SOURCE}",
        RANGE,
        CAUTION,
    ),
)
