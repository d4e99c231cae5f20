"""The journal shows who did what, sifts it, and hands it over as a file."""

import csv
import io
import json

from playwright.sync_api import expect

from schemas.requests import HoldBatch
from tests.console.browser import Visit, wait_in
from tests.console.pages_b.garage import Garage
from tests.console.pages_b.hands import field


def test_what_somebody_does_appears_with_who_and_why(garage: Garage, guest: Visit) -> None:
    garage.begin("written", "ale-fridge", "name: rest, hold: 12 degC, for: 9 d")
    page = guest.open(garage.site.at("/journal"))
    garage.ask(HoldBatch, batch="written", who="Bea", why="the power is off")
    entry = page.locator(".journal .entry", has_text="the power is off").first
    expect(entry).to_contain_text("Bea")
    expect(entry).to_contain_text("written, ale-fridge")


def test_lines_are_sifted_by_person_and_by_words(garage: Garage, guest: Visit) -> None:
    garage.begin("sifted", "lager-fridge", "name: rest, hold: 12 degC, for: 9 d")
    garage.ask(HoldBatch, batch="sifted", who="Cyd", why="a pause")
    page = guest.open(garage.site.at("/journal"))
    expect(page.locator(".journal .entry", has_text="a pause").first).to_be_visible()
    field(page, "Words").fill("a pause")
    expect(page.locator(".journal .entry")).to_have_count(1)
    field(page, "Words").fill("no such word anywhere")
    expect(page.get_by_text("No line is like that.")).to_be_visible()


def test_the_file_has_the_lines_that_are_shown(garage: Garage, guest: Visit) -> None:
    garage.begin("exported", "conical", "name: rest, hold: 12 degC, for: 9 d")
    garage.ask(HoldBatch, batch="exported", who="Dot", why='=1+1, "quoted"')
    page = guest.open(garage.site.at("/journal"))
    field(page, "Words").fill("quoted")
    expect(page.locator(".journal .entry")).to_have_count(1)

    def taken(link: str) -> str:
        address = str(page.get_by_role("link", name=link).get_attribute("href"))
        return page.request.get(garage.site.at(address)).text()

    wait_in(page, lambda: "quoted" in taken("Take away as CSV"), "the link follows the sieve")
    rows = list(csv.DictReader(io.StringIO(taken("Take away as CSV"))))
    assert [(row["who"], row["why"]) for row in rows] == [("Dot", '\'=1+1, "quoted"')]
    lines = [json.loads(line) for line in taken("Take away as JSON Lines").splitlines()]
    assert [(line["who"], line["why"]) for line in lines] == [("Dot", '=1+1, "quoted"')]


def test_an_unknown_form_of_file_says_what_there_is(garage: Garage, guest: Visit) -> None:
    guest.open(garage.site.at("/journal"))
    answer = guest.page.request.get(garage.site.at("/journal/export.xlsx"))
    assert (answer.status, "csv, jsonl" in answer.text()) == (404, True)
