"""When the beer will be at the crash's target: the programme's setpoint, followed as fast as the chamber can."""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import NamedTuple, Protocol

from schemas.base import Celsius, Instant, Model, Name
from schemas.plant import Plant
from schemas.profiles import Step
from services.scheduler.cooling import SLOWEST_K_H, Cooling, Window, first_guess, look
from services.scheduler.course import setpoint_at
from services.scheduler.records import Arrival, BatchRecord, CrashRun, Decision, StepRun, target_c

LEAST_FALL_K = 5.0
NEAR_K = 0.5
"""Beer so near its target is there."""
STRIDE = timedelta(minutes=10)
LONGEST = timedelta(days=10)
BITES_AFTER = timedelta(minutes=20)
"""A machine that begins to cool loses so much time until it draws all it can; common practice, no source."""
Z_80 = 1.2816
"""Standard deviations to either side of which an 80 % interval reaches."""
LEAST_MARGIN, MARGIN_SHARE = timedelta(minutes=20), 0.03
"""What even a well known chamber leaves open: readings, doors, the last tenth of a kelvin."""
KEEP_EACH = timedelta(hours=2)


class Expected(NamedTuple):
    """When the beer will be there; `latest` is None when it may never be."""

    earliest: datetime
    likely: datetime
    latest: datetime | None


class Coming(Protocol):
    """A step with its run, as a plan has it."""

    @property
    def step(self) -> Step:
        """What is asked for."""
        ...

    @property
    def run(self) -> StepRun:
        """From when on, and from where."""
        ...


class ChamberCooling(Model):
    """What must survive a restart."""

    chamber: Name
    cooling: Cooling
    window: Window | None = None
    beer_c: Celsius | None = None
    seen: Instant | None = None


class CrashDesk:
    """Watches beers that are being chilled, learns how fast their chambers are, and says when they will be there."""

    def __init__(self, plant: Plant, kept: tuple[ChamberCooling, ...] = ()) -> None:
        self.plant = plant
        self._kept = {one.chamber: one for one in kept}

    @property
    def kept(self) -> tuple[ChamberCooling, ...]:
        """For the snapshot."""
        return tuple(self._kept.values())

    def of(self, chamber: str) -> ChamberCooling:
        """What is believed of a chamber. Raises KeyError for one that is not in the plant."""
        known = self._kept.get(chamber)
        if known is None:
            known = ChamberCooling(chamber=chamber, cooling=first_guess(self.plant, self.plant.chambers[chamber]))
            self._kept[chamber] = known
        return known

    def see(self, record: BatchRecord, beer_c: float, at: datetime) -> bool:
        """One look at a beer that is being chilled; whether something was learnt."""
        crash = record.crash
        if crash is None or record.step is None or record.run is None or record.chamber not in self.plant.chambers:
            return False
        known = self._as_of(record.chamber, crash.began)
        wanted_c = setpoint_at(record.step, record.run, at)
        cooling, window = look(known.cooling, known.window, crash.began, beer_c, wanted_c, at)
        update = {"cooling": cooling, "window": window, "beer_c": beer_c, "seen": at}
        self._kept[record.chamber] = known.model_copy(update=update)
        return cooling is not known.cooling

    def _as_of(self, chamber: str, began: datetime) -> ChamberCooling:
        """What is believed as a crash begins: what was learnt in the last one is a little less true of it."""
        known = self.of(chamber)
        if known.seen is not None and known.seen >= began:
            return known
        first = first_guess(self.plant, self.plant.chambers[chamber])
        fresh = known.cooling.forgetting(first) if known.cooling.windows else first
        return known.model_copy(update={"cooling": fresh, "window": None})

    def arrivals(self, record: BatchRecord, coming: Iterable[Coming], now: datetime) -> dict[int, Expected | None]:
        """For each step that chills a batch's beer, running or to come, when that will be at its target."""
        found = {
            one.run.index: self.expected(record.chamber, one.step, one.run, now)
            for one in coming
            if falls(one.run.from_c, one.step) and one.run.index not in record.arrived
        }
        crash, run, step = record.crash, record.run, record.step
        if crash is not None and crash.arrived is None and run is not None and step is not None:
            found[crash.index] = self.expected(record.chamber, step, run, now)
        return found

    def expected(self, chamber: str, step: Step, run: StepRun, now: datetime) -> Expected | None:
        """When a step's beer will be at its target; None for one that never will be."""
        if chamber not in self.plant.chambers:
            return None
        known = self.of(chamber)
        running = known.seen is not None and known.beer_c is not None and run.began <= known.seen <= now
        start, beer_c = (now, known.beer_c) if running and known.beer_c is not None else (run.began, run.from_c)
        likely, quick, slow = (_arrival(known.cooling, step, run, beer_c, start, z) for z in (0.0, Z_80, -Z_80))
        if likely is None:
            return None
        margin = max(LEAST_MARGIN, MARGIN_SHARE * (likely - run.began))
        earliest = likely - margin if quick is None else min(quick, likely - margin)
        return Expected(max(earliest, start), likely, None if slow is None else max(slow, likely + margin))


def falls(from_c: float, step: Step) -> bool:
    """Whether a step asks for much colder beer."""
    return from_c - target_c(step) >= LEAST_FALL_K


def with_crash(record: BatchRecord) -> BatchRecord:
    """The batch with the crash that its running step begins, or without one when it asks for something else now."""
    run, step, crash = record.run, record.step, record.crash
    if run is None or step is None:
        return record
    if falls(run.from_c, step):
        return record.but(crash=CrashRun(index=run.index, began=run.began, from_c=run.from_c, to_c=target_c(step)))
    goes_on = crash is not None and abs(crash.to_c - target_c(step)) <= NEAR_K
    return record if goes_on or crash is None else record.but(crash=None)


def arrived(record: BatchRecord, beer_c: float, at: datetime) -> tuple[BatchRecord, Decision] | None:
    """The batch with its beer there, and what to tell; None while it is not, or was before."""
    crash = record.crash
    if crash is None or crash.arrived is not None or beer_c > crash.to_c + NEAR_K:
        return None
    hours = (at - crash.began) / timedelta(hours=1)
    why = f"the beer is at {beer_c:.1f} degC, {hours:.1f} h after '{record.profile.steps[crash.index].name}' began"
    facts: dict[str, float | str | bool] = {"index": float(crash.index), "hours": round(hours, 2)}
    told = Decision("beer-arrived", why, at, record.batch, record.chamber, facts=facts)
    there = {**record.arrived, crash.index: at}
    return record.but(crash=crash.model_copy(update={"arrived": at}), arrived=there), told


def with_expected(crash: CrashRun, expected: Expected | None, now: datetime) -> CrashRun:
    """Keeps what is foretold, to be scored when the beer is there; no more often than every two hours."""
    often = crash.foretold and now < crash.foretold[-1].made + KEEP_EACH
    if expected is None or expected.latest is None or often:
        return crash
    arrival = Arrival(made=now, earliest=expected.earliest, likely=expected.likely, latest=expected.latest)
    return crash.model_copy(update={"foretold": (*crash.foretold, arrival)})


def _arrival(
    cooling: Cooling, step: Step, run: StepRun, beer_c: float, start: datetime, deviations: float
) -> datetime | None:
    """The first moment at which the beer is there, in strides of ten minutes and a straight line within the last."""
    goal_c, moment = target_c(step) + NEAR_K, start
    if start < run.began + BITES_AFTER:
        moment = run.began + BITES_AFTER
    while beer_c > goal_c:
        rate = cooling.rate(beer_c, deviations)
        if moment > start + LONGEST or rate < SLOWEST_K_H:
            return None
        least_c = setpoint_at(step, run, moment + STRIDE)
        colder_c = min(beer_c, max(least_c, beer_c - rate * (STRIDE / timedelta(hours=1))))
        if colder_c <= goal_c:
            return moment + STRIDE * ((beer_c - goal_c) / (beer_c - colder_c))
        beer_c, moment = colder_c, moment + STRIDE
    return moment
