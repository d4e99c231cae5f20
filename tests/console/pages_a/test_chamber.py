"""The page of a chamber: what people do there reaches the services, and what comes of it is said."""

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.console.browser import PATIENCE_MS, Visit, phone, visit, wait_in
from tests.console.site import Site

expect.set_options(timeout=PATIENCE_MS)


@pytest.fixture
def chamber(guest: Visit, site: Site) -> Page:
    """The keg fridge's page."""
    guest.open(site.at("/chamber/keg-fridge")).wait_for_selector('[data-board-ready="true"]')
    return guest.page


@pytest.mark.parametrize(
    ("device", "theme"), [("desk", "light"), ("desk", "dark"), ("phone", "light"), ("phone", "dark")]
)
def test_page_of_a_chamber_is_whole_and_without_barriers(browser: Browser, site: Site, device: str, theme: str) -> None:
    with visit(browser, device, theme=theme, **(phone() if device == "phone" else {})) as one:
        page = one.open(site.at("/chamber/ale-fridge"))
        page.wait_for_selector('[data-board-ready="true"]')
        for name in ("beer", "air", "door", "cool", "heat", "fan"):
            expect(page.locator("table.rows td b", has_text=name).first).to_be_visible()
        one.shoot("chamber")
        assert one.grave_barriers() == []


def test_lock_out_is_set_and_cleared(chamber: Page, site: Site) -> None:
    panel = chamber.locator(".panel", has_text="Maintenance")
    panel.get_by_label("Why").fill("a new door seal")
    panel.get_by_role("button", name="Lock out", exact=True).click()
    expect(panel.locator(".answer.accepted")).to_contain_text("Unplug what you work on")
    expect(panel.locator(".lock")).to_contain_text("a new door seal")
    wait_in(chamber, lambda: site.status_of("keg-fridge").get("doing") == "locked-out", "the lock-out holds")
    panel.get_by_role("button", name="End the lock-out").click()
    expect(panel.locator(".lock")).to_have_count(0)
    wait_in(chamber, lambda: site.status_of("keg-fridge").get("doing") != "locked-out", "the lock-out is over")


def test_own_setpoint_expires_and_can_be_taken_back(chamber: Page, site: Site) -> None:
    panel = chamber.locator(".panel", has_text="What is asked of it")
    panel.get_by_label("Hold").fill("5.5")
    panel.get_by_label("For", exact=True).select_option("4")
    panel.get_by_role("button", name="Hold this instead").click()
    expect(panel.locator(".answer.accepted")).to_be_visible()
    expect(panel).to_contain_text("A person has asked for 5.5 °C until")
    wait_in(chamber, lambda: site.status_of("keg-fridge").get("setpoint_c") == 5.5, "the supervisor follows")
    panel.get_by_role("button", name="Take it back").click()
    expect(panel).not_to_contain_text("A person has asked")


@pytest.mark.parametrize(("written", "complaint"), [("warm", "is no temperature"), ("80", "Refused")])
def test_what_cannot_be_held_is_refused_in_words(chamber: Page, written: str, complaint: str) -> None:
    panel = chamber.locator(".panel", has_text="What is asked of it")
    panel.get_by_label("Hold").fill(written)
    panel.get_by_role("button", name="Hold this instead").click()
    expect(panel).to_contain_text(complaint)


def test_probe_is_put_right_by_two_points_as_a_block_to_paste(chamber: Page) -> None:
    panel = chamber.locator(".panel", has_text="Put a probe right")
    for label, value in zip(("First point", "the truth", "Second point"), ("0.40", "0", "20.10"), strict=True):
        panel.get_by_label(label).first.fill(value)
    panel.get_by_label("the truth is").nth(1).fill("20")
    panel.get_by_role("button", name="Work it out").click()
    expect(panel.locator("pre")).to_have_text("beer:\n  calibration: {reads: [0.40, 20.10], true: [0.00, 20.00]}")


def test_what_a_probe_shows_now_is_taken_over(chamber: Page) -> None:
    panel = chamber.locator(".panel", has_text="Put a probe right")
    panel.get_by_role("button", name="Take what it shows now").click()
    expect(panel.get_by_label("First point")).not_to_have_value("")


def test_what_people_did_stands_among_what_happened(chamber: Page, guest: Visit, site: Site) -> None:
    site.do("chamber", "lock", "keg-fridge", "--why", "to be seen later")
    site.do("chamber", "unlock", "keg-fridge", "--why", "seen")
    events = chamber.locator(".panel", has_text="What happened")

    def seen() -> bool:
        guest.open(site.at("/chamber/keg-fridge"))
        return events.get_by_text("to be seen later").count() > 0

    wait_in(chamber, seen, "the lock-out stands among the events")


def test_chamber_that_does_not_exist_leads_to_those_that_do(guest: Visit, site: Site) -> None:
    page = guest.open(site.at("/chamber/garage"))
    expect(page.get_by_role("heading", name="No such chamber")).to_be_visible()
    expect(page.locator('main a[href="/chamber/conical"]')).to_be_visible()
