"""A batch's report: one HTML page that stands alone, and the same as PDF."""

from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from html import escape
from importlib import import_module
from pathlib import Path
from typing import Any

from services.recorder.account import Account, StepTold
from services.recorder.chart import chart
from services.recorder.rows import Annotation, moment

MOST_COMPARED = 5
UNKNOWN = "–"
_CLASSES = {"#": ' class="number"', "@": ' class="time"'}


def html(account: Account, earlier: Sequence[Account] = (), price_per_kwh: float | None = None) -> str:
    """The page; `price_per_kwh` is in whatever currency the reader thinks in, None for no cost."""
    style = Path(__file__).with_name("report.css").read_text(encoding="utf-8")
    sections = [
        _head(account),
        _figures(account, price_per_kwh),
        _section("Course", chart(account) + _KEY),
        _section("Steps", _steps(account)),
        _section("Gravity", _gravity(account)) if account.gravity else "",
        _section("Notes and tasting", _notes(account)) if account.notes else "",
        _section("Alarms", _alarms(account)),
        _section("Outputs", _outputs(account, price_per_kwh)),
        _section("Beside earlier batches", _comparison([account, *earlier[:MOST_COMPARED]])) if earlier else "",
        _section("Decisions", _journal(account)),
    ]
    body = "\n".join(part for part in sections if part)
    title = escape(f"{account.title} ({account.batch})")
    head = f'<head><meta charset="utf-8"><title>{title}</title><style>{style}</style></head>'
    return f'<!DOCTYPE html>\n<html lang="en">{head}<body>{body}</body></html>\n'


def pdf(page: str) -> bytes:
    """The page as PDF. Needs the `report` extra."""
    document = import_module("weasyprint").HTML(string=page)  # an extra, and heavy
    written: bytes = document.write_pdf()
    return written


_KEY = (
    '<p class="key">Solid: beer; dashed: setpoint in its band; dotted: air. Numbers mark where steps began, '
    "triangles where an alarm was raised. The lowest panel shows when the end was expected, as it was thought then.</p>"
)


def _head(account: Account) -> str:
    made = {"simulated": " Rehearsed, not brewed.", "imported": " From imported records."}.get(account.origin, "")
    where = f"Batch {account.batch} in {account.chamber}, profile {account.profile}; {account.phase}.{made}"
    when = f"{_day(account.start, account)} to {_day(account.end, account)}, times in {account.zone.key}."
    return f'<h1>{escape(account.title)}</h1><p class="under">{escape(where)} {escape(when)}</p>'


def _figures(account: Account, price_per_kwh: float | None) -> str:
    facts = {
        "Lasted": _span(account.end - account.start),
        "Out of band": UNKNOWN if account.out_of_band is None else _span(account.out_of_band),
        "Alarms": str(len(account.alarms)),
        "Compressor starts": str(account.compressor_starts),
        "Original gravity": _sg(account.original_gravity_sg),
        "Last gravity": _sg(account.gravity[-1][1] if account.gravity else None),
        "Energy": f"{account.energy_kwh:.2f} kWh",
        "Cost": UNKNOWN if price_per_kwh is None else f"{account.energy_kwh * price_per_kwh:.2f}",
    }
    return "<dl>" + "".join(f"<div><dt>{name}</dt><dd>{value}</dd></div>" for name, value in facts.items()) + "</dl>"


def _steps(account: Account) -> str:
    rows = [
        (str(number), step.name, _when(step.planned, account), _when(step.real, account), _late(step), step.ends_when)
        for number, step in enumerate(account.steps, start=1)
    ]
    return _table(("", "Step", "Planned at first@", "Really@", "Ended later by", "Ends when"), rows)


def _gravity(account: Account) -> str:
    points = account.gravity
    step = max(1, len(points) // 12)
    chosen = [*points[::step], *([points[-1]] if (len(points) - 1) % step else [])]
    return _table(("When@", "SG 20/20#"), [(_time(at, account), f"{value:.4f}") for at, value in chosen])


def _notes(account: Account) -> str:
    rows = [(_time(moment(one.at_ms), account), one.who, one.text, _facts(one)) for one in account.notes]
    means = ", ".join(f"{name} {value:.1f}" for name, value in account.scores.items())
    return _table(("When@", "Who", "Note", "Scores"), rows) + (f"<p>Mean scores: {escape(means)}</p>" if means else "")


def _alarms(account: Account) -> str:
    if not account.alarms:
        return "<p>None.</p>"
    rows = [
        (_time(moment(one.at_ms), account), one.name, str(one.facts.get("priority", "")), one.text)
        for one in account.alarms
    ]
    return _table(("Raised@", "Alarm", "Priority", "Detail"), rows)


def _outputs(account: Account, price_per_kwh: float | None) -> str:
    price = price_per_kwh or 0.0
    rows = [
        (one.name, one.drives, f"{one.hours:.1f}", str(one.starts), f"{one.energy_kwh:.2f}",
         f"{one.energy_kwh * price:.2f}" if price_per_kwh is not None else UNKNOWN)
        for one in account.outputs
    ]  # fmt: skip
    note = '<p class="key">Energy by rated power and time on, as reported by the outputs; not metered.</p>'
    return _table(("Output", "Drives", "Hours on#", "Starts#", "kWh#", "Cost#"), rows) + note


def _comparison(accounts: Sequence[Account]) -> str:
    rows = [
        (one.title, one.profile, _day(one.start, one), _span(one.end - one.start), _sg(one.original_gravity_sg),
         _sg(one.gravity[-1][1] if one.gravity else None),
         UNKNOWN if one.out_of_band is None else _span(one.out_of_band), str(len(one.alarms)), f"{one.energy_kwh:.2f}",
         str(one.compressor_starts), _mean_score(one))
        for one in accounts
    ]  # fmt: skip
    head = (
        "Batch",
        "Profile",
        "Began@",
        "Lasted#",
        "OG#",
        "Last SG#",
        "Out of band#",
        "Alarms#",
        "kWh#",
        "Starts#",
        "Score#",
    )
    return _table(head, rows)


def _journal(account: Account) -> str:
    rows = [(_time(moment(one.at_ms), account), one.name, one.who, one.text) for one in account.journal]
    return _table(("When@", "What", "Who", "Why"), rows)


def _section(title: str, content: str) -> str:
    return f"<section><h2>{title}</h2>{content}</section>"


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """A column whose head ends in `#` holds numbers, one whose head ends in `@` times."""
    kinds = [_CLASSES.get(name[-1:], "") for name in head]
    top = "".join(f"<th{kind}>{escape(name.rstrip('#@'))}</th>" for kind, name in zip(kinds, head, strict=True))
    lines = ("".join(f"<td{kind}>{escape(cell)}</td>" for kind, cell in zip(kinds, row, strict=True)) for row in rows)
    body = "".join(f"<tr>{line}</tr>" for line in lines)
    width = ' class="narrow"' if len(head) == 2 else ""
    return f"<table{width}><thead><tr>{top}</tr></thead><tbody>{body}</tbody></table>"


def _late(step: StepTold) -> str:
    planned, real = step.planned[1], step.real[1]
    if planned is None or real is None:
        return UNKNOWN
    late = real - planned
    return f"-{_span(-late)}" if late < timedelta(0) else _span(late)


def _when(span: tuple[datetime | None, datetime | None], account: Account) -> str:
    if span == (None, None):
        return UNKNOWN
    return " to ".join("…" if at is None else f"{at.astimezone(account.zone):%d %b %H:%M}" for at in span)


def _time(at: datetime, account: Account) -> str:
    return at.astimezone(account.zone).strftime("%a %d %b %H:%M")


def _day(at: datetime, account: Account) -> str:
    return at.astimezone(account.zone).strftime("%d %b %Y")


def _span(span: timedelta) -> str:
    minutes = round(span.total_seconds() / 60)
    days, hours = minutes // 1440, minutes % 1440 // 60
    if days:
        return f"{days} d {hours} h"
    return f"{hours} h {minutes % 60} min" if hours else f"{minutes} min"


def _sg(value: float | None) -> str:
    return UNKNOWN if value is None else f"{value:.3f}"


def _mean_score(account: Account) -> str:
    scores = account.scores.values()
    return f"{sum(scores) / len(scores):.1f}" if scores else UNKNOWN


def _facts(one: Annotation) -> str:
    return ", ".join(f"{name} {_plain(value)}" for name, value in one.facts.items())


def _plain(value: Any) -> str:
    return f"{value:g}" if isinstance(value, int | float) else str(value)
