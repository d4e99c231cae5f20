"""What is answered when something cannot be done: words, whatever the reason."""

from collections.abc import Mapping
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse
from pydantic import BaseModel, Field

from services.console.accounts import AccountRefused
from services.console.sources import NotUsable, Unavailable, Unknown


class Trouble(BaseModel):
    """Why it was not done, and what would be right."""

    detail: str = Field(description="In plain words.")
    remedy: str = ""


STATUS: dict[type[Exception], int] = {Unavailable: 503, Unknown: 404, NotUsable: 422, AccountRefused: 409}
DESCRIBED = {
    400: "It cannot be read.",
    401: "Nobody is signed in, or the token is no good.",
    403: "A viewer may not do this, or another site's page asked for it.",
    404: "There is no such thing.",
    409: "Refused, with the reason.",
    422: "Something in it cannot be used; the detail names the place.",
    429: "Too many failures; wait.",
    503: "What is needed for it is away; what is live goes on.",
}


def told(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """For a route's description: 401, 403 and 422 are always possible. A reference, since each model costs time."""
    content = {"application/json": {"schema": {"$ref": f"#/components/schemas/{Trouble.__name__}"}}}
    return {
        status: {"content": content, "description": DESCRIBED[status]} for status in sorted({401, 403, 422, *statuses})
    }


def explain(app: FastAPI) -> None:
    """Turns what is raised below into answers, and describes these."""
    plain = app.openapi

    def described() -> dict[str, Any]:
        if app.openapi_schema is None:
            plain()["components"]["schemas"][Trouble.__name__] = Trouble.model_json_schema()
        return plain()

    app.openapi = described  # type: ignore[method-assign]
    for kind in STATUS:
        app.add_exception_handler(kind, _answer)
    app.add_exception_handler(RequestValidationError, _unusable)


async def _answer(_request: Request, error: Exception) -> JSONResponse:
    status = next(STATUS[kind] for kind in type(error).__mro__ if kind in STATUS)
    return JSONResponse(Trouble(detail=str(error)).model_dump(), status)


async def _unusable(_request: Request, error: Exception) -> JSONResponse:
    problems = error.errors() if isinstance(error, RequestValidationError) else [{"loc": (), "msg": str(error)}]
    return JSONResponse(Trouble(detail="; ".join(map(_problem, problems))[:2000]).model_dump(), 422)


def _problem(problem: Mapping[str, Any]) -> str:
    place = ".".join(str(part) for part in problem["loc"])
    return f"{place}: {problem['msg']}" if place else str(problem["msg"])
