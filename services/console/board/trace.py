"""The values behind a lane's lines, for whoever points at them."""

import json
from html import escape

import numpy as np

from services.console.board.programme import value_at
from services.console.board.scene import Lane, View
from services.console.board.window import Window
from services.console.units import Units, number

TRACE_POINTS = 240


def trace(lane: Lane, view: View) -> str:
    """Hundredths of the visitor's degrees at even places of the window, beer and wanted, for who points at them."""
    window = view.window
    places = [window.start_ms + round((index + 0.5) * window.span_ms / TRACE_POINTS) for index in range(TRACE_POINTS)]
    beer = [_hundredths(_beer_at(lane, at, view.now_ms, window), view.units) for at in places]
    wanted = [_hundredths(_wanted_at(lane, at, view.now_ms), view.units) for at in places]
    return escape(json.dumps({"beer": beer, "wanted": wanted}, separators=(",", ":")))


def _beer_at(lane: Lane, at: int, now_ms: int, window: Window) -> float | None:
    if at > now_ms:
        found = lane.forecast
        return float(np.interp(at, found.at_ms, found.likely)) if found and found.at_ms else None
    index = int(np.searchsorted(lane.beer.at_ms, at))
    near = [one for one in (index - 1, index) if 0 <= one < len(lane.beer)]
    best = min(near, key=lambda one: abs(int(lane.beer.at_ms[one]) - at), default=None)
    room = max(lane.gap_ms, window.span_ms // TRACE_POINTS)
    return float(lane.beer.mean[best]) if best is not None and abs(int(lane.beer.at_ms[best]) - at) <= room else None


def _wanted_at(lane: Lane, at: int, now_ms: int) -> float | None:
    if at > now_ms:
        return value_at(lane.ahead, at) if lane.ahead else None
    return lane.wanted.value_at(at)


def _hundredths(celsius: float | None, units: Units) -> int | None:
    return None if celsius is None else round(number("temperature", celsius, units) * 100)
