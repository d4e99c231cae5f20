"""The site's page: how the services are, a chamber added from what a device says, files, who may come in."""

import json
import re
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from playwright.sync_api import Page, expect

from services.console.accounts import Accounts, Role
from services.runtime.broker import find_address
from services.runtime.clock import SystemClock
from tests.console.browser import Visit, wait_in
from tests.console.pages_b.garage import Garage
from tests.console.pages_b.hands import box, complaint, field

DEVICE = """
import sys
from threading import Event
import paho.mqtt.client as mqtt
pause = Event()
host, port = sys.argv[1].removeprefix("mqtt://").split(":")
client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, client_id="shed-node")
client.connect(host, int(port))
client.loop_start()
while True:
    client.publish("shed/node9/state", '{"beer": {"temperature": 11.5}, "door": 0, "rssi": -61}')
    pause.wait(0.5)
"""
PASSWORD = "correct horse battery"


@contextmanager
def device(garage: Garage) -> Iterator[None]:
    """A foreign device that knows nothing of us and speaks of itself twice a second."""
    process = subprocess.Popen([sys.executable, "-c", DEVICE, str(find_address(garage.site.state))])
    try:
        yield
    finally:
        process.terminate()
        process.wait(30)


@pytest.fixture
def operator(garage: Garage) -> Iterator[str]:
    """An operator called ann; nobody has an account afterwards."""
    accounts = Accounts(garage.site.state)
    accounts.add("ann", Role.OPERATOR, PASSWORD, SystemClock().now())
    yield "ann"
    for one in sorted(accounts.book.accounts, key=lambda one: one.role is Role.OPERATOR):
        accounts.remove(one.name)


def sign_in(page: Page, garage: Garage, name: str, password: str, path: str = "/") -> None:
    page.goto(garage.site.at(path))
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()


def come_in(page: Page, garage: Garage, name: str, path: str) -> None:
    """Signs in, and waits until the page hears its server: what is typed before that is lost."""
    sign_in(page, garage, name, PASSWORD, path)
    page.wait_for_url(garage.site.at(path))
    page.wait_for_function("window.did_handshake === true")


def test_every_service_is_shown_with_its_health(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/site"))
    for name in ("bridge", "supervisor", "scheduler", "notifier", "recorder", "console", "simulator"):
        expect(page.locator(".services tr", has_text=name).first).to_contain_text("runs")
    expect(page.get_by_text("Broker: there. Store: there")).to_be_visible()


def test_the_plant_is_shown_as_the_services_see_it(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/site"))
    page.get_by_text("conical: jacketed").click()
    expect(page.get_by_text("probe gravity: gravity, every 900 s")).to_be_visible()


def test_a_chamber_is_added_from_what_a_device_says(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/site"))
    field(page, "Name").first.fill("shed-fridge")
    with device(garage):
        field(page, "Topics").fill("shed/#")
        field(page, "For").fill("2")
        page.get_by_role("button", name="Listen").click()
        leaf = box(page, "shed/node9/state  $.beer.temperature")
        leaf.locator("input").check()
    row = page.locator(".heard", has=leaf)
    field(row, "Named").fill("beer")
    page.get_by_role("button", name="Write the block").click()
    expect(page.get_by_text("it would be accepted")).to_be_visible()
    block = page.locator(".block").inner_text()
    text = garage.plant.read_text(encoding="utf-8")
    garage.plant.write_text(text.replace("chambers:\n", block + "\n", 1), encoding="utf-8")
    try:
        expect(page.get_by_text("shed-fridge: fridge")).to_be_visible()
        with device(garage):
            wait_in(page, lambda: garage.reading("shed-fridge", "beer") == 11.5, "the new chamber's probe reads")
    finally:
        garage.plant.write_text(text, encoding="utf-8")
    expect(page.get_by_text("shed-fridge: fridge")).to_have_count(0)


def test_a_block_that_would_be_refused_says_why(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/site"))
    page.get_by_role("button", name="Write the block").click()
    expect(complaint(page, "Name").first).to_contain_text("give the chamber a name")
    field(page, "Name").first.fill("bath")
    page.get_by_role("button", name="Write the block").click()
    expect(page.locator(".answer.refused")).to_contain_text("There is a chamber 'bath' already")


def test_listening_is_for_a_time_that_ends(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/site"))
    field(page, "For").fill("3600")
    page.get_by_role("button", name="Listen").click()
    expect(complaint(page, "For")).to_contain_text("outside 1 to 60")


def test_our_own_messages_are_no_devices(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/site"))
    field(page, "Topics").fill("coldside/#")
    field(page, "For").fill("2")
    page.get_by_role("button", name="Listen").click()
    expect(page.get_by_text("Nothing was heard")).to_be_visible()


def test_backup_and_support_bundle_can_be_taken_away(garage: Garage, guest: Visit) -> None:
    page = guest.open(garage.site.at("/site"))
    beginnings = {"Backup": b"SQLite format 3", "Support bundle": b"PK"}
    for name, beginning in beginnings.items():
        address = str(page.get_by_role("link", name=name).get_attribute("href"))
        assert page.request.get(garage.site.at(address)).body().startswith(beginning)


def test_a_plant_file_that_is_refused_is_told_and_the_earlier_one_followed(garage: Garage, guest: Visit) -> None:
    text = garage.plant.read_text(encoding="utf-8")
    page = guest.open(garage.site.at("/site"))
    garage.plant.write_text(text.replace("cooled_by: bath", "cooled_by: bathh"), encoding="utf-8")
    try:
        expect(page.locator(".panel .paste").first).to_contain_text("name one of bath")
        expect(page.get_by_text("conical: jacketed")).to_be_visible()
    finally:
        garage.plant.write_text(text, encoding="utf-8")
    expect(page.get_by_text("is not followed")).to_have_count(0)


def test_with_an_account_everybody_signs_in_and_out(garage: Garage, guest: Visit, operator: str) -> None:
    page = guest.page
    sign_in(page, garage, operator, "wrong password", "/journal")
    expect(page.get_by_role("alert")).to_contain_text("Name or password is wrong")
    guest.shoot("sign-in")
    assert guest.grave_barriers() == []
    come_in(page, garage, operator, "/journal")
    expect(page.get_by_role("heading", level=1)).to_have_text("Journal")
    page.goto(garage.site.at("/sign-in"))
    page.get_by_role("button", name="Sign out").click()
    page.goto(garage.site.at("/alarms"))
    expect(page.get_by_role("button", name="Sign in")).to_be_visible()


def test_the_link_of_a_message_works_without_signing_in(garage: Garage, guest: Visit, operator: str) -> None:
    garage.raise_alarm("keg-fridge")
    guest.page.goto(garage.site.at(garage.link("keg-fridge")))
    guest.page.get_by_role("button", name="I see to it").click()
    expect(guest.page.get_by_role("status")).to_contain_text("Acknowledged")


def test_a_viewer_sees_everything_and_can_do_nothing(garage: Garage, guest: Visit, operator: str) -> None:
    garage.begin("watched", "ale-fridge", "name: rest, hold: 12 degC, for: 9 d")
    page = guest.page
    come_in(page, garage, operator, "/site")
    accounts = page.get_by_label("Accounts", exact=True)
    field(accounts, "Name").fill("eve")
    field(accounts, "Role").select_option("viewer")
    field(accounts, "Password").fill(PASSWORD)
    accounts.get_by_role("button", name="Add the account").click()
    expect(accounts).to_contain_text("eve may come in as viewer.")
    page.goto(garage.site.at("/sign-in"))
    page.get_by_role("button", name="Sign out").click()
    come_in(page, garage, "eve", "/batch/watched")
    expect(page.get_by_role("button", name="Hold", exact=True)).to_be_disabled()
    expect(page.get_by_role("button", name="Change what is to come")).to_have_count(0)
    expect(page.get_by_text("You may look, not act").first).to_be_visible()


def test_a_token_is_shown_once_opens_the_interface_and_is_taken_back(
    garage: Garage, guest: Visit, operator: str
) -> None:
    page = guest.page
    come_in(page, garage, operator, "/site")
    field(page, "What for").fill("the shed's display")
    page.get_by_role("button", name="Make a token").click()
    expect(page.locator(".secret")).to_have_text(re.compile("^coldside-"))
    secret = page.locator(".secret").inner_text()
    headers = {"Authorization": f"Bearer {secret}"}
    assert json.loads(page.request.get(garage.site.at("/api/v1/session"), headers=headers).text())["by"] == "token"
    page.get_by_role("button", name="Take back the shed's display").click()
    expect(page.get_by_text("It opens nothing from now on.")).to_be_visible()
    assert page.request.get(garage.site.at("/api/v1/site"), headers=headers).status == 401
