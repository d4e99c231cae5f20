"""The console as one application: pages, REST interface, and the access rules round both."""

from dataclasses import dataclass, field
from random import SystemRandom
from typing import Any

from fastapi import FastAPI
from pydantic import ValidationError

from schemas.base import ServiceName
from schemas.requests import AcknowledgeAlarm, Refused, RequestBase
from services.console.access import visitor
from services.console.accounts import Accounts
from services.console.api import interface
from services.console.core import CLIENT
from services.console.door import Door
from services.console.gate import Application, Gate, Visits
from services.console.keys import Keys
from services.console.link import Answer, Bus
from services.console.live import Live
from services.console.sessions import Sessions
from services.console.settings import Settings
from services.console.sources import Bundles, Deaf, Ears, History, Links, Profiles, Rehearsals, Reports
from services.runtime.clock import Clock

QUESTION = "tell-"
"""With this begin the verbs of requests that only ask."""


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
    links: Links
    accounts: Accounts
    settings: Settings
    clock: Clock
    ears: Ears = field(default_factory=Deaf)

    async def act(self, kind: type[RequestBase], *, why: str = "", **fields: Any) -> Answer:
        """Asks in the name of the visitor: `await desk.act(HoldBatch, batch="stout-12", why="...")`.

        Never raises for what a person typed: Refused says what is wrong, also where the visitor may not act.
        """
        who = visitor()
        now = self.clock.now()
        request_id = fields.pop("id", None) or new_id()
        if not who.may_act and not (who.may_look and is_question(kind)):
            return _refused(self, request_id, "You may look, not act.", "Sign in as an operator.")
        try:
            request = kind(
                at=now, source=CLIENT, id=request_id, client=CLIENT, who=fields.pop("who", who.name), why=why, **fields
            )
        except ValidationError as error:
            return _refused(self, new_id(), what_is_wrong(error), "")
        return await self.bus.ask(request)

    async def acknowledge(self, token: str) -> Answer:
        """Acknowledges what a message's link is about: the link is the key, whoever follows it.

        Raises NotUsable for a link that is not whole; whether it is good, the notifier says.
        """
        claim = self.links.read(token)
        request = AcknowledgeAlarm(
            at=self.clock.now(), source=CLIENT, id=new_id(), client=CLIENT, who=claim.person, why="by the link",
            chamber=claim.chamber, name=claim.name, token=token,
        )  # fmt: skip
        return await self.bus.ask(request)


def is_question(kind: type[RequestBase]) -> bool:
    """Whether a request changes nothing and stands in no journal, so that whoever may look may ask it."""
    return str(kind.model_fields["verb"].default).startswith(QUESTION)


def new_id() -> str:
    """An id for a request; no two are the same."""
    return f"{SystemRandom().randrange(16**16):016x}"


def what_is_wrong(error: ValidationError) -> str:
    """The first problem, with its field."""
    first = error.errors(include_url=False)[0]
    place = ".".join(str(part) for part in first["loc"])
    return f"{place}: {first['msg']}" if place else str(first["msg"])


@dataclass(slots=True)
class Console:
    """The application behind its gate, and who is visiting."""

    app: Application
    visits: Visits


def build(desk: Desk, *, with_pages: bool = True) -> Console:
    """The whole application. With pages once a process: NiceGUI keeps them in a place that all share."""
    keys = Keys(desk.accounts, Sessions(desk.settings.state_folder), desk.clock)
    app = interface(desk, Door(keys))
    if with_pages:
        _add_pages(app, desk)
    visits = Visits(last_s=desk.clock.elapsed())
    return Console(Gate(app, keys, visits), visits)


def _add_pages(app: FastAPI, desk: Desk) -> None:
    from nicegui import ui  # heavy, and reads its surroundings on import

    from services.console.pages import STATIC, install
    from services.console.turnout import watch_pages

    install(desk)
    watch_pages()
    ui.run_with(
        app,
        title="coldside",
        favicon=STATIC / "icon.svg",
        dark=None,
        tailwind=False,
        storage_secret=desk.accounts.secret(),
        session_middleware_kwargs={"same_site": "strict", "session_cookie": "coldside_page"},
        show_welcome_message=False,
    )


def _refused(desk: Desk, request_id: str, reason: str, remedy: str) -> Refused:
    source = ServiceName.CONSOLE.value
    return Refused(at=desk.clock.now(), source=source, id=request_id, reason=reason, remedy=remedy)
