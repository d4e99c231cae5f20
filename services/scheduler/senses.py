"""What the scheduler takes in without being asked to: how warm the beer is, what a gravity instrument says."""

from datetime import datetime, timedelta

from schemas.batches import BatchPhase
from schemas.control import ChamberStatus
from schemas.ends import WithinTolerance
from schemas.telemetry import GravityReading, Quality
from services.scheduler.book import Book
from services.scheduler.course import setpoint_at
from services.scheduler.gravity_log import hear
from services.scheduler.records import BatchRecord

LONGEST_GAP = timedelta(minutes=15)
"""Between two looks at the beer further apart nothing is known of it."""


def hear_gravity(book: Book, reading: GravityReading, now: datetime) -> str | None:
    """Takes an instrument's reading in; the batch for which it completed a point, or None."""
    record = book.in_chamber(reading.chamber)
    if record is None or reading.gravity_sg is None or reading.quality is not Quality.GOOD or reading.at > now:
        return None
    log, complete = hear(record.gravity, reading.probe, reading.gravity_sg, reading.at)
    if log is not record.gravity:
        book.batches[record.batch] = record.but(gravity=log)
    return record.batch if complete else None


def see_beer(book: Book, status: ChamberStatus, now: datetime) -> str | None:
    """Counts the time within tolerance, where a step asks for it; the batch that may be moved on by it, or None."""
    record = book.in_chamber(status.chamber)
    if record is None or record.phase is not BatchPhase.RUNNING or status.estimate is None:
        return None
    wanted, run, step = tolerance_times(record), record.run, record.step
    if not wanted or run is None or step is None:
        return None
    seen = min(status.at, now)
    gap = seen - (run.seen or seen)
    well = abs(status.estimate.beer_c - setpoint_at(step, run, seen)) <= step.tolerance_k
    counts = well and run.well and timedelta() < gap <= LONGEST_GAP
    in_band_s = run.in_band_s + (gap.total_seconds() if counts else 0.0)
    book.batches[record.batch] = record.but_run(seen=seen, well=well, in_band_s=in_band_s)
    return record.batch if any(run.in_band_s < seconds <= in_band_s for seconds in wanted) else None


def tolerance_times(record: BatchRecord) -> list[float]:
    """Seconds within tolerance that the running step's triggers wait for."""
    ends = None if record.step is None else record.step.ends
    triggers = () if ends is None else ends.triggers
    return [one.within_tolerance_s for one in triggers if isinstance(one, WithinTolerance)]
