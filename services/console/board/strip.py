"""Beneath and above the line of a lane: the steps as a strip, and marks of doors and alarms."""

from collections.abc import Sequence
from html import escape

from services.console.board import runs
from services.console.board.programme import Stretch
from services.console.board.runs import Mark
from services.console.board.scene import View
from services.console.board.window import BREADTH, Window

MARK_ROOM_PX = 14.0
LETTER_PX = 7.3
LEAST_LABEL_PX = 34.0
_GLYPHS = {"door": "▲", "alarm": "!"}


def step_strip(steps: Sequence[Stretch], view: View) -> str:
    """The steps as a strip; names stand clear of the line of the present."""
    window = view.window
    seen = [one for one in steps if one.start_ms < window.end_ms and (one.end_ms or window.end_ms) > window.start_ms]
    if not seen:
        return '<ol class="strip none"></ol>'
    return f'<ol class="strip">{"".join(_step(one, view) for one in seen)}</ol>'


def label_place(left: float, right: float, now: float) -> tuple[float, float]:
    """Where a step's name may stand, in per cent of the window: on the roomier side of the present."""
    if not left < now < right:
        return left, right
    return (left, now) if now - left > right - now else (now, right)


def draw_marks(marks: Sequence[Mark], view: View) -> str:
    """Each at its moment; those too close to be told apart as one, with their number."""
    room = MARK_ROOM_PX / view.width_px * BREADTH
    return "".join(_mark(one, view.window) for one in runs.together(marks, view.window, room))


def _mark(mark: Mark, window: Window) -> str:
    count = f"<b>{mark.count}</b>" if mark.count > 1 else ""
    words = escape(mark.words if mark.count == 1 else f"{mark.count} times; the last: {mark.words}")
    place = f'class="mark {mark.kind}" style="left:{window.percent(mark.at_ms):.2f}%"'
    return f'<span {place} title="{words}">{_GLYPHS[mark.kind]}{count}</span>'


def _step(step: Stretch, view: View) -> str:
    window = view.window
    left, right = window.percent(step.start_ms), window.percent(step.end_ms or window.end_ms)
    from_, to = label_place(left, right, window.percent(view.now_ms) if window.holds(view.now_ms) else -1.0)
    width = max(right - left, 0.2)
    words = ", ".join(part for part in (step.name, step.ends_when, "began late" if step.late else "") if part)
    inner = f"left:{(from_ - left) / width * 100:.1f}%;width:{(to - from_) / width * 100:.1f}%"
    open_end = " open" if step.end_ms is None else ""
    return (
        f'<li class="leg {step.state}{open_end}" style="left:{left:.2f}%;width:{width:.2f}%" title="{escape(words)}">'
        f'<span style="{inner}">{escape(_fitting(step.name, (to - from_) / 100 * view.width_px))}</span></li>'
    )


def _fitting(name: str, room_px: float) -> str:
    """The whole name, or as much as tells something, or nothing."""
    if len(name) * LETTER_PX + 10 <= room_px:
        return name
    if room_px < LEAST_LABEL_PX:
        return ""
    return name[: int((room_px - 16) / LETTER_PX)].rstrip() + "…"
