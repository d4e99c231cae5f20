"""Who one is, signing in and out, and one's own tokens."""

from datetime import datetime
from typing import TYPE_CHECKING, Annotated
from urllib.parse import parse_qs, urlencode

from fastapi import APIRouter, Request, Response
from fastapi.responses import JSONResponse, RedirectResponse
from pydantic import AwareDatetime, BaseModel, Field

from services.console import tokens
from services.console.access import visitor
from services.console.accounts import AccountRefused, KeptToken, Role
from services.console.api.trouble import Trouble, told
from services.console.door import Door, Wait
from services.console.headers import plain
from services.console.keys import session_of
from services.console.sessions import COOKIE, LASTS

if TYPE_CHECKING:
    from services.console.app import Desk

WRONG = "Name or password is wrong."
MOST_FORM_BYTES = 4000


class Me(BaseModel):
    """Who asks, what they may do, and how they are known."""

    name: str
    role: Role
    by: str = Field(description="local, session or token; empty for nobody.")


class SignIn(BaseModel):
    """A person's name and password."""

    name: Annotated[str, Field(max_length=40)]
    password: Annotated[str, Field(max_length=500)]


class NewToken(BaseModel):
    """What a new token is for, and until when."""

    label: Annotated[str, Field(min_length=1, max_length=tokens.LONGEST_LABEL)]
    expires: AwareDatetime | None = None


class TokenListed(BaseModel):
    """A token, without its secret."""

    id: str
    label: str
    made: datetime
    expires: datetime | None


class TokenShown(TokenListed):
    """A new token: the one time that its secret is seen."""

    secret: str


def entrance(desk: "Desk", door: Door) -> APIRouter:
    """Sessions and tokens."""
    router = APIRouter(tags=["access"])

    @router.get("/session", responses=told())
    def me() -> Me:
        """Who one is."""
        who = visitor()
        return Me(name=who.name, role=who.role, by=who.by)

    @router.post("/session", responses=told(429))
    async def sign_in(body: SignIn, request: Request) -> Me:
        """Signs in: the answer sets a cookie."""
        secret = await door.come_in(body.name, body.password, _place(request))
        if not isinstance(secret, str):
            return _turned_away(secret)  # type: ignore[return-value]
        account = door.keys.sessions.account(secret, desk.accounts.book, desk.clock.now())
        me = Me(name=body.name, role=account.role if account else Role.NOBODY, by="session")
        return _with_cookie(JSONResponse(me.model_dump()), secret, request)  # type: ignore[return-value]

    @router.delete("/session", status_code=204, responses=told())
    def sign_out(request: Request) -> Response:
        """Signs out."""
        return _left(Response(status_code=204), door, request)

    _own_tokens(router, desk)
    return router


def forms(door: Door) -> APIRouter:
    """The same for a plain form of a page, which is sent on to where it wanted to go."""
    router = APIRouter(include_in_schema=False)

    @router.post("/sign-in")
    async def sign_in(request: Request) -> Response:
        """Name and password, as a form sends them; `to` is a path here."""
        said = _fields(await _body(request))
        to = said.get("to", "/")
        secret = await door.come_in(said.get("name", ""), said.get("password", ""), _place(request))
        if isinstance(secret, str):
            return _with_cookie(RedirectResponse(to if _is_here(to) else "/", 303), secret, request)
        return RedirectResponse(f"/sign-in?{urlencode({'to': to, 'trouble': _words(secret)})}", 303)

    @router.post("/sign-out")
    def sign_out(request: Request) -> Response:
        """Back to where one signs in."""
        return _left(RedirectResponse("/sign-in", 303), door, request)

    return router


def _own_tokens(router: APIRouter, desk: "Desk") -> None:
    @router.get("/tokens", responses=told())
    def listed() -> list[TokenListed]:
        """One's own."""
        account = desk.accounts.book.find(visitor().name)
        return [_listed(one) for one in account.tokens] if account else []

    @router.post("/tokens", status_code=201, responses=told(409))
    def made(body: NewToken) -> TokenShown:
        """A new one, with one's own rights."""
        shown = tokens.make(desk.accounts, _account_name(), body.label, desk.clock.now(), body.expires)
        return TokenShown(secret=shown.secret, **_listed(shown.kept).model_dump())

    @router.delete("/tokens/{token}", status_code=204, responses=told(409))
    def taken_back(token: str) -> Response:
        """From now on it opens nothing."""
        tokens.take_back(desk.accounts, _account_name(), token)
        return Response(status_code=204)


def _account_name() -> str:
    who = visitor()
    if who.by == "token":
        raise AccountRefused("a token cannot make or take back tokens; sign in with a password")
    if who.by != "session":
        raise AccountRefused("tokens belong to an account; add one with `coldside accounts add`, and sign in")
    return who.name


def _listed(kept: KeptToken) -> TokenListed:
    return TokenListed(id=kept.id, label=kept.label, made=kept.made, expires=kept.expires)


def _turned_away(outcome: Wait | None) -> JSONResponse:
    body = Trouble(detail=_words(outcome)).model_dump()
    if outcome is None:
        return JSONResponse(body, 401)
    return JSONResponse(body, 429, headers={"Retry-After": f"{outcome.seconds:.0f}"})


def _words(outcome: Wait | None) -> str:
    if outcome is None:
        return WRONG
    return f"Too many failures; the next attempt is looked at in {max(1, round(outcome.seconds / 60))} min."


def _with_cookie(response: Response, secret: str, request: Request) -> Response:
    """Never seen by scripts, never sent from elsewhere; over TLS, also where a proxy ends it, only over TLS."""
    secure = request.url.scheme == "https" or request.headers.get("x-forwarded-proto") == "https"
    lasts_s = int(LASTS.total_seconds())
    response.set_cookie(COOKIE, secret, max_age=lasts_s, httponly=True, samesite="strict", secure=secure, path="/")
    return response


def _left(response: Response, door: Door, request: Request) -> Response:
    door.leave(session_of(plain(request.scope["headers"])))
    response.delete_cookie(COOKIE, path="/", httponly=True, samesite="strict")
    return response


def _place(request: Request) -> str:
    return request.client.host if request.client else ""


async def _body(request: Request) -> bytes:
    body = bytearray()
    async for chunk in request.stream():
        body += chunk
        if len(body) > MOST_FORM_BYTES:
            return b""
    return bytes(body)


def _fields(body: bytes) -> dict[str, str]:
    return {name: values[-1] for name, values in parse_qs(body.decode("utf-8", "replace")).items()}


def _is_here(path: str) -> bool:
    return path.startswith("/") and not path.startswith(("//", "/\\"))
