"""The report of a guided first run: one HTML page that stands alone, with a picture of what was moved and answered."""

import io
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from html import escape
from pathlib import Path
from typing import Any

from services.commands.commissioning_watch import Findings, Watched
from services.supervisor.knowledge import MEANINGS

INK, PALE = "#111111", "#dddddd"
LINES: tuple[Any, ...] = ("solid", (0, (4, 2)), (0, (1, 1.5)), (0, (6, 2, 1, 2)))
"""Probes are told apart by their line, not by colour."""
NO_PICTURE = "without its picture: `pip install 'coldside[report]'` adds it"
_STYLE = """body { font: 10pt/1.4 "DejaVu Sans", sans-serif; color: #111; margin: 1em auto; max-width: 48em; }
h1 { font-size: 17pt; } h2 { font-size: 12pt; border-bottom: 1px solid #111; } svg { width: 100%; height: auto; }
table { border-collapse: collapse; width: 100%; font-size: 9pt; } th, td { text-align: left;
padding: 0.2em 0.6em 0.2em 0; border-bottom: 1px solid #ccc; } .under { color: #444; }"""
_FIGURES = (("lag_s", "Lag, s"), ("rate_k_per_h", "Rate, K/h"), ("power_w", "Electrical, W"))
CAUTION = (
    "No part of this is a safety device. A heater needs a thermal cut-out of its own, the room a carbon dioxide alarm; "
    "mains and refrigerant are work for licensed people, after local codes."
)


@dataclass(frozen=True, slots=True)
class Kept:
    """Where the report is (empty when it could not be written), and what it lacks."""

    path: str
    lacks: str = ""


def picture(watched: Watched) -> str:
    """Temperatures above, outputs below, by minutes since the beginning: one SVG; empty without the `report` extra."""
    try:
        from matplotlib.figure import Figure  # an extra, and heavy
    except ImportError:
        return ""
    figure = Figure(figsize=(7.4, 4.6), layout="constrained")
    above, below = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (3, 1)})
    _draw_temperatures(above, watched)
    _draw_outputs(below, watched)
    written = io.StringIO()
    figure.savefig(written, format="svg", metadata={"Date": None})
    return written.getvalue()[written.getvalue().index("<svg") :]


def _draw_temperatures(panel: Any, watched: Watched) -> None:
    for number, (probe, course) in enumerate(sorted(watched.curves.items())):
        minutes = [_minutes(at, watched) for at, _ in course]
        panel.plot(minutes, [value for _, value in course], color=INK, linestyle=LINES[number % 4], label=probe)
    panel.set_ylabel("degC")
    panel.grid(color=PALE, linewidth=0.4)
    if watched.curves:
        panel.legend(fontsize=8, frameon=False)


def _draw_outputs(panel: Any, watched: Watched) -> None:
    names = sorted(watched.levels)
    for row, name in enumerate(names):
        spans = [(start, end - start) for start, end in _on_spans(watched, name)]
        panel.broken_barh(spans, (row - 0.3, 0.6), facecolor=INK)
    panel.set_yticks(range(len(names)), names)
    panel.set_xlabel("minutes since the beginning")
    panel.grid(color=PALE, linewidth=0.4)


def _on_spans(watched: Watched, output: str) -> list[tuple[float, float]]:
    found, since = [], None
    for at, level in watched.levels[output]:
        if level > 0.0 and since is None:
            since = at
        elif level <= 0.0 and since is not None:
            found.append((_minutes(since, watched), _minutes(at, watched)))
            since = None
    if since is not None and watched.findings is not None:
        found.append((_minutes(since, watched), _minutes(watched.findings.ended, watched)))
    return found


def _minutes(at: datetime, watched: Watched) -> float:
    return (at - watched.began).total_seconds() / 60.0 if watched.began is not None else 0.0


def write(watched: Watched, findings: Findings, drawn: str, place: Path) -> Kept:
    """Writes the page; one that cannot be written is told, and costs nothing else."""
    try:
        place.write_text(page(watched, findings, drawn), encoding="utf-8")
    except OSError as error:
        return Kept("", f"The report could not be written to {place}: {error.strerror}; name another place.")
    return Kept(str(place), "" if drawn else NO_PICTURE)


def page(watched: Watched, findings: Findings, drawn: str) -> str:
    """The whole page."""
    title = f"{escape(watched.chamber)}: guided first run"
    parts = [
        f"<h1>{title}</h1><p class='under'>{escape(findings.lines[0])}</p>",
        "<h2>Found</h2>" + "".join(f"<p>{escape(line.removeprefix('- '))}</p>" for line in findings.lines[1:]),
        f"<h2>Course</h2>{drawn}" if drawn else "",
        "<h2>Measured</h2>" + _measured(findings),
        "<h2>The chamber's model since</h2>" + _model(findings) if findings.model() else "",
        f"<p class='under'>{CAUTION}</p>",
    ]
    head = f"<head><meta charset='utf-8'><title>{title}</title><style>{_STYLE}</style></head>"
    return f"<!DOCTYPE html>\n<html lang='en'>{head}<body>{''.join(parts)}</body></html>\n"


def _measured(findings: Findings) -> str:
    outputs = [name.removesuffix(".verdict") for name in findings.facts if name.endswith(".verdict")]
    rows = [
        (output, str(findings.facts[f"{output}.verdict"]), *(_figure(findings, output, key) for key, _ in _FIGURES))
        for output in outputs
    ]
    return _table(("Output", "Verdict", *(head for _, head in _FIGURES)), rows)


def _figure(findings: Findings, output: str, key: str) -> str:
    value, spread = findings.facts.get(f"{output}.{key}"), findings.facts.get(f"{output}.{_SPREADS.get(key, '')}")
    if value is None:
        return "not measured"
    return f"{float(value):.1f}" + (f" ± {float(spread):.1f}" if spread is not None else "")


_SPREADS = {"lag_s": "lag_sd_s", "rate_k_per_h": "rate_sd_k_per_h"}


def _model(findings: Findings) -> str:
    rows = []
    for name, value, spread, learnt in findings.model():
        says, unit = MEANINGS.get(name, (name, ""))
        rows.append((says, f"{value:.3g} ± {spread:.2g} {unit}", f"{100 * learnt:.0f} %"))
    note = "<p class='under'>Value and one standard deviation; what is little learnt yet is mostly the first guess.</p>"
    return _table(("What", "Value", "Learnt so far"), rows) + note


def _table(heads: Iterable[str], rows: Iterable[tuple[str, ...]]) -> str:
    top = "".join(f"<th>{escape(head)}</th>" for head in heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    return f"<table><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"
