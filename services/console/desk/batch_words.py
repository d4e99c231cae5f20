"""A batch in words: where it stands, when its steps were and are to be, and what may be asked of it."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from schemas.batches import BatchPhase, BatchState, PlannedStep
from schemas.requests import (
    AbortBatch,
    ConfirmStep,
    FinishBatch,
    GoBack,
    HoldBatch,
    RequestBase,
    ResumeBatch,
    SkipStep,
    StopBatch,
)
from services.console.desk.drawing import Strip

PHASES = {
    BatchPhase.IDLE: "waits to begin",
    BatchPhase.RUNNING: "under way",
    BatchPhase.HELD: "held: its clock stands still",
    BatchPhase.COMPLETE: "complete",
    BatchPhase.STOPPED: "stopped before its end",
    BatchPhase.ABORTED: "given up",
}
WORD = "somebody says"
"""With this the scheduler tells of a step's end that waits for a person's word."""
UNDER_WAY = (BatchPhase.RUNNING, BatchPhase.HELD)
OPEN = (BatchPhase.IDLE, *UNDER_WAY)


@dataclass(frozen=True, slots=True)
class Act:
    """Something that may be asked of a batch. A `sure` question is put before what cannot be taken back."""

    text: str
    kind: type[RequestBase]
    phases: tuple[BatchPhase, ...]
    done: str
    sure: str = ""


ACTS = (
    Act("It is done: go on", ConfirmStep, (BatchPhase.RUNNING,), "Your word is taken."),
    Act("Hold", HoldBatch, (BatchPhase.RUNNING,), "Held; the temperature stays."),
    Act("Resume", ResumeBatch, (BatchPhase.HELD,), "It goes on where it was."),
    Act("End this step now", SkipStep, (BatchPhase.RUNNING,), "The next step has begun.", "End the running step now?"),
    Act("Step before, once more", GoBack, (BatchPhase.RUNNING,), "It begins anew.", "Begin the step before anew?"),
    Act("Finish", FinishBatch, (BatchPhase.RUNNING,), "Complete.", "Is the beer done? What is left is left out."),
    Act("Stop", StopBatch, OPEN, "Stopped.", "Stop the batch? The chamber goes on holding its last temperature."),
    Act("Give up", AbortBatch, OPEN, "Given up.", "Give it up? The chamber goes back to what it holds when empty."),
)  # fmt: skip


def acts_for(batch: BatchState) -> tuple[Act, ...]:
    """What may be asked of a batch as it stands; a word is asked for only where the running step waits for one."""
    step = running_step(batch)
    asked = bool(batch.awaits) and step is not None and WORD in step.ends_when
    return tuple(act for act in ACTS if batch.phase in act.phases and (asked or act.kind is not ConfirmStep))


def in_order(batches: Iterable[BatchState]) -> list[BatchState]:
    """Those under way first, then those to come, then the ended ones, the newest first."""
    found = sorted(batches, key=lambda one: (one.started is not None, one.started, one.batch), reverse=True)
    return sorted(found, key=lambda one: 0 if one.phase in UNDER_WAY else 1 if one.phase is BatchPhase.IDLE else 2)


def running_step(batch: BatchState) -> PlannedStep | None:
    """The step under way."""
    return batch.steps[batch.step] if batch.step is not None and batch.step < len(batch.steps) else None


def when(at: datetime | None, zone: ZoneInfo) -> str:
    """`Fri 27 Nov 18:00`, on the site's clocks; a dash while it cannot be said."""
    return "–" if at is None else at.astimezone(zone).strftime("%a %d %b %H:%M")


def lasting(span: timedelta) -> str:
    """`3 d 4 h`, `5 h 10 min`: two units at the most."""
    minutes = max(0, round(span.total_seconds() / 60))
    days, hours, rest = minutes // 1440, minutes % 1440 // 60, minutes % 60
    if days:
        return f"{days} d {hours} h" if hours else f"{days} d"
    return f"{hours} h {rest} min" if hours and rest else f"{hours} h" if hours else f"{rest} min"


def times_of(step: PlannedStep, zone: ZoneInfo) -> str:
    """From when to when; where it is forecast, with the range that holds it four times in five."""
    if step.begins is None:
        return "when it is its turn"
    text = (
        f"{when(step.begins, zone)} to {when(step.ends, zone)}" if step.ends else f"from {when(step.begins, zone)} on"
    )
    if step.ends_earliest is None or step.ends_latest is None:
        return text
    early, late = when(step.ends_earliest, zone), when(step.ends_latest, zone)
    return f"{text}; four times in five its end lies between {early} and {late}"


def trust_words(batch: BatchState) -> str:
    """How good the forecasts of this site were so far; empty while nothing is known of that."""
    if batch.forecasts_held is None or batch.forecast_width_h is None:
        return ""
    width = lasting(timedelta(hours=batch.forecast_width_h))
    return f"Earlier ranges held what happened {batch.forecasts_held:.0%} of the time, being {width} wide on average."


def strips_of(steps: Iterable[PlannedStep], now: datetime) -> list[Strip]:
    """Steps as a picture takes them; one whose end cannot be said runs two days on, and nothing after it is shown."""
    found: list[Strip] = []
    for step in steps:
        if step.begins is None:
            break
        ends = step.ends or max(now, step.begins) + timedelta(days=2)
        found.append(
            Strip(step.name, step.begins, ends, step.from_c, step.to_c, step.done, step.ends_earliest, step.ends_latest)
        )
    return found


def suggested_name(title: str, known: Iterable[str]) -> str:
    """`43-oat-pale`: the next number of those that begin with one, and the title made fit for a topic."""
    numbers = [int(head) for name in known if (head := name.partition("-")[0]).isdigit()]
    plain = "".join(sign if sign.isascii() and sign.isalnum() else "-" for sign in title.lower())
    words = [word for word in plain.split("-") if word]
    return "-".join([str(max(numbers, default=0) + 1), *words])[:40].rstrip("-")
