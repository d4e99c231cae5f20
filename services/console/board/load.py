"""What an electrical circuit carries: now, and as a lane with its limit."""

from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

import numpy as np

from services.console.board.curve import Curve
from services.console.board.lane import area, days
from services.console.board.scale import Plain
from services.console.board.scene import View
from services.console.board.window import BREADTH
from services.console.live import Live
from services.console.units import figure

HEIGHT = 58.0
TOP, BOTTOM = 8.0, 56.0


@dataclass(frozen=True, slots=True)
class Load:
    """Of one circuit, amperes; `running` names what draws current, and `unsure` what may."""

    amperes: float
    limit_a: float
    running: list[str]
    unsure: list[str]


def load_now(live: Live, circuit: str) -> Load:
    """By the rated power of what is reported on; an output of unknown level counts as on."""
    plant, running, unsure, watts = live.plant, list[str](), list[str](), 0.0
    for chamber, described in plant.chambers.items():
        for name, output in described.outputs.items():
            report = live.reports.get((chamber, name))
            if output.circuit != circuit or report is None or report.level == 0:
                continue
            watts += output.power_w * (1.0 if report.level is None else report.level)
            words = f"{described.title or chamber}: {output.drives}"
            (unsure if report.level is None else running).append(words)
    found = plant.circuits[circuit]
    return Load(watts / found.voltage_v, found.limit_a, running, unsure)


def draw_load(loads: Curve, limit_a: float, view: View, title: str) -> str:
    """The lane's middle. The greatest of each point, because that is what the limit is about."""
    levels = Plain(0.0, limit_a * 1.12, TOP, BOTTOM)
    steps = list(_steps(loads, levels, view))
    outline = f"M{'L'.join(f'{x:.1f} {y:.1f}' for x, y in steps)}" if steps else ""
    fill = area(steps, [(steps[0][0], BOTTOM), (steps[-1][0], BOTTOM)]) if steps else ""
    limit_y = levels.y(limit_a)
    named = ((limit_y, f"{limit_a:g}"), (BOTTOM, "0"))
    marks = "".join(f'<span style="top:{y / HEIGHT * 100:.1f}%">{words}</span>' for y, words in named)
    return (
        f'<div class="heights" aria-hidden="true">{marks}</div>'
        f'<div class="plot low" role="img" aria-label="{escape(_summary(loads, limit_a, title))}">'
        f'<svg viewBox="0 0 {BREADTH:g} {HEIGHT:g}" preserveAspectRatio="none" aria-hidden="true">{days(view, HEIGHT)}'
        f'<path class="load-fill" d="{fill}"/><path class="load" d="{outline}"/>'
        f'<path class="limit" d="M0 {limit_y:.1f}H{BREADTH:g}"/></svg></div>'
    )


def draw_load_figure(load: Load) -> str:
    """What stands at the lane's end."""
    doing = ", ".join(load.running) or "Nothing draws current"
    unsure = f'<p class="doubt">Counted as on, not known: {escape(", ".join(load.unsure))}</p>' if load.unsure else ""
    look = "grave" if load.amperes > load.limit_a else "none"
    return (
        f'<div class="reading {look}"><p class="now-is"><b class="value">{figure(load.amperes, 1)}</b> '
        f'<span class="unit">A of {load.limit_a:g}</span></p><p class="why">{escape(doing)}.</p>{unsure}</div>'
    )


def _steps(loads: Curve, levels: Plain, view: View) -> Iterator[tuple[float, float]]:
    """What flows, flows until something is switched."""
    before: float | None = None
    for at, amperes in zip(loads.at_ms.tolist(), loads.high.tolist(), strict=True):
        x, y = view.window.x(at), levels.y(amperes)
        if before is not None and before != y:
            yield x, before
        yield x, y
        before = y
    if before is not None:
        yield view.window.x(min(view.now_ms, view.window.end_ms)), before


def _summary(loads: Curve, limit_a: float, title: str) -> str:
    most = f"{figure(float(np.max(loads.high)), 1)} A at most" if len(loads) else "nothing recorded"
    return f"{title}: {most} in this stretch of time; the limit is {limit_a:g} A."
