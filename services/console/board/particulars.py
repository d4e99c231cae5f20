"""All that is known of one chamber, as rows of tables and plain sentences."""

from collections.abc import Sequence
from datetime import datetime
from html import escape
from typing import NamedTuple
from zoneinfo import ZoneInfo

from schemas.control import ChamberStatus, Setpoint
from schemas.plant import Output, Probe
from schemas.telemetry import Quality, Reading, Report, TemperatureReading
from services.console.board.composing import Said
from services.console.board.standing import clock_words
from services.console.board.window import milliseconds
from services.console.live import Live
from services.console.units import (
    Units,
    difference_mark,
    figure,
    scale,
    show_difference,
    show_pressure,
    show_temperature,
)

QUALITIES = {Quality.GOOD: "good", Quality.UNCERTAIN: "△ uncertain", Quality.BAD: "✕ bad"}
_PLAIN = {
    "gravity": ("", 4),
    "mass": ("kg", 2),
    "flow": ("L/min", 2),
    "co2": ("ppm", 0),
    "humidity": ("%", 0),
    "power": ("W", 0),
}
KNOWN_BY = {"measured": "told back by the device", "echoed": "only sent, not told back", "unknown": "not known"}
EVENTS_HIDDEN = ("status", "health", "plant", "batch", "quality")
"""What others tell as well: conditions, journal, or the lane above."""


class Row(NamedTuple):
    """Cells, already HTML."""

    cells: tuple[str, ...]


def table(heads: Sequence[str], rows: Sequence[Row], label: str, look: str = "") -> str:
    """As HTML, scrolled sideways where it has no room; `look` is a class of its own."""
    head = "".join(f"<th scope='col'>{escape(one)}</th>" for one in heads)
    body = "".join(f"<tr>{''.join(map(_cell, heads, row.cells))}</tr>" for row in rows)
    return (
        f'<div class="scroll" tabindex="0" role="group" aria-label="{escape(label)}"><table class="rows {look}">'
        f"<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table></div>"
    )


def _cell(head: str, cell: str) -> str:
    """With its column's head, which a narrow screen shows beside it."""
    return f'<td data-head="{escape(head)}">{cell}</td>'


def probe_rows(live: Live, chamber: str, units: Units) -> list[Row]:
    """Each probe with its value, how far it can be trusted, and how it was put right."""
    described = live.plant.chambers[chamber].probes
    return [_probe_row(name, probe, live.readings.get((chamber, name)), units) for name, probe in described.items()]


def output_rows(live: Live, chamber: str) -> list[Row]:
    """Each output: what it does, since when, why, and how that is known."""
    described = live.plant.chambers[chamber].outputs
    zone = live.plant.zone
    return [_output_row(name, output, live.reports.get((chamber, name)), zone) for name, output in described.items()]


def shown(reading: Reading | None, units: Units) -> str:
    """A reading's value with its unit."""
    if reading is None or reading.value is None:
        return "––"
    if reading.measures == "temperature":
        return show_temperature(reading.value, units, 2)
    if reading.measures == "pressure":
        return show_pressure(reading.value, units)
    if reading.measures == "contact":
        return "open" if reading.value else "closed"
    mark, digits = _PLAIN[reading.measures]
    return f"{figure(reading.value, digits)} {mark}".rstrip()


def belief(status: ChamberStatus | None, units: Units) -> list[str]:
    """What the supervisor makes of it all, in sentences."""
    if status is None or status.estimate is None:
        return ["No estimate yet: it takes good readings for a while."]
    found = status.estimate
    sd = show_difference(found.beer_sd_k, units, 2).lstrip("+")
    said = [f"The beer is at {show_temperature(found.beer_c, units, 2)}, give or take {sd} (one standard deviation)."]
    if found.heat_w is not None:
        said.append(f"It takes up {figure(found.heat_w, 1)} W from yeast and whatever else is not accounted for.")
    said.append(f"How well the chamber is known: {found.certainty * 100:.0f} %, {_certainty(found.certainty)}.")
    return said


def own_setpoint(setpoint: Setpoint | None, zone: ZoneInfo, units: Units) -> str:
    """What is asked of the chamber, by whom or what, and until when."""
    if setpoint is None:
        return "Nothing is asked of this chamber."
    wanted = show_temperature(setpoint.temperature_c, units)
    band = show_difference(setpoint.tolerance_k, units).lstrip("+")
    if setpoint.expires is not None:
        return f"A person has asked for {wanted} until {moment(setpoint.expires, zone)}; then the programme goes on."
    by = (
        f"by the step “{setpoint.step}”"
        if setpoint.step
        else "by what the chamber holds, or by a person without an end"
    )
    return f"{wanted} is asked for {by}, within {band} either way."


def moment(at: datetime, zone: ZoneInfo) -> str:
    """'Fri 27 Nov, 18:00' on the site's clocks."""
    local = at.astimezone(zone)
    return f"{local:%a} {local.day} {local:%b}, {local:%H:%M}"


def event_rows(said: Sequence[Said], zone: ZoneInfo, most: int = 40) -> list[Row]:
    """What happened, newest first; the supervisor's running account is left out: it would drown the rest."""
    kept = [one for one in said if getattr(one, "kind", "") not in EVENTS_HIDDEN]
    return [_event_row(one, zone) for one in sorted(kept, key=lambda one: -one.at_ms)[:most]]


def condition_words(live: Live, chamber: str, name: str) -> str:
    """The detail of a condition that holds now; empty when it does not."""
    found = live.conditions.get((chamber, name))
    return found.detail if found is not None and found.active else ""


def _probe_row(name: str, probe: Probe, reading: Reading | None, units: Units) -> Row:
    at = "" if reading is None else f' data-at="{milliseconds(reading.at)}" data-stale-after="{_stale_ms(probe)}"'
    quality = "not heard of" if reading is None else QUALITIES[reading.quality]
    reason = f"<br><small>{escape(reading.reason)}</small>" if reading is not None and reading.reason else ""
    value = f'<span{at}><b class="value-in">{shown(reading, units)}</b> <span class="age"></span></span>'
    put_right = "as it reads"
    if probe.calibration is not None:
        pairs = zip(probe.calibration.reads, probe.calibration.true, strict=False)
        put_right = ", ".join(f"{read:g} is {true:g}" for read, true in pairs)
    return Row(
        (f"<b>{escape(name)}</b>", str(probe.measures), value, quality + reason, put_right, f"{probe.every_s:g} s")
    )


def _stale_ms(probe: Probe) -> int:
    return max(25_000, int(2000 * probe.every_s))


def _output_row(name: str, output: Output, report: Report | None, zone: ZoneInfo) -> Row:
    does, since, why, known = "not heard of", "", "", ""
    if report is not None:
        does = "◌ not known" if report.level is None else "○ off" if report.level == 0 else _on(report.level)
        since, why, known = clock_words(report.since, zone), escape(report.why), KNOWN_BY[report.basis]
    power = f"{output.power_w:g} W{f' on {output.circuit}' if output.circuit else ''}"
    return Row((f"<b>{escape(name)}</b>", str(output.drives), f"<b>{does}</b>", since, why, known, power))


def _on(level: float) -> str:
    return "● on" if level == 1 else f"◐ {level * 100:.0f} %"


def _certainty(share: float) -> str:
    return "well" if share >= 0.7 else "fairly" if share >= 0.35 else "hardly; it is still being learnt"


def _event_row(one: Said, zone: ZoneInfo) -> Row:
    at = datetime.fromtimestamp(one.at_ms / 1000, zone)
    when = f"{at:%a} {at.day} {at:%b} {at:%H:%M}"
    who = getattr(one, "who", "")
    return Row((f"<time>{when}</time>", escape(_event(one)), escape(who), escape(one.text)))


def _event(one: Said) -> str:
    words = one.name.replace("-", " ")
    kind = getattr(one, "kind", "")
    if kind == "alarm":
        return f"alarm {words}: {str(one.facts.get('phase', '')).replace('-', ' ')}"
    if kind == "condition":
        return f"{words} {'begins' if one.facts.get('active') else 'ends'}"
    return words


def reading_now(live: Live, chamber: str, probe: str, units: Units) -> str:
    """What a probe reads now, for the calibration helper; as bare figure on the visitor's scale, or empty."""
    found = live.readings.get((chamber, probe))
    if not isinstance(found, TemperatureReading) or found.temperature_c is None:
        return ""
    return show_temperature(found.temperature_c, units, 2, mark=False)


def spread_words(kelvin: float, units: Units) -> str:
    """'0.06 K' without a sign."""
    return f"{figure(kelvin * scale('temperature', units).per, 2)} {difference_mark(units)}"
