"""How strong, how far fermented, and what an instrument really read."""

from brewing import gravity, hydrometer, refractometer
from services.calc.question import Figure, Input, Question

ORIGINAL = Input("original_gravity", "SG", "gravity of the wort before the yeast went in")
FINAL = Input("final_gravity", "SG", "gravity of the beer")
PLATO = "Plato by the ASBC Table 1 polynomial (published)"
BALLING = f"Balling 1865 (published); {PLATO}"
RANGE = "original gravity to 1.110, final gravity from 0.998"
KCAL_J = 4.184


def _alcohol(original_gravity: float, final_gravity: float, method: str) -> tuple[Figure, ...]:
    beer = gravity.strength(original_gravity, final_gravity, method)
    return (
        Figure("alcohol_by_volume", "alcohol by volume at 20 degC", beer.alcohol_by_volume, "%"),
        Figure("alcohol_by_weight", "alcohol by mass", beer.alcohol_by_weight, "%"),
        Figure("original_extract", "original extract", beer.original_extract, "degP"),
        Figure("apparent_extract", "apparent extract", beer.apparent_extract, "degP"),
        Figure("real_extract", "real extract", beer.real_extract, "degP"),
    )


def _attenuation(original_gravity: float, final_gravity: float) -> tuple[Figure, ...]:
    points = gravity.apparent_attenuation_in_points(original_gravity, final_gravity)
    apparent = gravity.apparent_attenuation(original_gravity, final_gravity)
    real = gravity.real_degree_of_fermentation(original_gravity, final_gravity)
    return (
        Figure("apparent", "apparent, of the extract", apparent, "%", 1),
        Figure("apparent_in_points", "apparent, of the gravity points", points, "%", 1),
        Figure("real", "real degree of fermentation", real, "%", 1),
    )


def _expected_gravity(original_gravity: float, attenuation: float) -> tuple[Figure, ...]:
    final = gravity.final_gravity_for(original_gravity, attenuation)
    return (
        Figure("final_gravity", "it should end at", final, "", 4),
        Figure("apparent_extract", "which is", gravity.plato(final), "degP"),
        Figure(
            "alcohol_by_volume", "with alcohol", gravity.strength(original_gravity, final).alcohol_by_volume, "% vol"
        ),
    )


def _energy(original_gravity: float, final_gravity: float, glass: float) -> tuple[Figure, ...]:
    in_100_ml = gravity.energy_kcal(original_gravity, final_gravity)
    return (
        Figure("kcal_per_100_ml", "in 100 mL", in_100_ml, "kcal", 1),
        Figure("kj_per_100_ml", "", in_100_ml * KCAL_J, "kJ", 0),
        Figure("kcal_per_glass", "in the glass", in_100_ml * glass * 10.0, "kcal", 0),
    )


def _extract(gravity_or_plato: float) -> tuple[Figure, ...]:
    plato = gravity.plato(gravity_or_plato)
    return (
        Figure("specific_gravity", "specific gravity 20/20", gravity_or_plato, "", 4),
        Figure("plato", "extract", plato, "degP"),
        Figure("grams_per_litre", "which is", 10.0 * plato * gravity_or_plato * 0.9982, "g/L", 1),
        Figure("at_60_f", "specific gravity 60/60 degF", _at_60_f(gravity_or_plato), "", 4),
    )


def _at_60_f(specific_gravity: float) -> float:
    return hydrometer.gravity_on_scale(specific_gravity, 20.0, (60.0 - 32.0) / 1.8)


def _hydrometer(reading: float, temperature: float, made_for: float) -> tuple[Figure, ...]:
    true = hydrometer.corrected_gravity(reading, temperature, made_for)
    return (
        Figure("gravity", "true gravity", true, "", 4),
        Figure("correction", "correction", true - reading, "", 4),
        Figure("plato", "which is", gravity.plato(true), "degP"),
    )


def _refractometer(initial: float, final: float, wort_correction: float, temperature: float) -> tuple[Figure, ...]:
    before, after = (refractometer.at_20_c(one, temperature) for one in (initial, final))
    original = gravity.specific_gravity(refractometer.wort_plato(before, wort_correction))
    end = refractometer.final_gravity(before, after, wort_correction)
    return (
        Figure("original_gravity", "original gravity", original, "", 4),
        Figure("final_gravity", f"final gravity, +/-{refractometer.FINAL_GRAVITY_UNCERTAINTY}", end, "", 3),
        Figure("alcohol_by_volume", "alcohol by volume", gravity.strength(original, end).alcohol_by_volume, "%", 1),
    )


QUESTIONS = (
    Question(
        name="alcohol",
        asks="How much alcohol has the beer, and how much extract is left?",
        inputs=(
            ORIGINAL,
            FINAL,
            Input(
                "method",
                "1",
                "which formula: " + ", ".join(gravity.STRENGTH_METHODS),
                "balling",
                tuple(gravity.STRENGTH_METHODS),
            ),
        ),
        work=_alcohol,
        formula="RE = 0.1808 OE + 0.8192 AE; ABW = (OE - RE) / (2.0665 - 0.010665 OE); ABV = ABW FG / 0.79067",
        source=BALLING,
        holds=f"{RANGE}; within 0.15 % by mass of 532 measured brews",
        caution="an estimate from two gravities: beer that is sold by its strength is measured",
    ),
    Question(
        name="attenuation",
        asks="How far has the beer fermented?",
        inputs=(ORIGINAL, FINAL),
        work=_attenuation,
        formula="apparent 1 - AE/OE; real 100 (OE - RE)/OE / (1 - 0.005161 RE)",
        source=f"ASBC Beer-6 (published); {BALLING}",
        holds=RANGE,
    ),
    Question(
        name="expected-gravity",
        asks="Where will this yeast leave the beer?",
        inputs=(ORIGINAL, Input("attenuation", "percent", "apparent attenuation of the yeast", "78 %")),
        work=_expected_gravity,
        formula="AE = OE (1 - attenuation)",
        source=PLATO,
        holds=RANGE,
        caution="mash, yeast health and temperature move it by some points; a forced test tells",
    ),
    Question(
        name="energy",
        asks="How much energy is in the beer?",
        inputs=(ORIGINAL, FINAL, Input("glass", "L", "size of the glass", "0.33 L")),
        work=_energy,
        formula="kcal in 100 mL = (6.9 ABW + 4.0 (RE - 0.1)) FG",
        source=f"ASBC Beer-33, from memory; {BALLING}",
        holds=RANGE,
    ),
    Question(
        name="extract",
        asks="How much extract does this gravity stand for?",
        inputs=(Input("gravity_or_plato", "SG", "specific gravity, or degrees Plato as in '12.4 degP'"),),
        work=_extract,
        formula="P = ((135.997 S - 630.272) S + 1111.14) S - 616.868",
        source=f"{PLATO}; ICUMSA SPS-4 for the scales (published)",
        holds="0 to 30 degP; below 1.000 extrapolated, down to 0.990",
    ),
    Question(
        name="hydrometer",
        asks="What is the gravity when the sample is not at the hydrometer's temperature?",
        inputs=(
            Input("reading", "SG", "what the hydrometer shows"),
            Input("temperature", "degC", "temperature of the sample"),
            Input("made_for", "degC", "temperature that the hydrometer was made for", "20 degC"),
        ),
        work=_hydrometer,
        formula="density = reading x water's x (1 - 25e-6 (t - tcal)); brought to tcal as a sugar solution",
        source="ICUMSA SPS-4 and Tanaka 2001 (published); glass as in OIML R 22",
        holds="0 to 40 degC; fermented beer up to 0.0003 more at 30 degC",
        caution="a hot sample cracks glass; near the calibration temperature the correction matters least",
    ),
    Question(
        name="refractometer",
        asks="What is the final gravity by refractometer, with alcohol in the sample?",
        inputs=(
            Input("initial", "degP", "reading of the wort, as in '12.9 Brix'"),
            Input("final", "degP", "reading of the beer"),
            Input("wort_correction", "1", "the instrument's factor for wort", "1.04"),
            Input("temperature", "degC", "temperature, where the instrument does not correct for it", "20 degC"),
        ),
        work=_refractometer,
        formula="cubic in both readings, each divided by the wort correction",
        source="Terrill 2011, from memory; 0.07 Brix/K by OIV-MA-AS2-02, from memory",
        holds="initial reading below 25 Brix; +/-0.003",
        caution="a hydrometer is surer: published equations differ by 0.002 to 0.004",
    ),
)
