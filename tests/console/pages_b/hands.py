"""How these tests find a field by its label, and the complaint beside it."""

from playwright.sync_api import Locator, Page


def box(place: Page | Locator, label: str) -> Locator:
    """A field with its label, note and complaint."""
    page = place if isinstance(place, Page) else place.page
    return place.locator(".field", has=page.locator(f"label:text-is({label!r})"))


def field(place: Page | Locator, label: str) -> Locator:
    """What is typed or chosen in."""
    return box(place, label).locator("input, textarea, select")


def complaint(place: Page | Locator, label: str) -> Locator:
    """What is said beside it."""
    return box(place, label).locator(".complaint")
