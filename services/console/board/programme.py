"""What is wanted from here on: a batch's steps, a person's own setpoint over them, or what the chamber holds."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from schemas.batches import BatchPhase, BatchState, PlannedStep
from schemas.control import Setpoint
from services.console.board.window import DAY_MS, milliseconds

Corner = tuple[int, float]
"""When, and how warm; between two corners it runs straight, and straight down at one moment where two share it."""
Time = Literal["likely", "early", "late"]
FOR_EVER_MS = 400 * DAY_MS


@dataclass(frozen=True, slots=True)
class Stretch:
    """A step on the time axis. `end_ms` None: nobody can say."""

    name: str
    start_ms: int
    end_ms: int | None
    state: Literal["done", "now", "coming"]
    late: bool = False
    ends_when: str = ""


def stretches(batch: BatchState | None) -> list[Stretch]:
    """A batch's steps that have a beginning, in order."""
    if batch is None:
        return []
    found = []
    for index, step in enumerate(batch.steps):
        if step.begins is None:
            continue
        state: Literal["done", "now", "coming"] = "done" if step.done else "now" if index == batch.step else "coming"
        end = None if step.ends is None else milliseconds(step.ends)
        found.append(Stretch(step.name, milliseconds(step.begins), end, state, step.late, step.ends_when))
    return found


def ahead(setpoint: Setpoint | None, batch: BatchState | None, now_ms: int, time: Time = "likely") -> list[Corner]:
    """Corners from now on to as far as anybody knows; the last value goes on. Empty where nothing is asked for."""
    if setpoint is None:
        return []
    programme = list(_of_steps(batch, now_ms, time)) if _under_way(batch) else []
    if not programme:
        programme = _of_waypoints(setpoint, now_ms)
    if setpoint.expires is not None:
        programme = _by_hand(setpoint, programme, milliseconds(setpoint.expires), now_ms)
    last = programme[-1]
    return [*programme, (max(last[0], now_ms) + FOR_EVER_MS, last[1])]


def value_at(corners: Sequence[Corner], at_ms: int) -> float:
    """What is wanted at a moment; before the first corner its value, after the last its. At a drop, what follows it."""
    earlier = [one for one in corners if one[0] <= at_ms]
    later = next((one for one in corners if one[0] > at_ms), None)
    if not earlier or later is None:
        return (earlier or list(corners))[-1 if earlier else 0][1]
    (start, low), (end, high) = earlier[-1], later
    return low + (high - low) * (at_ms - start) / (end - start)


def _under_way(batch: BatchState | None) -> bool:
    return batch is not None and batch.phase in (BatchPhase.RUNNING, BatchPhase.IDLE)


def _of_steps(batch: BatchState | None, now_ms: int, time: Time) -> Iterator[Corner]:
    begins: int | None = None
    for step in batch.steps if batch else ():
        if step.done or step.begins is None:
            continue
        start = milliseconds(step.begins) if begins is None else begins
        end = _end(step, time)
        yield from _corners(step, start, end, now_ms)
        if end is None:
            return
        begins = end


def _corners(step: PlannedStep, start: int, end: int | None, now_ms: int) -> Iterator[Corner]:
    first = step.from_c if step.does == "ramp" else step.to_c
    if end is None:
        yield max(start, now_ms), step.to_c if step.does != "ramp" else first
        return
    if end <= now_ms:
        return
    if start < now_ms:
        first = first + (step.to_c - first) * (now_ms - start) / (end - start)
        start = now_ms
    yield start, first
    yield end, step.to_c


def _end(step: PlannedStep, time: Time) -> int | None:
    at = {"likely": step.ends, "early": step.ends_earliest or step.ends, "late": step.ends_latest or step.ends}[time]
    return None if at is None else milliseconds(at)


def _of_waypoints(setpoint: Setpoint, now_ms: int) -> list[Corner]:
    points = [(milliseconds(one.at), one.temperature_c) for one in setpoint.ahead]
    return [(now_ms, setpoint.temperature_c), *(one for one in points if one[0] > now_ms)]


def _by_hand(setpoint: Setpoint, programme: list[Corner], expires_ms: int, now_ms: int) -> list[Corner]:
    if expires_ms <= now_ms:
        return programme
    back = value_at(programme, expires_ms)
    held = [(now_ms, setpoint.temperature_c), (expires_ms, setpoint.temperature_c), (expires_ms, back)]
    return [*held, *(one for one in programme if one[0] > expires_ms)]
