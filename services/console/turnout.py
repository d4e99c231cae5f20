"""Sends away whoever is no longer let in: a page stays open for days, an account, a session or a token may end."""

from collections.abc import Iterable
from typing import Any

from nicegui import Client, app, ui

from services.console.access import WHO_IS_IT
from services.console.gate import OPEN_TO_ALL, SIGN_IN

LOOK_EVERY_S = 5.0


def watch_pages() -> None:
    """Looks at every open page, for as long as the application runs."""
    app.timer(LOOK_EVERY_S, lambda: turn_out(list(Client.instances.values())))


def turn_out(pages: Iterable[Client]) -> None:
    """Each page whose visitor is nobody now goes to where one signs in; nothing more is told to it."""
    for page in pages:
        if _may_stay(page):
            continue
        with page:
            ui.navigate.to(SIGN_IN)


def _may_stay(page: Client) -> bool:
    try:
        scope: Any = page.request.scope
    except RuntimeError:
        return True  # nobody asked for it
    who = scope.get(WHO_IS_IT)
    return who is None or who().may_look or bool(OPEN_TO_ALL.fullmatch(scope["path"]))
