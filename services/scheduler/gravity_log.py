"""A batch's gravity as it was measured: by hand, and by instruments that float in the beer.

Nothing is thrown away for being wrong: what cannot be is kept and marked. A log is frozen; taking something in gives a
new one.
"""

from collections.abc import Callable
from datetime import datetime, timedelta
from statistics import median
from typing import Any

from schemas.base import Instant, Model, Name, Text

BUCKET = timedelta(minutes=30)
"""An instrument's readings of so long become one point, their median."""
MOST_OFTEN = timedelta(minutes=1)
DENSE_FOR = timedelta(days=4)
THIN = timedelta(hours=6)
"""An instrument's points older than `DENSE_FOR` are thinned to one in so long."""
HAND_SD, INSTRUMENT_SD = 0.0005, 0.0008
"""SG, one standard deviation: half a division of a hydrometer, and what a float bobs. Common practice, no source."""
LEAST_JUMP = 0.004
FASTEST_FALL_PER_H = 0.0025
"""SG: no fermentation changes gravity quicker than this from one point to the next. Common practice, no source."""
PATIENCE = timedelta(hours=36)
"""An instrument that keeps to a new level for so long is believed again: foam or a shove has moved it for good."""
NEAR = 0.003


class GravityPoint(Model):
    """One measurement, corrected; `mark` says why it does not count, and is empty when it does."""

    at: Instant
    sg: float
    sd: float
    by: Text
    hand: bool = False
    entry: str = ""
    mark: Text = ""

    @property
    def counts(self) -> bool:
        """Whether anything may be concluded from it."""
        return not self.mark


class Instrument(Model):
    """One continuous instrument: what it said since the last point, and whether it is believed."""

    probe: Name
    since: Instant | None = None
    heard: Instant | None = None
    raw: tuple[float, ...] = ()
    last: GravityPoint | None = None
    trusted: GravityPoint | None = None
    """The last point before it jumped; None while it is believed."""
    jumped: Instant | None = None
    offset: float = 0.0
    """Added to what it says, since it was last compared with a measurement by hand."""


class GravityLog(Model):
    """All points in order of time, and the instruments' state."""

    points: tuple[GravityPoint, ...] = ()
    instruments: tuple[Instrument, ...] = ()

    def instrument(self, probe: str) -> Instrument:
        """The instrument at a probe, new if it has said nothing yet."""
        return next((one for one in self.instruments if one.probe == probe), Instrument(probe=probe))

    def counted(self) -> tuple[GravityPoint, ...]:
        """What counts, the instruments' offsets added."""
        offsets = {one.probe: one.offset for one in self.instruments}
        return tuple(_shifted(one, offsets.get(one.by, 0.0)) for one in self.points if one.counts)


def hear(log: GravityLog, probe: str, gravity_sg: float, at: datetime) -> tuple[GravityLog, bool]:
    """Takes one reading of an instrument in; the second value says whether it completed a point."""
    known = log.instrument(probe)
    if known.heard is not None and at - known.heard < MOST_OFTEN:
        return log, False
    since = known.since or at
    if at - since < BUCKET or not known.raw:
        grown = known.model_copy(update={"since": since, "heard": at, "raw": (*known.raw, gravity_sg)})
        return _with_instrument(log, grown), False
    point = GravityPoint(at=at, sg=round(median(known.raw), 5), sd=INSTRUMENT_SD, by=probe)
    fresh = known.model_copy(update={"since": at, "heard": at, "raw": (gravity_sg,)})
    judged, point = _judge(fresh, point)
    return _with_point(_with_instrument(log, judged), point), True


def enter(log: GravityLog, point: GravityPoint) -> GravityLog:
    """Takes a measurement by hand in; an instrument that was read about then is compared with it."""
    log = _with_point(log, point)
    for known in log.instruments:
        near = [one for one in log.points if one.by == known.probe and abs(one.at - point.at) <= timedelta(hours=3)]
        if near and point.counts:
            log = _with_instrument(log, _compared(known, near[-1], point))
    return log


def strike(log: GravityLog, entry: str, why: str) -> GravityLog | None:
    """Marks an entry by hand as not counting; None when there is no such entry that counts."""
    found = next((one for one in log.points if one.hand and one.entry == entry and one.counts), None)
    if found is None:
        return None
    marked = found.model_copy(update={"mark": why})
    return log.model_copy(update={"points": tuple(marked if one is found else one for one in log.points)})


def _judge(known: Instrument, point: GravityPoint) -> tuple[Instrument, GravityPoint]:
    """Whether a point is believed: no fermentation jumps, and what has jumped stays doubted until it is back."""
    last = known.last
    jumps = last is not None and _jumps(last, point)
    update: dict[str, Any] = {"last": point}
    if known.trusted is None:
        if jumps:
            update |= {"trusted": last, "jumped": point.at}
            point = _doubted(point, last)
    elif (jumps and _plausible_after(known.trusted, point)) or point.at - (known.jumped or point.at) >= PATIENCE:
        update |= {"trusted": None, "jumped": None}
    else:
        update |= {"jumped": point.at} if jumps else {}
        point = _doubted(point, known.trusted)
    return known.model_copy(update=update), point


def _jumps(last: GravityPoint, point: GravityPoint) -> bool:
    hours = (point.at - last.at).total_seconds() / 3600
    fall = last.sg - point.sg
    return fall > LEAST_JUMP + FASTEST_FALL_PER_H * hours or fall < -LEAST_JUMP


def _plausible_after(trusted: GravityPoint, point: GravityPoint) -> bool:
    """Whether gravity may have come from the one to the other while nobody could see it."""
    hours = (point.at - trusted.at).total_seconds() / 3600
    return trusted.sg - LEAST_JUMP - FASTEST_FALL_PER_H * hours <= point.sg <= trusted.sg + LEAST_JUMP


def _doubted(point: GravityPoint, before: GravityPoint | None) -> GravityPoint:
    was = "" if before is None else f" from {before.sg:.4f}"
    return point.model_copy(update={"mark": f"jumped{was} quicker than any fermentation"})


def _compared(known: Instrument, shown: GravityPoint, measured: GravityPoint) -> Instrument:
    offset = round(measured.sg - shown.sg, 5)
    trust = {"trusted": None, "jumped": None} if abs(offset - known.offset) <= NEAR else {}
    return known.model_copy(update={"offset": offset, **trust} if shown.counts or trust else {})


def _shifted(point: GravityPoint, offset: float) -> GravityPoint:
    return point if point.hand or not offset else point.model_copy(update={"sg": round(point.sg + offset, 5)})


def _with_instrument(log: GravityLog, known: Instrument) -> GravityLog:
    others = tuple(one for one in log.instruments if one.probe != known.probe)
    return log.model_copy(update={"instruments": (*others, known)})


def _with_point(log: GravityLog, point: GravityPoint) -> GravityLog:
    points = log.points
    if not points or points[-1].at <= point.at:
        points = (*points, point)
    else:
        points = tuple(sorted((*points, point), key=_by_time))
    return log.model_copy(update={"points": _thinned(points, point.at - DENSE_FOR)})


_by_time: Callable[[GravityPoint], datetime] = lambda point: point.at  # noqa: E731


def _thinned(points: tuple[GravityPoint, ...], before: datetime) -> tuple[GravityPoint, ...]:
    """Drops an instrument's older points that lie closer than `THIN` to the one kept before."""
    if points[0].at >= before:
        return points
    kept: list[GravityPoint] = []
    last: dict[str, datetime] = {}
    for one in points:
        dense = one.at >= before or one.hand
        if dense or one.at - last.get(one.by, datetime.min.replace(tzinfo=one.at.tzinfo)) >= THIN:
            kept.append(one)
            last[one.by] = one.at
    return tuple(kept)
