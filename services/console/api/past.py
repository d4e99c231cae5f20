"""What was: recorded series, what was said, reports, and files to take away."""

from collections.abc import Iterable
from dataclasses import asdict
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Query, Response
from fastapi.responses import FileResponse
from numpy.typing import NDArray
from pydantic import AwareDatetime, BaseModel, Field
from starlette.background import BackgroundTask

from schemas.base import Name
from services.console.api.trouble import told
from services.console.sources import Annotation, NotUsable, Series

if TYPE_CHECKING:
    from services.console.app import Desk

LONGEST = timedelta(days=3660)
MOST_BUCKETS = 5000
NUMBERS = list[float | None]

Since = Annotated[AwareDatetime, Query(description="From then on; with its zone, as in 2026-03-01T12:00:00Z.")]
Until = Annotated[AwareDatetime, Query(description="Up to and without then.")]


class SeriesShown(BaseModel):
    """Buckets of one series: the edges in milliseconds since 1970, one more than values; null is a gap."""

    chamber: str
    item: str
    unit: str
    edges_ms: list[int]
    min: NUMBERS
    mean: NUMBERS
    max: NUMBERS
    last: NUMBERS


class SeriesListed(BaseModel):
    """A series that history has something of."""

    chamber: str
    kind: str
    name: str
    unit: str


class AnnotationShown(BaseModel):
    """Something said at one time."""

    id: str
    at_ms: int = Field(description="Milliseconds since 1970.")
    kind: str
    name: str
    chamber: str
    batch: str
    who: str
    text: str
    facts: dict[str, Any]


class Run(BaseModel):
    """A stretch in which an output was on, in milliseconds since 1970."""

    begins_ms: int
    ends_ms: int


def past(desk: "Desk") -> APIRouter:
    """Reads of the store; 503 while it is away."""
    router = APIRouter(tags=["past"], prefix="/history", responses=told(503))
    history = desk.history

    @router.get("/series")
    async def names() -> list[SeriesListed]:
        """What there is."""
        return [SeriesListed(**one._asdict()) for one in await history.names()]

    @router.get("/series/{chamber}/{item}")
    async def series(
        chamber: Name, item: Name, start: Since, end: Until, count: Annotated[int, Query(ge=1, le=MOST_BUCKETS)] = 300
    ) -> SeriesShown:
        """One series in so many buckets: a probe's or an output's name, or setpoint, demand, beer-estimate, ..."""
        _check(start, end)
        found = await history.series(chamber, item, start, end, count)
        return _shown(chamber, item, found)

    @router.get("/annotations")
    async def annotations(
        start: Since, end: Until, chamber: Name | None = None, kind: Name | None = None
    ) -> list[AnnotationShown]:
        """What was said: journal, alarms, conditions, batches, statuses, ..."""
        _check(start, end)
        return _annotations(await history.annotations(start, end, chamber, kind))

    @router.get("/runs/{chamber}/{output}")
    async def runs(chamber: Name, output: Name, start: Since, end: Until) -> list[Run]:
        """When an output was on."""
        _check(start, end)
        return [Run(begins_ms=on, ends_ms=off) for on, off in await history.runs(chamber, output, start, end)]

    @router.get("/batches")
    async def batches() -> list[AnnotationShown]:
        """The last that was said of every batch, newest first; `facts` are those of a batch."""
        return _annotations(await history.earlier_batches())

    return router


def files(desk: "Desk") -> APIRouter:
    """Files."""
    router = APIRouter(tags=["files"], responses=told(503))

    @router.get("/batches/{batch}/report.html", responses={**told(404), 200: _as("text/html")})
    async def page(batch: Name) -> Response:
        """A batch's report as one page that stands alone."""
        return Response(await desk.reports.report(batch, "html"), media_type="text/html")

    @router.get("/batches/{batch}/report.pdf", responses={**told(404), 200: _as("application/pdf")})
    async def document(batch: Name) -> Response:
        """The same as PDF; takes some seconds."""
        return Response(
            await desk.reports.report(batch, "pdf"),
            media_type="application/pdf",
            headers=_attached(f"{batch}.pdf"),
        )

    @router.get("/backup", responses={200: _as("application/vnd.sqlite3")})
    async def backup() -> Response:
        """All of the recorded history as one file, for `coldside history bring-back`."""
        name = f"coldside-{desk.live.plant.site.name}-{desk.clock.now():%Y%m%d-%H%M}.sqlite"
        path = await desk.bundles.backup()
        return FileResponse(
            path, media_type="application/vnd.sqlite3", filename=name, background=BackgroundTask(path.unlink)
        )

    @router.get("/support-bundle", responses={200: _as("application/zip")})
    async def support() -> Response:
        """For whoever is asked for help: versions, plant, health and the ends of the logs, without secrets."""
        content = await desk.bundles.support()
        return Response(content, media_type="application/zip", headers=_attached("coldside-support.zip"))

    return router


def _check(start: datetime, end: datetime) -> None:
    if not timedelta(0) < end - start <= LONGEST:
        raise NotUsable(f"start {start} and end {end}: the end must be later, by ten years at the most")


def _shown(chamber: str, item: str, found: Series) -> SeriesShown:
    columns = {name: _numbers(getattr(found, name)) for name in ("min", "mean", "max", "last")}
    return SeriesShown(chamber=chamber, item=item, unit=found.unit, edges_ms=found.edges_ms.tolist(), **columns)


def _numbers(values: NDArray[Any]) -> NUMBERS:
    return [None if value != value else value for value in values.tolist()]


def _annotations(found: Iterable[Annotation]) -> list[AnnotationShown]:
    return [AnnotationShown(**asdict(one)) for one in found]


def _as(media_type: str) -> dict[str, Any]:
    return {"content": {media_type: {"schema": {"type": "string", "format": "binary"}}}, "description": "The file."}


def _attached(name: str) -> dict[str, str]:
    return {"Content-Disposition": f'attachment; filename="{name}"'}
