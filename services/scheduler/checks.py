"""Why a programme cannot run in a chamber, from a moment on: every check is a row of a table and yields refusals."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from brewing.errors import OutOfRange
from brewing.gravity import apparent_attenuation
from schemas.ends import AtMoment, AttenuationAtLeast, GravityAtMost, Reached, Trigger
from schemas.plant import ChamberBase
from schemas.profiles import HoldStep, Profile, RampStep, Step
from services.scheduler import calendar
from services.scheduler.answers import Refusal
from services.scheduler.records import BatchRecord, target_c
from services.scheduler.words import degrees

MOST_ATTENUATION_PERCENT = 95.0
"""Apparent attenuation that no usual yeast passes; common practice, no source. A profile may say better."""


@dataclass(frozen=True, slots=True)
class Placing:
    """A programme about to run: where, from when on, and (`first`) from which step on."""

    profile: Profile
    chamber_name: str
    chamber: ChamberBase
    zone: ZoneInfo
    now: datetime
    original_gravity_sg: float | None = None
    first: int = 0

    @property
    def steps(self) -> tuple[Step, ...]:
        """Those that are still to run."""
        return self.profile.steps[self.first :]


def refuse_impossible(placing: Placing) -> None:
    """Raises Refusal with the first thing that cannot be."""
    for check in CHECKS:
        for refusal in check(placing):
            raise refusal


def refuse_waiting_in_a_circle(new: BatchRecord, records: Mapping[str, BatchRecord]) -> None:
    """Raises Refusal when a batch waits for what is not there, or batches so for each other that none can go on."""
    _refuse_unknown_milestones(new, records)
    passed = {name: _reached(record) for name, record in records.items()}
    moved = True
    while moved:
        moved = False
        for name, record in records.items():
            while passed[name] < len(record.profile.steps) and _may_pass(record, passed, records):
                passed[name] += 1
                moved = True
    stuck = sorted(name for name, record in records.items() if passed[name] < len(record.profile.steps))
    if stuck:
        raise Refusal(
            f"{' and '.join(stuck)} would wait for each other for ever", "let one of them end its step another way"
        )


def _within_limits(placing: Placing) -> Iterable[Refusal]:
    limits = placing.chamber.limits
    for step in placing.steps:
        if not limits.lowest_c <= target_c(step) <= limits.highest_c:
            allowed = f"{degrees(limits.lowest_c)} to {degrees(limits.highest_c)}"
            yield Refusal(
                f"step '{step.name}' asks for {degrees(target_c(step))}, outside {placing.chamber_name}'s {allowed}",
                "change the step, choose another chamber, or change the chamber's limits",
            )


def _dates_to_come(placing: Placing) -> Iterable[Refusal]:
    for step in placing.steps:
        for moment in _dates(step, placing.zone):
            if moment <= placing.now:
                local = moment.astimezone(placing.zone)
                yield Refusal(f"step '{step.name}' names {local:%d %b %Y %H:%M}, which is past", "name a time to come")


def _reachable_gravity(placing: Placing) -> Iterable[Refusal]:
    most = placing.profile.yeast_attenuation_percent or MOST_ATTENUATION_PERCENT
    for step, trigger in _triggers(placing.steps):
        asked = _asked_attenuation(trigger, placing.original_gravity_sg)
        if asked is not None and asked > most:
            yield Refusal(
                f"step '{step.name}' waits for {asked:.0f} % of attenuation, and this yeast reaches {most:g} % at most",
                "ask for a higher gravity, or correct the profile's yeast_attenuation",
            )


def _known_original_gravity(placing: Placing) -> Iterable[Refusal]:
    if placing.original_gravity_sg is not None:
        return
    for step, trigger in _triggers(placing.steps):
        if isinstance(trigger, AttenuationAtLeast):
            yield Refusal(f"step '{step.name}' waits for an attenuation", "give the batch its original gravity")


CHECKS: tuple[Callable[[Placing], Iterable[Refusal]], ...] = (
    _within_limits,
    _dates_to_come,
    _known_original_gravity,
    _reachable_gravity,
)


def _asked_attenuation(trigger: Trigger, original_gravity_sg: float | None) -> float | None:
    if isinstance(trigger, AttenuationAtLeast):
        return float(trigger.attenuation_at_least_percent)
    if not isinstance(trigger, GravityAtMost) or original_gravity_sg is None:
        return None
    if trigger.gravity_at_most_sg >= original_gravity_sg:
        return 0.0
    try:
        return apparent_attenuation(original_gravity_sg, trigger.gravity_at_most_sg)
    except OutOfRange:
        return 100.0 if trigger.gravity_at_most_sg < 1.0 else None


def _dates(step: Step, zone: ZoneInfo) -> Iterator[datetime]:
    if isinstance(step, HoldStep) and step.until is not None:
        yield step.until
    if isinstance(step, RampStep) and step.not_before is not None:
        yield step.not_before
    for _, trigger in _triggers((step,)):
        if isinstance(trigger, AtMoment):
            yield calendar.in_zone(trigger.at, zone)


def _triggers(steps: Sequence[Step]) -> Iterator[tuple[Step, Trigger]]:
    for step in steps:
        if step.ends is not None:
            yield from ((step, trigger) for trigger in step.ends.triggers)


def _refuse_unknown_milestones(record: BatchRecord, records: Mapping[str, BatchRecord]) -> None:
    for step, trigger in _triggers(record.profile.steps[_reached(record) :]):
        if not isinstance(trigger, Reached):
            continue
        other = records.get(trigger.reached.batch)
        if other is None:
            raise Refusal(
                f"step '{step.name}' waits for batch {trigger.reached.batch}, which is not here", "start it first"
            )
        if trigger.reached.step not in (one.name for one in other.profile.steps):
            named = ", ".join(f"'{one.name}'" for one in other.profile.steps)
            raise Refusal(
                f"step '{step.name}' waits for '{trigger.reached.step}' of {other.batch}, which has no such step",
                f"name one of {named}",
            )


def _reached(record: BatchRecord) -> int:
    """Index of the step that runs; beyond the last for a batch that has ended."""
    if record.run is not None:
        return record.run.index
    return 0 if record.ended is None else len(record.profile.steps)


def _may_pass(record: BatchRecord, passed: Mapping[str, int], records: Mapping[str, BatchRecord]) -> bool:
    ends = record.profile.steps[passed[record.batch]].ends
    if ends is None:
        return True
    free = [_is_free(trigger, passed, records) for trigger in ends.any_of]
    return all(_is_free(trigger, passed, records) for trigger in ends.all_of) and (any(free) or not free)


def _is_free(trigger: Trigger, passed: Mapping[str, int], records: Mapping[str, BatchRecord]) -> bool:
    if not isinstance(trigger, Reached) or trigger.reached.batch not in records:
        return True
    names = [step.name for step in records[trigger.reached.batch].profile.steps]
    step = trigger.reached.step
    return step not in names or passed[trigger.reached.batch] >= names.index(step)
