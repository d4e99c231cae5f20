"""Questions on gas, lines, coolant, heat and probes: they answer, they warn, and they refuse in plain words."""

import pytest

from brewing import carbonation, coolant, draught
from services.calc.question import Answer, BadInput, Question
from services.calc.questions import carbonation as gas
from services.calc.questions import coolant as glycol
from services.calc.questions import cylinder, probes, thermal
from services.calc.questions import draught as line

TOPICS = (gas, cylinder, line, glycol, thermal, probes)
QUESTIONS: dict[str, Question] = {question.name: question for topic in TOPICS for question in topic.QUESTIONS}
COMPLETE = {"keg-contents": {"gross": "12 kg"}}


def ask(name: str, **written: str) -> Answer:
    return QUESTIONS[name].answer(written)


def figure(answer: Answer, name: str) -> float:
    value = next(one.value for one in answer.figures if one.name == name)
    assert isinstance(value, float)
    return value


@pytest.mark.parametrize("name", QUESTIONS)
def test_a_question_answers_with_its_defaults(name: str) -> None:
    answer = QUESTIONS[name].answer(COMPLETE.get(name))
    assert answer.figures
    assert all(one.shown() for one in answer.figures)


@pytest.mark.parametrize("question", QUESTIONS.values(), ids=lambda question: question.name)
def test_a_question_names_formula_source_and_range(question: Question) -> None:
    assert question.formula
    assert question.source
    assert question.holds


@pytest.mark.parametrize(
    "name", ["serving-pressure", "priming-sugar", "gas-cylinder", "room-gas", "coolant", "crash-time"]
)
def test_what_can_hurt_carries_its_caution(name: str) -> None:
    assert len(QUESTIONS[name].caution) > 80


@pytest.mark.parametrize("name", [name for name in QUESTIONS if name != "onewire-reading"])
def test_an_input_that_is_no_quantity_is_refused_by_name(name: str) -> None:
    first = next(asked for asked in QUESTIONS[name].inputs if not asked.choices)
    with pytest.raises(BadInput, match=f"^{first.name}: "):
        QUESTIONS[name].answer({**COMPLETE.get(name, {}), first.name: "much"})


def test_serving_pressure_reads_volumes_or_grams_a_litre() -> None:
    by_volumes = figure(ask("serving-pressure", volumes="2.5 vol"), "gauge_bar")
    by_grams = figure(ask("serving-pressure", volumes=f"{2.5 * 1.9768} g/L"), "gauge_bar")
    assert by_grams == pytest.approx(by_volumes)


def test_serving_pressure_is_the_brewing_function_s() -> None:
    expected = carbonation.gauge_for(2.6, (38 - 32) / 1.8)
    assert figure(ask("serving-pressure", volumes="2.6 vol", temperature="38 degF"), "gauge_bar") == pytest.approx(
        expected / 1e5
    )


def test_altitude_adds_to_the_gauge() -> None:
    low, high = (figure(ask("serving-pressure", altitude=metres), "gauge_psi") for metres in ("0 m", "1609 m"))
    assert high - low == pytest.approx(2.6, abs=0.05)


def test_an_absolute_pressure_for_a_gauge_is_refused() -> None:
    with pytest.raises(BadInput, match="gauge: .*absolute"):
        ask("dissolved-gas", gauge="26.7 psia")


def test_a_volume_for_a_pressure_is_refused() -> None:
    with pytest.raises(BadInput, match="gauge: "):
        ask("dissolved-gas", gauge="12 L")


def test_an_impossible_target_names_the_argument_and_the_range() -> None:
    with pytest.raises(BadInput, match=r"target_volumes is 1 vol, outside 1\.3"):
        ask("serving-pressure", volumes="1 vol", temperature="4 degC")


def test_too_much_gas_for_a_bottle_is_warned_of() -> None:
    assert ask("priming-sugar", volumes="2.4 vol").warnings == ()
    assert "may burst" in ask("priming-sugar", volumes="3.5 vol").warnings[0]


def test_glycol_beyond_sixty_percent_is_refused() -> None:
    with pytest.raises(BadInput, match="mass_fraction is 0.65"):
        ask("coolant", fraction="65 %")


def test_ethylene_glycol_is_warned_of() -> None:
    assert "poisonous" in ask("coolant", glycol="ethylene_glycol").warnings[0]


def test_a_coolant_s_figures_are_the_brewing_functions_own() -> None:
    answer = ask("coolant", fraction="35 %", temperature="-5 degC")
    assert figure(answer, "density") == pytest.approx(coolant.density(0.35, -5.0))
    assert figure(answer, "viscosity") == pytest.approx(coolant.viscosity(0.35, -5.0) * 1000.0)


def test_what_was_mixed_for_a_bath_is_safe_for_that_bath() -> None:
    mixed = figure(ask("coolant-mix", bath="-8 degC"), "by_mass")
    lowest = figure(ask("coolant", fraction=f"{mixed} %"), "lowest_bath_c")
    assert lowest == pytest.approx(-8.0, abs=1e-6)


def test_a_dangerous_release_is_named() -> None:
    assert "dangerous" in ask("room-gas", released="5 kg").warnings[0]


def test_line_length_reads_a_bore_in_inches() -> None:
    metric, inches = (figure(ask("line-length", bore=bore), "length_m") for bore in ("4.7625 mm", "0.1875 in"))
    assert metric == pytest.approx(inches)


def test_a_slow_pour_warns_of_uncertain_friction() -> None:
    assert "laminar" in ask("line-length", flow="20 mL/s").warnings[0]


def test_a_keg_is_told_by_scale_or_meter_and_one_of_them_is_needed() -> None:
    assert figure(ask("keg-contents", poured="9 L"), "left_l") == pytest.approx(10.0)
    assert figure(ask("keg-contents", gross="12 kg"), "left_l") == pytest.approx(
        draught.contents_by_mass(12.0, 4.2, 1010.0)
    )
    with pytest.raises(BadInput, match="gross or poured is missing"):
        ask("keg-contents")


def test_a_crash_that_the_power_cannot_do_is_refused_with_where_it_ends() -> None:
    with pytest.raises(BadInput, match="target_c is 2 degC, outside 10 to 20 degC"):
        ask("crash-time", cooling="15 W")


def test_a_chamber_that_cannot_hold_is_warned_of() -> None:
    assert "cannot hold" in ask("chamber-balance", cooling="20 W").warnings[0]


def test_too_many_crashes_are_warned_of_with_the_chiller_that_would_do() -> None:
    answer = ask("crashes-that-fit", vessels="8")
    assert "too warm" in answer.warnings[0]
    assert figure(answer, "chiller_w") > 250.0


def test_a_wet_surface_is_warned_of() -> None:
    assert "drips" in ask("condensation").warnings[0]
    assert ask("condensation", surface="15 degC").warnings == ()


def test_a_short_cycling_compressor_is_warned_of() -> None:
    assert "short-cycles" in ask("compressor-cycle", mass="2 kg", deadband="0.3 K").warnings[0]


def test_a_reading_outside_two_calibration_points_is_warned_of() -> None:
    assert "outside the two points" in ask("two-point", reading="60 degC").warnings[0]


def test_lead_resistance_is_taken_off_a_two_wire_probe() -> None:
    plain, led = (figure(ask("platinum-probe", lead=ohm), "temperature_c") for ohm in ("0 ohm", "0.4 ohm"))
    assert plain - led == pytest.approx(1.03, abs=0.01)


def test_a_bath_that_cannot_bring_the_beer_down_is_refused_with_the_coldest() -> None:
    with pytest.raises(BadInput, match=r"beer_c is 2 degC, outside \d"):
        ask("bath-crash", bath="10 L", chiller="10 W")


def test_a_chiller_left_on_too_long_is_warned_of() -> None:
    assert "freezing point" in ask("bath-crash", chiller="600 W", jacket="3 W/K").warnings[0]


def test_nine_bytes_of_a_sensor_are_a_temperature_or_a_reason() -> None:
    assert figure(ask("onewire-reading"), "temperature_c") == 23.125
    assert "power-on" in ask("onewire-reading", scratchpad="50 05 4b 46 7f ff 0c 10 1c").warnings[0]


def test_bytes_that_are_no_hexadecimal_are_refused() -> None:
    with pytest.raises(BadInput, match="scratchpad: write nine bytes"):
        ask("onewire-reading", scratchpad="warm")
