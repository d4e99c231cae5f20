"""A batch is rehearsed, begun, followed, changed and told of in the browser."""

import re

from playwright.sync_api import Locator, Page, expect

from schemas.requests import SkipStep
from tests.console.browser import Visit, wait_in
from tests.console.pages_b.garage import Garage
from tests.console.pages_b.hands import complaint, field

SHORT = """profile: trial
about: Quickly over.
steps:
  - {name: rest, hold: 16 degC, for: 3 h}
  - {name: crash, to: 8 degC, over: 3 h, tolerance: 2 K}
"""
THREE = (
    "name: ferment, hold: 18 degC, for: 5 d",
    "name: rise, to: 21 degC, over: 24 h",
    "name: crash, to: 2 degC, over: 24 h",
    "name: serve, hold: 4 degC",
)


def fill_in(page: Page, title: str, chamber: str, profile: str) -> None:
    field(page, "Beer").fill(title)
    field(page, "Chamber").select_option(chamber)
    field(page, "The profile, written out").fill(profile)


def step(page: Page, name: str) -> Locator:
    return page.locator("li.step", has=page.get_by_role("heading", name=name, exact=True))


def names(page: Page) -> list[str]:
    return page.locator("li.step h3").all_inner_texts()


def change_steps(garage: Garage, guest: Visit, batch: str) -> Page:
    page = guest.open(garage.site.at(f"/batch/{batch}"))
    page.get_by_role("button", name="Change what is to come").click()
    expect(page.get_by_role("button", name="Send the changes")).to_be_visible()
    return page


def planned(garage: Garage, batch: str) -> list[str]:
    return [one.name for one in garage.batch(batch).steps]


def test_a_batch_is_rehearsed_before_it_begins(garage: Garage, guest: Visit) -> None:
    garage.empty("conical")
    page = guest.open(garage.site.at("/batch"))
    fill_in(page, "Test pale", "conical", SHORT)
    page.get_by_role("button", name="Rehearse it").click()
    expect(page.locator(".rehearsal .verdict")).not_to_be_empty()
    expect(page.locator(".rehearsal table")).to_contain_text("crash")
    expect(page.locator(".rehearsal")).to_contain_text("kWh on the whole site")
    guest.shoot("rehearsed")
    name = field(page, "Batch").input_value()
    page.get_by_role("button", name="Begin", exact=True).click()
    page.wait_for_url(f"**/batch/{name}")
    expect(page.get_by_role("heading", level=1)).to_have_text("Test pale")
    assert name.endswith("-test-pale")
    assert garage.batch(name).chamber == "conical"


def test_what_was_rehearsed_does_not_count_for_another_profile(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/batch"))
    fill_in(page, "Test pale", "keg-fridge", SHORT)
    expect(page.get_by_role("button", name="Begin without rehearsing")).to_be_visible()


def test_a_profile_that_can_never_end_is_said_beside_it_and_nothing_begins(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/batch"))
    before = len(garage.batches())
    fill_in(page, "Endless", "keg-fridge", SHORT.replace(", for: 3 h", ""))
    expect(complaint(page, "The profile, written out")).to_contain_text("can never end")
    page.get_by_role("button", name="Begin without rehearsing").click()
    expect(page.locator(".answer.refused").first).to_contain_text("nothing was begun")
    assert len(garage.batches()) == before


def test_a_refusal_of_the_scheduler_is_told_in_words(garage: Garage, guest: Visit) -> None:
    garage.begin("taken", "keg-fridge", "name: serve, hold: 4 degC")
    page = guest.open(garage.site.at("/batch"))
    fill_in(page, "Second", "keg-fridge", SHORT)
    page.get_by_role("button", name="Begin without rehearsing").click()
    expect(page.locator(".answer.refused").first).to_contain_text("taken is in keg-fridge")


def test_a_step_is_rewritten_in_its_form(garage: Garage, guest: Visit) -> None:
    garage.begin("rewrite", "ale-fridge", *THREE)
    page = change_steps(garage, guest, "rewrite")
    page.get_by_role("button", name="Rewrite crash").click()
    field(page, "Temperature").fill("3.5")
    page.get_by_role("button", name="Take this over").click()
    expect(step(page, "crash")).to_contain_text("3.5 °C")
    page.get_by_role("button", name="Send the changes").click()
    expect(page.locator(".answer.accepted")).to_be_visible()
    wait_in(page, lambda: garage.batch("rewrite").steps[2].to_c == 3.5, "the scheduler has the new step")


def test_nonsense_in_a_step_is_said_beside_its_field_and_changes_nothing(garage: Garage, guest: Visit) -> None:
    garage.begin("nonsense", "ale-fridge", *THREE)
    page = change_steps(garage, guest, "nonsense")
    page.get_by_role("button", name="Rewrite rise").click()
    field(page, "Temperature").fill("warm")
    page.get_by_role("button", name="Take this over").click()
    expect(complaint(page, "Temperature")).to_contain_text("warm")
    page.get_by_role("button", name="Leave this step as it was").click()
    page.get_by_role("button", name="Leave it as it was", exact=True).click()
    assert planned(garage, "nonsense") == ["ferment", "rise", "crash", "serve"]


def test_steps_are_put_in_another_order_by_button(garage: Garage, guest: Visit) -> None:
    garage.begin("buttons", "lager-fridge", *THREE)
    page = change_steps(garage, guest, "buttons")
    button = page.get_by_role("button", name="crash earlier")
    button.focus()
    page.keyboard.press("Enter")
    wait_in(page, lambda: names(page) == ["ferment", "crash", "rise", "serve"], "the step moved")
    page.get_by_role("button", name="Send the changes").click()
    wait_in(page, lambda: planned(garage, "buttons") == ["ferment", "crash", "rise", "serve"], "the new order holds")


def test_steps_are_put_in_another_order_by_dragging(garage: Garage, guest: Visit) -> None:
    garage.begin("dragged", "lager-fridge", *THREE)
    page = change_steps(garage, guest, "dragged")
    step(page, "crash").locator(".what").drag_to(step(page, "rise").locator(".what"))
    wait_in(page, lambda: names(page) == ["ferment", "crash", "rise", "serve"], "the step was dropped")


def test_an_order_in_which_steps_could_never_be_reached_cannot_be_sent(garage: Garage, guest: Visit) -> None:
    garage.begin("stuck", "lager-fridge", *THREE)
    page = change_steps(garage, guest, "stuck")
    page.get_by_role("button", name="serve earlier").click()
    expect(page.get_by_role("alert").filter(has_text="can never end")).to_be_visible()
    expect(page.get_by_role("button", name="Send the changes")).to_be_disabled()


def test_a_change_made_meanwhile_by_somebody_else_is_not_overwritten(garage: Garage, guest: Visit) -> None:
    garage.begin("meanwhile", "lager-fridge", *THREE)
    page = change_steps(garage, guest, "meanwhile")
    page.get_by_role("button", name="Take out rise").click()
    garage.ask(SkipStep, batch="meanwhile")
    page.get_by_role("button", name="Send the changes").click()
    expect(page.locator(".answer.refused").filter(has_text="changed meanwhile")).to_be_visible()
    assert "rise" in planned(garage, "meanwhile")


def test_a_batch_is_held_and_goes_on(garage: Garage, guest: Visit) -> None:
    garage.begin("held", "ale-fridge", *THREE)
    page = guest.open(garage.site.at("/batch/held"))
    page.get_by_role("button", name="Hold", exact=True).click()
    expect(page.get_by_text("held: its clock stands still")).to_be_visible()
    page.get_by_role("button", name="Resume").click()
    expect(page.get_by_text("under way.")).to_be_visible()


def test_what_cannot_be_taken_back_is_asked_for_twice(garage: Garage, guest: Visit) -> None:
    garage.begin("sure", "ale-fridge", *THREE)
    page = guest.open(garage.site.at("/batch/sure"))
    page.get_by_role("button", name="End this step now", exact=True).click()
    assert garage.batch("sure").step == 0
    page.get_by_role("button", name="End this step now: yes").click()
    wait_in(page, lambda: garage.batch("sure").step == 1, "the next step has begun")


def test_a_gravity_is_entered_and_corrected_for_temperature(garage: Garage, guest: Visit) -> None:
    garage.begin("measured", "ale-fridge", *THREE)
    page = guest.open(garage.site.at("/batch/measured"))
    field(page, "Reading").fill("1,048")
    field(page, "Original").check()
    page.get_by_role("button", name="Enter the gravity").click()
    expect(page.locator(".logged .figure").first).to_have_text("1.0480")
    wait_in(page, lambda: garage.batch("measured").original_gravity_sg == 1.048, "the original gravity is known")


def test_a_gravity_that_cannot_be_is_said_beside_the_field(garage: Garage, guest: Visit) -> None:
    garage.begin("unmeasured", "ale-fridge", *THREE)
    page = guest.open(garage.site.at("/batch/unmeasured"))
    field(page, "Reading").fill("12")
    page.get_by_role("button", name="Enter the gravity").click()
    expect(complaint(page, "Reading")).to_contain_text("outside")
    expect(page.locator(".logged")).to_have_count(0)


def test_a_note_is_kept_with_its_scores(garage: Garage, guest: Visit) -> None:
    garage.begin("tasted", "ale-fridge", *THREE)
    page = guest.open(garage.site.at("/batch/tasted"))
    field(page, "What is there to say?").fill("Clean, a little apple.")
    field(page, "Overall").fill("7")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".noted")).to_contain_text("Clean, a little apple.")
    expect(page.locator(".noted")).to_contain_text("overall 7")


def test_a_report_can_be_read(garage: Garage, guest: Visit) -> None:
    garage.begin("reported", "ale-fridge", *THREE)
    page = guest.open(garage.site.at("/batch/reported"))
    address = page.get_by_role("link", name="Read it").get_attribute("href")
    wait_in(page, lambda: page.request.get(garage.site.at(str(address))).ok, "history knows the batch")
    assert "Beer reported" in page.request.get(garage.site.at(str(address))).text()


def test_a_batch_on_a_phone_can_be_changed_without_dragging(garage: Garage, caller: Visit) -> None:
    garage.begin("pocket", "lager-fridge", *THREE)
    page = change_steps(garage, caller, "pocket")
    page.get_by_role("button", name="Take out rise").tap()
    page.get_by_role("button", name="Send the changes").tap()
    wait_in(page, lambda: planned(garage, "pocket") == ["ferment", "crash", "serve"], "the step is gone")
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= 390, "nothing is wider than the phone"


def test_a_page_opened_too_early_shows_its_batch_once_it_is_there(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/batch/early"))
    expect(page.get_by_role("heading", level=1)).to_have_text("No batch 'early'")
    garage.begin("early", "keg-fridge", *THREE)
    expect(page.get_by_role("heading", level=1)).to_have_text("Beer early")


def test_a_batch_nobody_has_heard_of_is_said_to_be_unknown(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/batch/nobody"))
    expect(page.get_by_role("heading", level=1)).to_have_text(re.compile("No batch"))
