"""Every question can be asked in the browser: the answer follows what is typed."""

import re

from playwright.sync_api import expect

from services.calc.questions import QUESTIONS
from tests.console.browser import Visit
from tests.console.pages_b.garage import Garage
from tests.console.pages_b.hands import complaint, field


def test_every_question_is_listed(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/calculators"))
    shown = page.locator("#main a").all_inner_texts()
    assert sorted(shown) == sorted(question.asks for question in QUESTIONS)


def test_an_answer_follows_what_is_typed_without_a_reload(garage: Garage, guest: Visit) -> None:
    """Freezing point of 40 % propylene glycol by mass: -20.6 degC (Melinder 2010, as tabulated by CoolProp MPG)."""
    page = guest.open(garage.site.at("/calculators/coolant"))
    page.evaluate("window.still_here = true")
    field(page, "Fraction").fill("40")
    expect(page.locator('[data-figure="freezing_c"] .figure')).to_have_text("-20.6 °C")
    field(page, "Fraction").fill("15")  # -4.9 degC in the same table
    expect(page.locator('[data-figure="freezing_c"] .figure')).to_have_text("-4.9 °C")
    assert page.evaluate("window.still_here") is True


def test_the_answer_is_marked_on_its_curve(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/calculators/serving-pressure"))
    before = page.locator(".curve circle.here").get_attribute("cx")
    field(page, "Temperature").fill("12")
    expect(page.locator(".curve circle.here")).not_to_have_attribute("cx", str(before))
    expect(page.locator(".curve svg")).to_have_attribute("aria-label", re.compile("bar gauge"))


def test_nonsense_is_said_beside_its_field_and_the_answer_waits(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/calculators/serving-pressure"))
    one = field(page, "Temperature")
    one.fill("warm")
    expect(complaint(page, "Temperature")).to_contain_text("is no quantity")
    expect(one).to_have_attribute("aria-invalid", "true")
    expect(page.locator(".lines .figure")).to_have_count(0)
    one.fill("4")
    expect(page.locator('[data-figure="gauge_psi"] .figure')).to_have_text("0.81 bar gauge")


def test_answers_are_in_the_visitors_units(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/calculators/serving-pressure"))
    page.context.add_cookies([{"name": "coldside_units", "value": "degF.psi.gal", "url": garage.site.at()}])
    page.reload()
    page.wait_for_function("window.did_handshake === true")
    expect(field(page, "Temperature")).to_have_value("39.2")
    expect(page.locator('[data-figure="gauge_psi"] .figure')).to_have_text("11.8 psi gauge")


def test_a_caution_is_shown_where_harm_can_be_done(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/calculators/coolant"))
    field(page, "Glycol").select_option("ethylene_glycol")
    expect(page.locator(".warning").first).to_be_visible()
    expect(page.locator(".grounds")).to_contain_text("poisonous")


def test_a_curve_can_run_along_another_input_or_be_put_away(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/calculators/serving-pressure"))
    expect(page.locator(".curve svg")).to_be_visible()
    field(page, "Curve").select_option("volumes")
    expect(page.locator(".curve svg")).to_contain_text("gas wanted")
    field(page, "Curve").select_option("none")
    expect(page.locator(".curve svg")).to_have_count(0)
