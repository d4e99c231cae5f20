"""The console as one application: pages, REST interface, and the access rules round both."""

from dataclasses import dataclass
from random import SystemRandom
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError

from schemas.base import ServiceName
from schemas.requests import Refused, RequestBase
from services.console.access import visitor
from services.console.accounts import Accounts
from services.console.core import CLIENT
from services.console.link import Answer, Bus
from services.console.live import Live
from services.console.settings import Settings
from services.console.sources import Bundles, History, Profiles, Rehearsals, Reports
from services.runtime.clock import Clock

if TYPE_CHECKING:
    from fastapi import FastAPI


@dataclass(slots=True, kw_only=True)
class Desk:
    """Everything that a page or a route needs."""

    live: Live
    bus: Bus
    history: History
    reports: Reports
    rehearsals: Rehearsals
    profiles: Profiles
    bundles: Bundles
    accounts: Accounts
    settings: Settings
    clock: Clock

    async def act(self, kind: type[RequestBase], *, why: str = "", **fields: Any) -> Answer:
        """Asks in the name of the visitor: `await desk.act(HoldBatch, batch="stout-12", why="...")`.

        Never raises for what a person typed: Refused says what is wrong, also where the visitor may not act.
        """
        who = visitor()
        now = self.clock.now()
        request_id = fields.pop("id", None) or new_id()
        if not who.may_act:
            return _refused(self, request_id, "You may look, not act.", "Sign in as an operator.")
        try:
            request = kind(
                at=now, source=CLIENT, id=request_id, client=CLIENT, who=fields.pop("who", who.name), why=why, **fields
            )
        except ValidationError as error:
            return _refused(self, new_id(), what_is_wrong(error), "")
        return await self.bus.ask(request)


def new_id() -> str:
    """An id for a request; no two are the same."""
    return f"{SystemRandom().randrange(16**16):016x}"


def what_is_wrong(error: ValidationError) -> str:
    """The first problem, with its field."""
    first = error.errors(include_url=False)[0]
    place = ".".join(str(part) for part in first["loc"])
    return f"{place}: {first['msg']}" if place else str(first["msg"])


def build(desk: Desk) -> "FastAPI":
    """The whole application. Once a process: NiceGUI keeps its pages in a place that all share."""
    from nicegui import ui

    from services.console.api import interface
    from services.console.pages import install

    app = interface(desk)
    install(desk)
    ui.run_with(
        app,
        title="coldside",
        dark=None,
        tailwind=False,
        storage_secret=desk.accounts.secret(),
        session_middleware_kwargs={"same_site": "strict", "session_cookie": "coldside_page"},
        show_welcome_message=False,
    )
    return app


def _refused(desk: Desk, request_id: str, reason: str, remedy: str) -> Refused:
    source = ServiceName.CONSOLE.value
    return Refused(at=desk.clock.now(), source=source, id=request_id, reason=reason, remedy=remedy)
