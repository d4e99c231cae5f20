"""A page that is open when its visitor loses the right to look shows nothing more."""

from datetime import UTC, datetime
from pathlib import Path

from services.console.accounts import Accounts, Role
from tests.console.browser import chromium, visit
from tests.console.ground.bench import CHEAP, PASSWORD
from tests.console.ground.test_visits import answered, idle_console
from tests.console.site import Site

NOW = datetime(2026, 3, 2, tzinfo=UTC)


def test_somebody_whose_account_is_taken_away_is_led_out_of_an_open_page(spoilt: Site, tmp_path: Path) -> None:
    accounts = Accounts(tmp_path, CHEAP)
    for name, role in (("ann", Role.OPERATOR), ("vic", Role.VIEWER)):
        accounts.add(name, role, PASSWORD, NOW)
    with idle_console(spoilt, tmp_path, idle_s=600) as own, chromium() as browser, visit(browser, "leaving") as guest:
        answered(own, "/api/v1/openapi.json")
        page = guest.page
        page.goto(own.at("/journal"))
        page.get_by_label("Name").fill("vic")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in").click()
        page.wait_for_url("**/journal")
        page.wait_for_function("window.did_handshake === true")
        accounts.remove("vic")
        page.wait_for_url("**/sign-in*")
