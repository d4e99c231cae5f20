"""Where the link in an alarm's message leads: opening it shows what it is about, only the button acknowledges.

Robots that preview links send no POST (GET is safe: RFC 9110, section 9.2.1). The link is the key: nobody signs in
here, and nothing is shown but what the link says itself, since anybody could have made one up.
"""

from html import escape

from fastapi import Request, Response
from nicegui import app

from schemas.base import SITE_WIDE
from services.console.app import Desk
from services.console.desk.answers import said
from services.console.pages.plain import plain_page
from services.console.sources import Claim, NotUsable

LONGEST = 1000
STATUS = {"accepted": 200, "refused": 409, "unanswered": 503}


def register(desk: Desk) -> None:
    """Shows by GET, acknowledges by POST."""

    @app.get("/acknowledge/{token}", include_in_schema=False)
    async def show(token: str, request: Request) -> Response:
        try:
            claim = desk.links.read(token[:LONGEST])
        except NotUsable as error:
            return plain_page(request, _site(desk), "Nothing to acknowledge", _trouble(str(error)), 404)
        return plain_page(request, _site(desk), title_of(claim), _about(desk, claim) + _BUTTON)

    @app.post("/acknowledge/{token}", include_in_schema=False)
    async def acknowledge(token: str, request: Request) -> Response:
        try:
            claim = desk.links.read(token[:LONGEST])
            answer = said(await desk.acknowledge(token[:LONGEST]), "Acknowledged. Thank you.")
        except NotUsable as error:
            return plain_page(request, _site(desk), "Nothing to acknowledge", _trouble(str(error)), 404)
        tone = "well" if answer.outcome == "accepted" else "grave"
        told = f'<p class="{tone}" role="status">{escape(answer.words)}</p>{_LIST}'
        return plain_page(request, _site(desk), title_of(claim), told, STATUS[answer.outcome])


def title_of(claim: Claim) -> str:
    """`Door open, ale-fridge`."""
    where = "the whole site" if claim.chamber == SITE_WIDE else claim.chamber
    return f"{claim.name.replace('-', ' ').capitalize()}, {where}"


def _about(desk: Desk, claim: Claim) -> str:
    raised = claim.raised.astimezone(desk.live.plant.zone)
    return f"<p>Raised on {raised:%A %d %B at %H:%M}, told to {escape(claim.person)}.</p>"


def _site(desk: Desk) -> str:
    return desk.live.plant.site.name


def _trouble(words: str) -> str:
    return f'<p class="grave" role="alert">{escape(words)}</p>{_LIST}'


_BUTTON = (
    '<form method="post"><button>I see to it</button></form>'
    '<p class="soft">Opening this page changed nothing. The button says that you have seen the alarm and see to it; '
    "it does not make it go away.</p>"
)
_LIST = '<p><a href="/alarms">All alarms</a></p>'
