"""The board in a real browser, on the real services of a simulated barn."""

import pytest
from playwright.sync_api import Browser, Locator, Page, expect

from services.console.board.window import HOUR_MS
from tests.console.browser import PATIENCE_MS, Visit, phone, visit
from tests.console.site import Site

CHAMBERS = ("ale-fridge", "lager-fridge", "conical", "keg-fridge", "bath")
READY = '[data-board-ready="true"]'
expect.set_options(timeout=PATIENCE_MS)


@pytest.fixture
def board(guest: Visit, site: Site) -> Page:
    """Drawn, at a desk."""
    guest.open(site.at("/")).wait_for_selector(READY)
    return guest.page


def span(page: Page) -> int:
    """How much time is drawn, milliseconds."""
    root = page.locator(".board")
    return int(root.get_attribute("data-end") or 0) - int(root.get_attribute("data-start") or 0)


def figure(page: Page, chamber: str) -> Locator:
    """What stands at a lane's end."""
    return page.locator(f'[data-figure="{chamber}"]')


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("device", ["desk", "phone"])
def test_board_is_whole_and_without_barriers(browser: Browser, site: Site, theme: str, device: str) -> None:
    with visit(browser, device, theme=theme, **(phone() if device == "phone" else {})) as one:
        one.open(site.at("/")).wait_for_selector(READY)
        for chamber in CHAMBERS:
            expect(figure(one.page, chamber).locator(".value")).not_to_have_text("––")
        one.shoot("board")
        assert one.grave_barriers() == []
        assert one.page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")


def test_programme_stands_in_the_lane_of_its_chamber(board: Page) -> None:
    lane = board.locator('[data-lane="ale-fridge"]')
    expect(lane.locator(".leg.now")).to_have_count(1)
    expect(lane.locator("path.wanted.ahead")).to_have_count(1)
    expect(lane.locator("path.expected")).to_have_count(1)


def test_new_readings_come_without_asking(board: Page) -> None:
    reading = figure(board, "keg-fridge").locator("[data-at]")
    before = reading.get_attribute("data-at")
    assert before is not None
    expect(reading).not_to_have_attribute("data-at", before)


def test_lane_shows_the_difference_from_wanted_and_back(board: Page) -> None:
    switch = board.locator('[data-lane="ale-fridge"] .switch')
    unit = board.locator('[data-lane="ale-fridge"] .heights .of')
    switch.click()
    expect(unit).to_have_text("K")
    expect(switch).to_have_attribute("aria-pressed", "true")
    switch.click()
    expect(unit).to_have_count(0)


def test_span_is_chosen_and_the_present_found_again(board: Page) -> None:
    button = board.locator(f'[data-act="span"][data-value="{6 * HOUR_MS}"]')
    button.click()
    expect(button).to_have_attribute("aria-pressed", "true")
    board.locator('[data-act="move"][data-value="-0.5"]').click()
    board.locator('[data-act="move"][data-value="-0.5"]').click()
    expect(board.locator(".now-pill")).to_have_count(0)
    board.locator('[data-act="now"]').click()
    expect(board.locator(".now-pill")).to_have_count(1)
    assert span(board) == 6 * HOUR_MS


def test_keys_zoom_no_further_than_an_hour_and_eight_weeks(board: Page) -> None:
    for key, goal in (("+", HOUR_MS), ("-", 56 * 24 * HOUR_MS)):
        board.locator(".axis").focus()
        for _ in range(16):
            board.keyboard.press(key)
        board.wait_for_function(f"() => {{ const d = document.querySelector('.board').dataset; "
                                f"return Math.abs(d.end - d.start - {goal}) < 1000 }}")  # fmt: skip
        assert span(board) == goal


def test_pointing_says_time_and_values_in_every_lane(board: Page) -> None:
    board.locator(f'[data-act="span"][data-value="{HOUR_MS}"]').click()
    expect(board.locator(f'[data-value="{HOUR_MS}"][aria-pressed="true"]')).to_have_count(1)
    box = board.locator('[data-lane="ale-fridge"] .plot').bounding_box()
    assert box is not None
    board.mouse.move(box["x"] + box["width"] * 0.9, box["y"] + 30)
    expect(board.locator(".lens-time")).to_have_count(1)
    expect(board.locator('[data-lane="ale-fridge"] .lens-words')).to_contain_text("wanted")


def test_units_are_the_visitors_choice_and_stay(board: Page, guest: Visit, site: Site) -> None:
    expect(figure(board, "ale-fridge").locator(".unit")).to_have_text("°C")
    board.locator('[data-choice="unit-temperature"]').select_option("degF")
    expect(figure(board, "ale-fridge").locator(".unit")).to_have_text("°F")
    guest.open(site.at("/chamber/ale-fridge"))
    expect(board.locator(".end .unit")).to_have_text("°F")


def test_theme_is_the_visitors_choice_and_stays(board: Page, guest: Visit, site: Site) -> None:
    board.locator('[data-choice="theme"]').select_option("dark")
    expect(board.locator('html[data-theme="dark"]')).to_have_count(1)
    guest.open(site.at("/"))
    expect(board.locator('html[data-theme="dark"]')).to_have_count(1)


def test_console_can_be_installed_on_a_telephone(board: Page) -> None:
    manifest = board.evaluate("fetch(document.querySelector('link[rel=manifest]').href).then(r => r.json())")
    assert manifest["display"] == "standalone"
    for icon in manifest["icons"]:
        assert board.evaluate(f"fetch('{icon['src']}').then(r => r.status)") == 200
    kind = board.evaluate("fetch('/favicon.ico').then(r => r.headers.get('content-type'))")
    assert kind.startswith("image/svg")


def test_first_board_stays_within_its_bytes(guest: Visit, site: Site) -> None:
    sizes: list[int] = []
    guest.page.on("requestfinished", lambda request: sizes.append(request.sizes()["responseBodySize"]))
    guest.open(site.at("/")).wait_for_selector(READY)
    guest.page.wait_for_load_state("networkidle")
    assert 0 < sum(sizes) <= 1_500_000


def test_dragging_moves_the_time_and_a_wheel_with_control_zooms(board: Page) -> None:
    root, plot = board.locator(".board"), board.locator('[data-lane="ale-fridge"] .plot')
    box, start = plot.bounding_box(), root.get_attribute("data-start")
    assert box is not None
    assert start is not None
    board.mouse.move(box["x"] + 300, box["y"] + 30)
    board.mouse.down()
    board.mouse.move(box["x"] + 500, box["y"] + 30, steps=4)
    board.mouse.up()
    board.wait_for_function("was => Number(document.querySelector('.board').dataset.start) < was", arg=int(start))
    before = span(board)
    board.keyboard.down("Control")
    board.mouse.wheel(0, -300)
    board.keyboard.up("Control")
    board.wait_for_function(
        "was => { const d = document.querySelector('.board').dataset; return d.end - d.start < was * 0.9 }", arg=before
    )


CROSSED = """() => {
  const box = one => one.getBoundingClientRect();
  const words = one => { const range = document.createRange(); range.selectNodeContents(one); return box(range); };
  const pill = box(document.querySelector(".now-pill"));
  const meets = (a, b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom;
  const now = (pill.left + pill.right) / 2;
  const ticks = [...document.querySelectorAll(".tick")].filter(one => one.textContent && meets(words(one), pill));
  const crossed = b => b.width && b.left < now && now < b.right;
  const legs = [...document.querySelectorAll(".leg span")].map(words).filter(crossed);
  return ticks.length + legs.length;
}"""


@pytest.mark.parametrize("device", ["desk", "phone"])
@pytest.mark.parametrize("hours", [1, 24, 56 * 24])
def test_no_words_collide_with_the_line_of_the_present(browser: Browser, site: Site, device: str, hours: int) -> None:
    with visit(browser, device, **(phone() if device == "phone" else {})) as one:
        one.open(site.at("/")).wait_for_selector(READY)
        one.page.locator(f'[data-act="span"][data-value="{hours * HOUR_MS}"]').click()
        expect(one.page.locator(f'[data-value="{hours * HOUR_MS}"][aria-pressed="true"]')).to_have_count(1)
        assert one.page.evaluate(CROSSED) == 0
