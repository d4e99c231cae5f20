"""Every page in both themes, at a desk and on a phone: without barriers, without errors, and pictured for people."""

import pytest
from playwright.sync_api import Page, expect

from tests.console.browser import PHONE, Visit
from tests.console.pages_b.garage import Garage

PAGES = {
    "batches": "/batch",
    "batch": "/batch/pictured",
    "alarms": "/alarms",
    "calculators": "/calculators",
    "calculator": "/calculators/crash-time",
    "site": "/site",
    "journal": "/journal",
}


@pytest.fixture(scope="module")
def furnished(garage: Garage) -> Garage:
    """Something to see on every page."""
    garage.raise_alarm("lager-fridge")
    garage.begin(
        "pictured",
        "conical",
        "name: ferment, hold: 19 degC, ends: {gravity_at_most: 1.012}, latest: 9 d, instruction: Take samples.",
        "name: crash, to: 2 degC, over: 24 h",
        "name: serve, hold: 4 degC",
    )
    return garage


def settled(page: Page) -> None:
    """What is read after the page was drawn has come."""
    expect(page.get_by_text("Looking it up")).to_have_count(0)
    expect(page.get_by_text("being looked for")).to_have_count(0)


@pytest.mark.parametrize("name", PAGES)
def test_a_page_at_a_desk_in_daylight_has_no_barrier(furnished: Garage, guest: Visit, name: str) -> None:
    page = guest.open(furnished.site.at(PAGES[name]))
    settled(page)
    guest.shoot("desk")
    assert guest.grave_barriers() == []


@pytest.mark.parametrize("name", PAGES)
def test_a_page_on_a_phone_at_night_fits_and_has_no_barrier(furnished: Garage, caller: Visit, name: str) -> None:
    page = caller.open(furnished.site.at(PAGES[name]))
    settled(page)
    caller.shoot("phone")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    assert caller.grave_barriers() == []


def test_forms_of_steps_have_no_barrier_and_can_be_reached_by_key(furnished: Garage, guest: Visit) -> None:
    page = guest.open(furnished.site.at("/batch/pictured"))
    page.get_by_role("button", name="Change what is to come").focus()
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Rewrite crash").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("group", name="Rewrite this step")).to_be_visible()
    page.get_by_text("More: band").click()
    guest.shoot("step")
    assert guest.grave_barriers() == []
