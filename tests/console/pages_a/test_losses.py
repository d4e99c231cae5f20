"""Readings that stop, a server that is killed, a broker that goes: the page says so, keeps what it has, and heals."""

import os
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from playwright.sync_api import Page, expect

from services.console.board.window import DAY_MS
from tests.console.browser import PATIENCE_MS, Visit
from tests.console.site import Site

READY = '[data-board-ready="true"]'
WATCH = """what => {
  window.heard = [];
  const note = () => document.querySelectorAll(what).forEach(one => window.heard.push(one.textContent));
  const all = {subtree: true, childList: true, attributes: true, characterData: true};
  new MutationObserver(note).observe(document.body, all);
}"""
expect.set_options(timeout=PATIENCE_MS)


@contextmanager
def held(process: int | None) -> Iterator[None]:
    """A process that does nothing for a while, as on a hung machine."""
    assert process is not None
    os.kill(process, signal.SIGSTOP)
    try:
        yield
    finally:
        os.kill(process, signal.SIGCONT)


def broker_of(site: Site) -> int:
    """The embedded broker's process."""
    for folder in Path("/proc").iterdir():
        words = (folder / "cmdline").read_bytes() if folder.name.isdigit() and (folder / "cmdline").exists() else b""
        if b"nats-server" in words.split(b"\0")[0] and str(site.state).encode() in words:
            return int(folder.name)
    raise AssertionError(f"no broker of {site.state} runs")


def open_board(guest: Visit, site: Site) -> Page:
    """Drawn, with figures that are fresh."""
    page = guest.open(site.at("/"))
    page.wait_for_selector(READY)
    expect(page.locator('[data-figure="keg-fridge"][data-stale="false"]')).to_have_count(1)
    return page


def test_figures_look_stale_when_readings_stop_and_fresh_when_they_come_again(guest: Visit, site: Site) -> None:
    page = open_board(guest, site)
    figure = page.locator('[data-figure="keg-fridge"]')
    value = figure.locator(".value")
    assert int(figure.locator("[data-at]").get_attribute("data-stale-after") or 0) < 30_000
    with held(site.process_of("bridge")):
        expect(figure).to_have_attribute("data-stale", "true")
        expect(figure.locator(".age")).to_contain_text("old")
        assert value.evaluate("one => getComputedStyle(one).textDecorationLine") == "line-through"
        guest.shoot("stale")
    expect(figure).to_have_attribute("data-stale", "false")
    expect(figure.locator(".age")).to_have_text("")


def test_page_says_that_the_server_is_gone_and_heals_by_itself(guest: Visit, site: Site) -> None:
    page = open_board(guest, site)
    guest.away_allowed = True
    before = page.locator('[data-figure="conical"] .value').text_content()
    site.kill("console")
    expect(page.locator(".lost")).to_be_visible()
    expect(page.locator(".lost")).to_contain_text("lost the console since")
    assert page.locator('[data-figure="conical"] .value').text_content() == before
    guest.shoot("server-gone")
    expect(page.locator(".lost")).to_be_hidden()
    page.wait_for_selector(READY)
    expect(page.locator('[data-figure="conical"][data-stale="false"]')).to_have_count(1)


def test_page_says_that_history_is_away_and_draws_it_when_it_is_back(guest: Visit, site: Site) -> None:
    page = open_board(guest, site)
    store, elsewhere = site.state / "history.sqlite", site.state / "history.elsewhere"
    store.rename(elsewhere)
    try:
        page.locator(f'[data-act="span"][data-value="{DAY_MS}"]').click()
        expect(page.locator(".note")).to_contain_text("cannot be read now")
        expect(page.locator('[data-figure="keg-fridge"][data-stale="false"]')).to_have_count(1)
        guest.shoot("history-away")
    finally:
        elsewhere.rename(store)
    expect(page.locator(".note")).to_have_text("")


def test_page_says_that_the_broker_is_gone_and_heals_by_itself(guest: Visit, site: Site) -> None:
    page = open_board(guest, site)
    page.evaluate(WATCH, ".state")
    os.kill(broker_of(site), signal.SIGKILL)
    page.wait_for_function("() => window.heard.some(one => one.includes('The broker is gone since'))")
    expect(page.locator(".state")).not_to_contain_text("The broker is gone")
    expect(page.locator('[data-figure="keg-fridge"][data-stale="false"]')).to_have_count(1)
