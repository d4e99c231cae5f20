"""The REST interface under `/api/v1`: every read and every act, described by an OpenAPI document."""

from typing import TYPE_CHECKING

from fastapi import FastAPI

from services.console.api.acts import acts, rehearsing
from services.console.api.entrance import entrance, forms
from services.console.api.looking import looking
from services.console.api.past import files, past
from services.console.api.programmes import programmes
from services.console.api.sums import sums
from services.console.api.trouble import explain
from services.console.door import Door

if TYPE_CHECKING:
    from services.console.app import Desk

PREFIX = "/api/v1"
ABOUT = (
    "Everything that the console shows and does. Temperatures are degC, times are UTC. "
    "Send `Authorization: Bearer TOKEN`; `coldside accounts token` makes one. It is no safety device."
)


def interface(desk: "Desk", door: Door) -> FastAPI:
    """An application with all routes of the interface."""
    app = FastAPI(
        title="coldside",
        version="1",
        description=ABOUT,
        docs_url=None,
        redoc_url=None,
        openapi_url=f"{PREFIX}/openapi.json",
    )
    explain(app)
    for router in (looking, past, files, acts, rehearsing, programmes, sums):
        app.include_router(router(desk), prefix=PREFIX)
    app.include_router(entrance(desk, door), prefix=PREFIX)
    app.include_router(forms(door))
    return app
