"""Puts a lane together: the recorded past, what the bus says now, and what is to come."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

import numpy as np

from brewing.coolant import Glycol, warmest_freezing_point
from schemas.alarms import AlarmPhase
from schemas.control import ChamberStatus
from schemas.plant import Chamber, Measure, Plant
from schemas.telemetry import TemperatureReading
from services.console.board import forecast
from services.console.board.curve import Curve, nothing
from services.console.board.figures import beers, main_probe
from services.console.board.programme import Corner, Time, ahead, stretches
from services.console.board.runs import Mark, Run
from services.console.board.scene import Lane, Limit
from services.console.board.window import Window, milliseconds
from services.console.live import Live
from services.console.units import Units, show_temperature

KINDS = {"fridge": "fridge, beer in air", "jacketed": "jacket, cooled by {by}", "kegerator": "kegs in a fridge"}
LEAST_SD_K = 0.05
TIMES: tuple[Time, ...] = ("likely", "early", "late")
NEWEST_WITHIN_MS = 120_000


@dataclass(frozen=True, slots=True)
class Past:
    """What history has of one chamber in a window. `ran` is by what the output drives."""

    beer: Curve = field(default_factory=nothing)
    wanted: Curve = field(default_factory=nothing)
    tolerance: Curve = field(default_factory=nothing)
    doors: Curve = field(default_factory=nothing)
    ran: dict[str, list[Run]] = field(default_factory=dict)
    alarms: tuple[Mark, ...] = ()


class Said(Protocol):
    """An annotation of history."""

    @property
    def at_ms(self) -> int: ...
    @property
    def chamber(self) -> str: ...
    @property
    def name(self) -> str: ...
    @property
    def text(self) -> str: ...
    @property
    def facts(self) -> dict[str, Any]: ...


def compose(live: Live, chamber: str, past: Past, window: Window, now_ms: int) -> Lane:
    """Everything that is drawn of a chamber."""
    described, setpoint = live.plant.chambers[chamber], live.setpoints.get(chamber)
    batch = next(iter(beers(live, chamber)), None)
    likely, early, late = (ahead(setpoint, batch, now_ms, time) for time in TIMES)
    beer = with_newest(past.beer, live, chamber, now_ms)
    lane = Lane(
        title=described.title or chamber,
        beer=beer,
        wanted=past.wanted,
        tolerance=past.tolerance,
        tolerance_k=setpoint.tolerance_k if setpoint else 0.0,
        ahead=likely or held(live.statuses.get(chamber), now_ms),
        ran=past.ran,
        marks=(*door_marks(past.doors), *past.alarms),
        steps=stretches(batch),
        limits=limits(described),
        gap_ms=gap_ms(live.plant, chamber),
    )
    if not likely or not len(beer) or now_ms - int(beer.at_ms[-1]) > max(NEWEST_WITHIN_MS, 2 * beer.bucket_ms):
        return lane
    status = live.statuses.get(chamber)
    sd_k = status.estimate.beer_sd_k if status and status.estimate else LEAST_SD_K
    pace = forecast.pace(past.beer, past.wanted)
    paths = (likely, early, late)
    return replace(lane, forecast=forecast.foresee(float(beer.last[-1]), sd_k, paths, pace, window, now_ms))


def held(status: ChamberStatus | None, now_ms: int) -> list[Corner]:
    """Of a chamber that no programme concerns, what the supervisor itself aims at now; who knows for how long."""
    if status is None or status.setpoint_c is None:
        return []
    return [(now_ms, status.setpoint_c)]


def with_newest(beer: Curve, live: Live, chamber: str, now_ms: int) -> Curve:
    """The line reaches to what was read last."""
    probe = main_probe(live.plant, chamber)
    reading = live.readings.get((chamber, probe)) if probe else None
    if not isinstance(reading, TemperatureReading) or reading.temperature_c is None:
        return beer
    at = milliseconds(reading.at)
    if at > now_ms or (len(beer) and at <= beer.at_ms[-1]):
        return beer
    low, mean, high, last = (np.append(column, reading.temperature_c) for column in beer.values)
    return Curve(np.append(beer.at_ms, at), low, mean, high, last, beer.bucket_ms)


def door_marks(doors: Curve) -> Iterator[Mark]:
    """One where a door was found open and had not been just before."""
    was_open = False
    for at, greatest in zip(doors.at_ms.tolist(), doors.high.tolist(), strict=True):
        is_open = greatest > 0.5
        if is_open and not was_open:
            yield Mark(at, "door", "door opened")
        was_open = is_open


def alarm_marks(said: Iterable[Said], chamber: str) -> Iterator[Mark]:
    """One for each time that an alarm began to call for somebody."""
    calls = (AlarmPhase.UNACKNOWLEDGED, AlarmPhase.LATCHED_UNACKNOWLEDGED)
    for one in said:
        if one.chamber == chamber and one.facts.get("phase") in calls:
            yield Mark(one.at_ms, "alarm", f"{one.name.replace('-', ' ')}: {one.text}")


def limits(described: Chamber) -> list[Limit]:
    """What the temperature is not to pass, as the plant file and the coolant have it."""
    found = []
    if described.kind == "reservoir" and (freezes := freezes_at_c(described)) is not None:
        found.append(Limit(freezes, "the coolant begins to freeze"))
    return found


def freezes_at_c(described: Chamber) -> float | None:
    """Where a reservoir's coolant may begin to freeze, by the most cautious source; None without one."""
    coolant = described.contents.coolant
    if coolant is None:
        return None
    parts = ((coolant.propylene_glycol_percent, Glycol.PROPYLENE), (coolant.ethylene_glycol_percent, Glycol.ETHYLENE))
    return max((warmest_freezing_point(percent / 100, kind) for percent, kind in parts if percent), default=0.0)


def contact(plant: Plant, chamber: str) -> str | None:
    """The name of a chamber's door contact."""
    probes = plant.chambers[chamber].probes
    return next((name for name, probe in probes.items() if probe.measures is Measure.CONTACT), None)


def kind_words(plant: Plant, chamber: str, units: Units) -> str:
    """What a chamber is, in a few words."""
    described = plant.chambers[chamber]
    if described.kind == "reservoir":
        return "cold source" if described.contents.coolant is None else _coolant_words(described, units)
    by = plant.chambers[described.cooled_by].title or described.cooled_by if described.kind == "jacketed" else ""
    return KINDS[described.kind].format(by=by.lower())


def gap_ms(plant: Plant, chamber: str) -> int:
    """How long silence of the main probe is no gap in its line."""
    probe = main_probe(plant, chamber)
    described = plant.chambers[chamber].probes.get(probe) if probe else None
    return 180_000 if described is None else max(180_000, round(2 * described.stale_after.total_seconds() * 1000))


def _coolant_words(described: Chamber, units: Units) -> str:
    coolant, freezes = described.contents.coolant, freezes_at_c(described)
    kinds = {"propylene": "propylene_glycol_percent", "ethylene": "ethylene_glycol_percent"}
    shares = {kind: getattr(coolant, name) for kind, name in kinds.items()}
    words = next((f"{share:g} % {kind} glycol" for kind, share in shares.items() if share), "water")
    return words if freezes is None else f"{words}, begins to freeze at {show_temperature(freezes, units, 0)}"
