"""Where one signs in, and out."""

from html import escape

from fastapi import Request, Response
from nicegui import app

from services.console.access import visitor
from services.console.app import Desk
from services.console.pages.plain import plain_page

LONGEST_PLACE = 500


def register(desk: Desk) -> None:
    """The page with the form; what it sends is taken by the REST interface's entrance."""

    @app.get("/sign-in", include_in_schema=False)
    async def sign_in(request: Request) -> Response:
        site, someone = desk.live.plant.site.name, visitor()
        if someone.by == "session":
            return plain_page(request, site, "Signed in", _leave(someone.name, someone.role))
        if not desk.accounts.book.accounts:
            return plain_page(request, site, "No account yet", _NO_ACCOUNT)
        said = request.query_params
        return plain_page(request, site, "Sign in", _form(said.get("to", "/"), said.get("trouble", "")))


def _form(to: str, trouble: str) -> str:
    told = f'<p class="grave" role="alert" id="trouble">{escape(trouble[:300])}</p>' if trouble else ""
    return (
        f'{told}<form method="post" action="/sign-in">'
        f'<input type="hidden" name="to" value="{escape(to[:LONGEST_PLACE], quote=True)}">'
        '<label>Name<input name="name" autocomplete="username" autocapitalize="none" required autofocus></label>'
        '<label>Password<input name="password" type="password" autocomplete="current-password" required></label>'
        "<button>Sign in</button></form>"
    )


def _leave(name: str, role: str) -> str:
    return (
        f"<p>You are {escape(name)}, {escape(role)}.</p>"
        '<form method="post" action="/sign-out"><button>Sign out</button></form><p><a href="/">To the board</a></p>'
    )


_NO_ACCOUNT = (
    "<p>While nobody has a password, whoever sits at this machine may look and act, and nobody else can reach it.</p>"
    "<p>Add an operator on the command line: <code>coldside accounts add NAME</code></p>"
    '<p><a href="/">To the board</a></p>'
)
