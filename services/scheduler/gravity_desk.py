"""Measurements by hand: what an instrument showed becomes a corrected gravity in the batch's log."""

from datetime import datetime

from brewing import gravity, refractometer
from brewing.errors import OutOfRange
from brewing.hydrometer import corrected_gravity
from schemas.requests import LogGravity, StrikeGravity
from services.scheduler.answers import Refusal
from services.scheduler.gravity_log import HAND_SD, GravityLog, GravityPoint, enter, strike
from services.scheduler.records import BatchRecord, Decision

REFRACTOMETER_SD = 0.0015
"""SG: by refractometer the gravity of fermented beer is known to 0.003 at best; one standard deviation."""
HIGHEST_ABOVE = 0.003


def entered(record: BatchRecord, request: LogGravity, now: datetime) -> tuple[BatchRecord, Decision]:
    """The batch with the measurement. Raises Refusal for one that cannot be."""
    taken = request.taken or now
    if taken > now:
        raise Refusal(f"{taken:%d %b %H:%M} UTC is to come", "say when the sample was taken")
    log = (
        record.gravity if request.replaces is None else _struck(record, request.replaces, "corrected by a later entry")
    )
    found_sg, sd = _corrected(record, request)
    original = record.original_gravity_sg
    if not request.is_original and original is not None and found_sg > original + HIGHEST_ABOVE:
        raise Refusal(f"gravity {found_sg:.4f} lies above the original gravity {original:.4f}", "measure again")
    point = GravityPoint(at=taken, sg=round(found_sg, 5), sd=sd, by=request.who, hand=True, entry=request.id)
    facts: dict[str, float | str | bool] = {"gravity_sg": point.sg, "taken": taken.isoformat(), "entry": request.id}
    told = Decision(
        "gravity-logged", request.why or f"gravity {found_sg:.4f}", now, record.batch, record.chamber, facts=facts
    )
    changed = record.but(gravity=enter(log, point))
    return (changed.but(original_gravity_sg=round(found_sg, 4)) if request.is_original else changed), told


def struck(record: BatchRecord, request: StrikeGravity, now: datetime) -> tuple[BatchRecord, Decision]:
    """The batch with an entry marked as wrong. Raises Refusal where there is no such entry."""
    log = _struck(record, request.entry, f"struck by {request.who}: {request.why}")
    why = request.why or "it was wrong"
    told = Decision("gravity-struck", why, now, record.batch, record.chamber, facts={"entry": request.entry})
    return record.but(gravity=log), told


def _struck(record: BatchRecord, entry: str, why: str) -> GravityLog:
    log = strike(record.gravity, entry, why)
    if log is None:
        raise Refusal(f"{record.batch} has no entry {entry} that counts", "give the id under which it was entered")
    return log


def _corrected(record: BatchRecord, request: LogGravity) -> tuple[float, float]:
    """SG at 20 degC and its standard deviation."""
    if (request.hydrometer_sg is None) == (request.refractometer_brix is None):
        raise Refusal("a measurement has one reading", "give the hydrometer's or the refractometer's")
    try:
        if request.hydrometer_sg is not None:
            return corrected_gravity(request.hydrometer_sg, request.sample_c, request.calibrated_c), HAND_SD
        return _by_refractometer(record, request), REFRACTOMETER_SD
    except OutOfRange as error:
        raise Refusal(str(error)) from error


def _by_refractometer(record: BatchRecord, request: LogGravity) -> float:
    reading = refractometer.at_20_c(request.refractometer_brix or 0.0, request.sample_c)
    if request.is_original:
        return gravity.specific_gravity(refractometer.wort_plato(reading))
    if record.original_gravity_sg is None:
        raise Refusal("a refractometer needs the original gravity", "log that first, or use a hydrometer")
    initial = gravity.plato(record.original_gravity_sg) * refractometer.WORT_CORRECTION
    return refractometer.final_gravity(initial, min(reading, initial))
