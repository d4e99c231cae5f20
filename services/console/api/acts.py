"""What a person can ask of the services: one route for each request of the contract."""

from typing import TYPE_CHECKING, Annotated, Any, get_args

from fastapi import APIRouter, Body
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field, create_model

from schemas.base import Message, Name, Text
from schemas.requests import Accepted, Refused, Request, RequestBase, RequestId
from services.console.api.trouble import Trouble, told
from services.console.link import Answer, NoAnswer

if TYPE_CHECKING:
    from services.console.app import Desk

FILLED_IN = frozenset({*Message.model_fields, *RequestBase.model_fields, "verb"}) - {"why"}
"""What the console knows by itself: time, who asks, and where the answer goes."""


class Act(BaseModel):
    """What every act may say."""

    why: Text = Field(default="", description="Kept in the journal.")
    id: RequestId | None = Field(default=None, description="The same id again is the same request, done once.")


class Rehearsal(BaseModel):
    """What is to be rehearsed."""

    profile: Annotated[str, Field(min_length=1, max_length=20_000)] = Field(description="As it is written, in YAML.")
    chamber: Name
    original_gravity_sg: Annotated[float, Field(ge=0.98, le=1.2)] | None = None
    days: Annotated[float, Field(ge=0.05, le=56)] = 28


def acts(desk: "Desk") -> APIRouter:
    """A route a verb, under `/requests/`; the answer is the service's own."""
    router = APIRouter(tags=["acts"], prefix="/requests")
    for kind in get_args(Request):
        verb = kind.model_fields["verb"].default
        router.post(
            f"/{verb}",
            response_model=Accepted,
            responses=told(409, 503),
            description=kind.__doc__,
            name=verb,
        )(_route(desk, kind))
    return router


def rehearsing(desk: "Desk") -> APIRouter:
    """What if."""
    router = APIRouter(tags=["acts"])

    @router.post("/rehearsals", responses=told(503))
    async def rehearse(what: Rehearsal) -> dict[str, Any]:
        """Runs a profile through the real services on a model of the plant; takes up to half a minute."""
        return await desk.rehearsals.rehearse(what.profile, what.chamber, what.original_gravity_sg, what.days)

    return router


def body_of(kind: type[RequestBase]) -> type[Act]:
    """What a person says of a request, and nothing that the console fills in."""
    own = {name: field for name, field in kind.model_fields.items() if name not in FILLED_IN and name != "why"}
    fields: dict[str, Any] = {name: (field.annotation, field) for name, field in own.items()}
    return create_model(f"{kind.__name__}Body", __base__=Act, __doc__=kind.__doc__, **fields)


def answered(answer: Answer) -> Accepted | JSONResponse:
    """As HTTP says it: refused is 409, nobody there is 503."""
    if isinstance(answer, Refused):
        return JSONResponse(Trouble(detail=answer.reason, remedy=answer.remedy).model_dump(), 409)
    if isinstance(answer, NoAnswer):
        return JSONResponse(Trouble(detail=answer.reason).model_dump(), 503)
    return answer


def _route(desk: "Desk", kind: type[RequestBase]) -> Any:
    async def act(body: Any) -> Any:
        said = {name: getattr(body, name) for name in type(body).model_fields}
        return answered(await desk.act(kind, **said))

    act.__annotations__["body"] = Annotated[body_of(kind), Body()]
    return act
