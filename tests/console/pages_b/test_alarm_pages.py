"""Alarms are acknowledged, shelved and looked back on; a message's link acknowledges by its button alone."""

import re
from urllib.request import Request, urlopen

import pytest
from playwright.sync_api import Locator, Page, expect

from tests.console.browser import Visit, wait_in
from tests.console.pages_b.garage import Garage
from tests.console.pages_b.hands import field


def item(page: Page, chamber: str) -> Locator:
    return page.locator("article.alarm", has_text=f"Hand needed, {chamber}")


def test_an_alarm_says_what_to_do_and_is_acknowledged(garage: Garage, guest: Visit) -> None:
    garage.raise_alarm("ale-fridge")
    page = guest.open(garage.site.at("/alarms"))
    alarm = item(page, "ale-fridge")
    expect(alarm).to_contain_text("Add the hops.")
    expect(alarm).to_contain_text("Do it, then confirm the step")
    alarm.get_by_role("button", name="I see to it").click()
    expect(alarm).to_contain_text("somebody sees to it, by local")
    wait_in(page, lambda: garage.stands("ale-fridge", "acknowledged"), "it is acknowledged")


def test_an_alarm_is_shelved_with_a_reason_and_a_time_and_comes_back(garage: Garage, guest: Visit) -> None:
    garage.raise_alarm("lager-fridge")
    page = guest.open(garage.site.at("/alarms"))
    alarm = item(page, "lager-fridge")
    alarm.get_by_role("button", name="Silence it").click()
    field(alarm, "Reason").fill("hops on order")
    field(alarm, "For").fill("3 h")
    alarm.get_by_role("button", name="Shelve").click()
    expect(page.locator("article.alarm.silent", has_text="lager-fridge")).to_contain_text("shelved, by local until")
    item(page, "lager-fridge").get_by_role("button", name="Bring it back").click()
    wait_in(page, lambda: garage.stands("lager-fridge", "unacknowledged"), "it is back")


@pytest.mark.parametrize(
    ("reason", "lasting", "says"),
    [("", "3 h", "say why"), ("because", "soon", "write it like '2 h'"), ("because", "400 d", "at most 7 days")],
)
def test_shelving_without_reason_or_for_too_long_changes_nothing(
    garage: Garage, guest: Visit, reason: str, lasting: str, says: str
) -> None:
    garage.raise_alarm("conical")
    page = guest.open(garage.site.at("/alarms"))
    alarm = item(page, "conical")
    alarm.get_by_role("button", name="Silence it").click()
    field(alarm, "Reason").fill(reason)
    field(alarm, "For").fill(lasting)
    alarm.get_by_role("button", name="Shelve").click()
    expect(page.locator(".complaint, .answer.refused").filter(has_text=says).first).to_be_visible()
    assert garage.stands("conical", "unacknowledged")


def test_a_form_under_way_survives_news_of_another_alarm(garage: Garage, guest: Visit) -> None:
    garage.raise_alarm("ale-fridge")
    page = guest.open(garage.site.at("/alarms"))
    alarm = item(page, "ale-fridge")
    alarm.get_by_role("button", name="Silence it").click()
    field(alarm, "Reason").fill("half a rea")
    garage.raise_alarm("keg-fridge")
    expect(item(page, "keg-fridge")).to_be_visible()
    expect(field(alarm, "Reason")).to_have_value("half a rea")


def test_the_past_shows_how_many_alarms_there_were_a_day(garage: Garage, guest: Visit) -> None:
    garage.raise_alarm("ale-fridge")
    page = guest.open(garage.site.at("/alarms"))

    def told() -> bool:
        page.reload()
        expect(page.locator(".history")).not_to_contain_text("Looking it up")
        return "Hand needed" in page.locator(".history").inner_text()

    wait_in(page, told, "history has the alarm")
    expect(page.locator(".history svg")).to_have_attribute("aria-label", re.compile("a day"))


def test_a_link_opened_by_a_person_or_a_robot_changes_nothing(garage: Garage, guest: Visit) -> None:
    garage.raise_alarm("ale-fridge")
    address = garage.site.at(garage.link("ale-fridge"))
    with urlopen(Request(address, headers={"User-Agent": "preview"}), timeout=30) as response:
        assert response.status == 200
        assert response.headers["X-Robots-Tag"] == "noindex"
    guest.page.goto(address)
    expect(guest.page.get_by_role("heading", level=1)).to_have_text("Hand needed, ale-fridge")
    assert garage.stands("ale-fridge", "unacknowledged")


def test_the_button_behind_a_link_acknowledges_in_the_persons_name(garage: Garage, caller: Visit) -> None:
    garage.raise_alarm("lager-fridge")
    caller.page.goto(garage.site.at(garage.link("lager-fridge")))
    caller.shoot("link")
    caller.page.get_by_role("button", name="I see to it").tap()
    expect(caller.page.get_by_role("status")).to_contain_text("Acknowledged")
    wait_in(caller.page, lambda: garage.stands("lager-fridge", "acknowledged"), "it is acknowledged")
    alarm = garage.alarm("lager-fridge")
    assert alarm is not None
    assert alarm.by == "Ann"


def test_the_link_of_a_message_that_was_sent_leads_to_its_alarm(garage: Garage, guest: Visit) -> None:
    garage.raise_alarm("bath")
    guest.page.goto(garage.site.at(garage.told_link("bath")))
    expect(guest.page.get_by_role("heading", level=1)).to_have_text("Hand needed, bath")
    guest.page.get_by_role("button", name="I see to it").click()
    expect(guest.page.get_by_role("status")).to_contain_text("Acknowledged")


def test_a_forged_link_acknowledges_nothing(garage: Garage, guest: Visit) -> None:
    garage.raise_alarm("conical")
    link = garage.link("conical")
    forged = f"{link[:-4]}{'AAAA' if not link.endswith('AAAA') else 'BBBB'}"
    guest.page.goto(garage.site.at(forged))
    guest.page.get_by_role("button", name="I see to it").click()
    expect(guest.page.get_by_role("status")).to_contain_text("was not made here")
    assert garage.stands("conical", "unacknowledged")
    guest.errors.clear()  # Chromium tells of the answer 409, which is the point


def test_a_link_that_is_not_whole_says_so(garage: Garage, guest: Visit) -> None:
    guest.page.goto(garage.site.at("/acknowledge/half"))
    expect(guest.page.get_by_role("alert")).to_contain_text("not whole")
    guest.errors.clear()
    guest.refused.clear()  # 404 is the point
