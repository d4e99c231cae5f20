"""Fetches what lanes need of history, all at once."""

import asyncio
from collections.abc import Awaitable, Mapping, Sequence
from dataclasses import dataclass, field

from services.console.app import Desk
from services.console.board.composing import Past, alarm_marks, contact
from services.console.board.curve import Curve, curve, nothing
from services.console.board.figures import main_probe
from services.console.board.lane import ROWS
from services.console.board.runs import Run
from services.console.board.window import Window
from services.console.sources import Annotation, Unavailable

MOST_POINTS = 700
LEAST_POINTS = 120
SITE = "site"


@dataclass(frozen=True, slots=True)
class Pasts:
    """Of every lane; `trouble` says why history could not be had, and then the rest is what could."""

    lanes: Mapping[str, Past] = field(default_factory=dict)
    loads: Mapping[str, Curve] = field(default_factory=dict)
    trouble: str = ""


async def gather(
    desk: Desk, window: Window, width_px: float, chambers: Sequence[str], circuits: Sequence[str] = ()
) -> Pasts:
    """For a window, at the resolution of the screen. Never raises Unavailable."""
    count = points(width_px)
    try:
        alarms = await desk.history.annotations(window.start, window.end, kind="alarm")
        lanes = asyncio.gather(*(_past(desk, name, window, count, alarms) for name in chambers))
        loads = asyncio.gather(*(_curve(desk, SITE, f"{name}-load", window, count) for name in circuits))
        done = await asyncio.gather(lanes, loads)
    except Unavailable as error:
        return Pasts(trouble=str(error))
    return Pasts(dict(zip(chambers, done[0], strict=True)), dict(zip(circuits, done[1], strict=True)))


def points(width_px: float) -> int:
    """How many points a drawing of such a width is worth."""
    return round(min(MOST_POINTS, max(LEAST_POINTS, width_px / 1.5)))


async def _past(desk: Desk, chamber: str, window: Window, count: int, alarms: list[Annotation]) -> Past:
    probe, door = main_probe(desk.live.plant, chamber), contact(desk.live.plant, chamber)
    beer, wanted, tolerance, doors, ran = await asyncio.gather(
        _curve(desk, chamber, probe, window, count),
        _curve(desk, chamber, "setpoint", window, count),
        _curve(desk, chamber, "tolerance", window, count),
        _curve(desk, chamber, door, window, count),
        _runs(desk, chamber, window),
    )
    return Past(beer, wanted, tolerance, doors, ran, tuple(alarm_marks(alarms, chamber)))


async def _curve(desk: Desk, chamber: str, item: str | None, window: Window, count: int) -> Curve:
    """Up to now at most: nothing is recorded of the future."""
    end = min(window.end, desk.clock.now())
    if item is None or end <= window.start:
        return nothing()
    share = (end - window.start) / (window.end - window.start)
    wanted = max(2, round(count * share))
    return curve(await desk.history.series(chamber, item, window.start, end, wanted), wanted)


async def _runs(desk: Desk, chamber: str, window: Window) -> dict[str, list[Run]]:
    outputs = desk.live.plant.chambers[chamber].outputs
    drawn = {name: str(output.drives) for name, output in outputs.items() if str(output.drives) in ROWS}
    end = min(window.end, desk.clock.now())
    if end <= window.start:
        return {}
    waiting: list[Awaitable[list[Run]]] = [desk.history.runs(chamber, name, window.start, end) for name in drawn]
    ran: dict[str, list[Run]] = {}
    for drives, found in zip(drawn.values(), await asyncio.gather(*waiting), strict=True):
        ran[drives] = [*ran.get(drives, []), *found]
    return ran
