"""What each kind of message leaves in history. Nothing here decides; it only puts into rows."""

import hashlib
import json
from datetime import datetime
from typing import Any

from schemas.alarms import Alarm, Condition
from schemas.base import SITE_WIDE
from schemas.batches import BatchState
from schemas.control import ChamberStatus
from schemas.journal import Health, JournalEntry
from schemas.plant import Plant
from schemas.requests import WriteNote
from schemas.telemetry import VALUE_FIELDS
from services.recorder.rows import Annotation, AnnotationKind, milliseconds

UNITS = {
    "temperature_c": "degC",
    "is_open": "open",
    "gravity_sg": "SG",
    "pressure_bar": "bar",
    "mass_kg": "kg",
    "flow_l_per_min": "L/min",
    "co2_ppm": "ppm",
    "humidity_percent": "%",
    "power_w": "W",
}
UNIT_OF_MEASURE = {measure: UNITS[field] for measure, field in VALUE_FIELDS.items()}
LEVEL = "level"
SETPOINT, TOLERANCE = "setpoint", "tolerance"
DEMAND, BEER_ESTIMATE, HEAT_ESTIMATE = "demand", "beer-estimate", "heat-estimate"
LOAD = "load"
QUEUE, RUNNING = "queue", "running"


def entry_of(note: WriteNote, recorder: str) -> JournalEntry:
    """The journal line that a note about a beer becomes; its id is the request's."""
    return JournalEntry(
        at=note.at,
        source=recorder,
        id=f"{recorder}-{note.id}"[:80],
        event="beer-tasted" if note.scores else "note-written",
        who=note.who,
        why=note.text,
        batch=note.batch,
        facts=dict(note.scores),
    )


def of_journal(site: str, entry: JournalEntry) -> Annotation:
    """One line; its id makes a repeated delivery harmless."""
    return Annotation(
        id=f"journal/{entry.id}",
        at_ms=milliseconds(entry.at),
        site=site,
        kind=AnnotationKind.JOURNAL,
        name=entry.event,
        chamber=entry.chamber or "",
        batch=entry.batch or "",
        who=entry.who,
        text=entry.why,
        facts=dict(entry.facts),
    )


def of_alarm(site: str, alarm: Alarm) -> Annotation:
    """One change of an alarm's state."""
    facts = {"phase": alarm.phase.value, "priority": alarm.priority.value, "since": milliseconds(alarm.since)}
    at = milliseconds(alarm.at)
    return Annotation(
        id=f"alarm/{site}/{alarm.chamber}/{alarm.name}/{at}/{alarm.phase}",
        at_ms=at,
        site=site,
        kind=AnnotationKind.ALARM,
        name=alarm.name,
        chamber=alarm.chamber,
        who=alarm.by,
        text=alarm.detail,
        facts=facts,
    )


def of_condition(site: str, condition: Condition) -> Annotation:
    """A condition that began or ended."""
    facts = {"active": condition.active, "value": condition.value, "limit": condition.limit, "unit": condition.unit}
    at = milliseconds(condition.at)
    return Annotation(
        id=f"condition/{site}/{condition.chamber}/{condition.name}/{at}/{condition.active}",
        at_ms=at,
        site=site,
        kind=AnnotationKind.CONDITION,
        name=condition.name,
        chamber=condition.chamber,
        who=condition.source,
        text=condition.detail,
        facts=facts,
    )


def of_batch(site: str, state: BatchState) -> Annotation:
    """A batch as the scheduler told of it then, its forecast included."""
    at = milliseconds(state.at)
    return Annotation(
        id=f"batch/{site}/{state.batch}/{at}",
        at_ms=at,
        site=site,
        kind=AnnotationKind.BATCH,
        name=state.phase.value,
        chamber=state.chamber,
        batch=state.batch,
        who=state.source,
        text=state.why,
        facts=state.model_dump(mode="json", exclude={"v", "at", "source"}),
    )


def of_status(site: str, status: ChamberStatus) -> Annotation:
    """What a chamber began to do, and why."""
    at = milliseconds(status.at)
    return Annotation(
        id=f"status/{site}/{status.chamber}/{at}",
        at_ms=at,
        site=site,
        kind=AnnotationKind.STATUS,
        name=status.doing.value,
        chamber=status.chamber,
        who=status.source,
        text=status.why,
        facts={"interlocks": [interlock.id for interlock in status.interlocks]},
    )


def of_health(site: str, health: Health) -> Annotation:
    """A service that came, went or was lost, or has a new error."""
    at = milliseconds(health.at)
    return Annotation(
        id=f"health/{site}/{health.service}/{at}/{health.state}",
        at_ms=at,
        site=site,
        kind=AnnotationKind.HEALTH,
        name=health.state.value,
        chamber=SITE_WIDE,
        who=health.service.value,
        text=health.last_error,
        facts={"version": health.version},
    )


def of_quality(site: str, reading: Any) -> Annotation:
    """Why a probe's readings are no longer good, or that they are again."""
    at = milliseconds(reading.at)
    return Annotation(
        id=f"quality/{site}/{reading.chamber}/{reading.probe}/{at}",
        at_ms=at,
        site=site,
        kind=AnnotationKind.QUALITY,
        name=reading.quality.value,
        chamber=reading.chamber,
        who=reading.source,
        text=reading.reason,
        facts={"probe": reading.probe},
    )


def of_plant(plant: Plant, now: datetime) -> Annotation:
    """What a report must know later: each chamber's kind, and what its outputs drive and draw."""
    facts = {name: _chamber_facts(chamber) for name, chamber in plant.chambers.items()}
    mark = hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()[:16]
    at = milliseconds(now)
    return Annotation(
        id=f"plant/{plant.site.name}/{at}/{mark}",
        at_ms=at,
        site=plant.site.name,
        kind=AnnotationKind.PLANT,
        name=mark,
        chamber=SITE_WIDE,
        text=f"{len(plant.chambers)} chambers",
        facts={"timezone": plant.site.timezone, "chambers": facts},
    )


def _chamber_facts(chamber: Any) -> dict[str, Any]:
    return {
        "kind": chamber.kind,
        "title": chamber.title,
        "probes": {name: {"measures": probe.measures.value, "at": probe.at} for name, probe in chamber.probes.items()},
        "outputs": {
            name: {"drives": output.drives.value, "power_w": output.power_w} for name, output in chamber.outputs.items()
        },
    }
