"""What stands at a lane's end: how warm it is, what is wanted, what it is doing and why, and what is amiss."""

from dataclasses import dataclass
from html import escape
from typing import Literal

from schemas.alarms import Alarm, Priority
from schemas.batches import BatchPhase, BatchState
from schemas.control import Activity, ChamberStatus
from schemas.plant import Plant, Point
from schemas.telemetry import Quality, TemperatureReading
from services.console.board.standing import standing_alarms
from services.console.board.window import milliseconds
from services.console.live import Live
from services.console.units import Units, show_temperature

STALE_AFTER_MS = 25_000
"""So that a figure looks stale within 30 s, whenever the browser looks at its clock."""
MAIN_POINTS = (Point.BEER, Point.BATH, Point.AIR)
DOING = {
    Activity.RESTING: "Holding",
    Activity.COOLING: "Cooling",
    Activity.HEATING: "Heating",
    Activity.WAITING: "Waiting",
    Activity.SAFE: "All off",
    Activity.LOCKED_OUT: "Locked out",
}
Trouble = Literal["none", "notice", "grave"]
_GRAVE = (Priority.CRITICAL, Priority.HIGH)


@dataclass(frozen=True, slots=True)
class Figure:
    """Ready to be written. `at_ms` is when the reading was true; None without any."""

    chamber: str
    value: str
    unit: str
    wanted: str
    doing: str
    why: str
    at_ms: int | None
    stale_after_ms: int
    doubt: str = ""
    trouble: Trouble = "none"
    alarm: str = ""
    more: int = 0


def main_probe(plant: Plant, chamber: str) -> str | None:
    """The name of the probe that a chamber is known by: beer, else bath, else air."""
    described = plant.chambers[chamber]
    found = (described.probe_at(point) for point in MAIN_POINTS)
    return next((name for name in found if name is not None), None)


def beers(live: Live, chamber: str) -> list[BatchState]:
    """Batches in a chamber that are under way or wait to begin; the one that steers first."""
    order = (BatchPhase.RUNNING, BatchPhase.HELD, BatchPhase.IDLE)
    found = [one for one in live.batches.values() if one.chamber == chamber and one.phase in order]
    return sorted(found, key=lambda one: (order.index(one.phase), one.batch))


def figure_of(live: Live, chamber: str, units: Units) -> Figure:
    """A chamber's, as things are known now."""
    probe, status = main_probe(live.plant, chamber), live.statuses.get(chamber)
    reading = live.readings.get((chamber, probe)) if probe else None
    celsius = reading.temperature_c if isinstance(reading, TemperatureReading) else None
    alarms = standing_alarms(live, chamber)
    _, mark = show_temperature(0.0, units).rsplit(" ", 1)
    return Figure(
        chamber=chamber,
        value="––" if celsius is None else show_temperature(celsius, units, mark=False),
        unit=mark,
        wanted=_wanted(status, units),
        doing=DOING[status.doing] if status else "Not heard of yet",
        why=status.why if status else "",
        at_ms=None if reading is None else milliseconds(reading.at),
        stale_after_ms=_stale_after_ms(live.plant, chamber, probe),
        doubt="" if reading is None or reading.quality is Quality.GOOD else reading.reason or reading.quality.value,
        trouble=_trouble(alarms),
        alarm=_title(alarms[0]) if alarms else "",
        more=max(0, len(alarms) - 1),
    )


def draw(one: Figure) -> str:
    """As HTML; the page's script adds the age of what is old."""
    at = "" if one.at_ms is None else f' data-at="{one.at_ms}" data-stale-after="{one.stale_after_ms}"'
    wanted = f'<span class="asked"><span>wanted</span> <b>{one.wanted}</b></span>' if one.wanted else ""
    doubt = f'<p class="doubt">{escape(one.doubt)}</p>' if one.doubt else ""
    return (
        f'<div class="reading {one.trouble}"{at}>{_alarm(one)}'
        f'<p class="now-is"><b class="value">{one.value}</b> <span class="unit">{one.unit}</span>{wanted}</p>'
        f'<p class="age"></p>{doubt}'
        f'<p class="doing">{escape(one.doing)}.</p><p class="why">{escape(one.why)}</p></div>'
    )


def _alarm(one: Figure) -> str:
    if not one.alarm:
        return ""
    more = f" and {one.more} more" if one.more else ""
    sign = "!" if one.trouble == "grave" else "△"
    return f'<p class="cry"><i aria-hidden="true">{sign}</i>{escape(one.alarm)}{more}</p>'


def _wanted(status: ChamberStatus | None, units: Units) -> str:
    if status is None or status.setpoint_c is None:
        return ""
    return show_temperature(status.setpoint_c, units, mark=False)


def _stale_after_ms(plant: Plant, chamber: str, probe: str | None) -> int:
    """A probe that speaks seldom is not stale for that: twice its interval, when that is longer."""
    if probe is None:
        return STALE_AFTER_MS
    return max(STALE_AFTER_MS, int(2000 * plant.chambers[chamber].probes[probe].every_s))


def _trouble(alarms: list[Alarm]) -> Trouble:
    if not alarms:
        return "none"
    return "grave" if alarms[0].priority in _GRAVE else "notice"


def _title(alarm: Alarm) -> str:
    words = alarm.name.replace("-", " ")
    return words[:1].upper() + words[1:]
