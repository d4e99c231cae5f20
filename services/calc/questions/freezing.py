"""When beer freezes, and how near it is."""

from brewing import freezing, gravity
from services.calc.question import Figure, Input, Question

ORIGINAL = Input("original_gravity", "SG", "gravity of the wort")
FINAL = Input("final_gravity", "SG", "gravity of the beer")
SOURCE = "ethanol and water by Melinder 2010 and Lange, 15th ed., Table 5.13, the warmer of both (published)"
CAUTION = (
    "walls, jackets and coils are colder than the beer, and ice forms there first; freezing beer bursts bottles and "
    "lines, and a blocked line bursts what feeds it"
)


def _freezing_point(original_gravity: float, final_gravity: float) -> tuple[Figure, ...]:
    points = freezing.points(original_gravity, final_gravity)
    alcohol = gravity.strength(original_gravity, final_gravity).alcohol_by_weight
    return (
        Figure("safe_c", "never below", points.safe, "degC", 1),
        Figure("lowest_setpoint_c", "so set no lower than", points.safe + freezing.SLUSH_MARGIN_K, "degC", 1),
        Figure("likely_c", "first ice likely at", points.likely, "degC", 1),
        Figure("trade_c", "by the trade's rule", points.trade, "degC", 1),
        Figure("alcohol_by_weight", "with alcohol", alcohol, "% by mass", 1),
    )


def _slush(temperature: float, original_gravity: float, final_gravity: float) -> tuple[Figure, ...]:
    beer = gravity.strength(original_gravity, final_gravity)
    margin = freezing.slush_margin(temperature, beer.alcohol_by_weight)
    ice = freezing.ice_fraction(temperature, beer.alcohol_by_weight, max(0.0, beer.real_extract))
    warning = "below its safe limit: there may be ice" if margin < 0.0 else ""
    return (
        Figure("margin_k", "above its safe limit by", margin, "K", 1, warning),
        Figure("ice_percent", "ice at rest, of the mass", 100.0 * ice, "%", 0),
    )


QUESTIONS = (
    Question(
        name="freezing-point",
        asks="How cold may this beer get?",
        inputs=(ORIGINAL, FINAL),
        work=_freezing_point,
        formula="ethanol curve at ABW; likely: lowered by real extract at 600 g/mol; rule: -(0.42 ABW + 0.04 OE + 0.2)",
        source=f"{SOURCE}; the rule from memory",
        holds="original gravity to 1.110; ethanol curve within 0.2 K to 11 % by mass; the rule +/-0.7 K",
        caution=CAUTION,
    ),
    Question(
        name="slush-margin",
        asks="How far is this beer from slush?",
        inputs=(Input("temperature", "degC", "coldest place in the beer"), ORIGINAL, FINAL),
        work=_slush,
        formula="margin = temperature - ethanol curve at ABW; ice by a mass balance on the liquid that stays",
        source=SOURCE,
        holds="original gravity to 1.110; at rest, without supercooling, up to 60 % of ice",
        caution=CAUTION,
    ),
)
