"""Two crashes at once: rehearses the second one later, until each takes about as long as it would alone."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from math import ceil

from schemas.profiles import HoldStep, Step
from schemas.requests import EditSteps
from services.rehearsal.answer import Conflict, Stagger
from services.rehearsal.crashes import Crash, Together, arrival
from services.rehearsal.performance import Kept, Performance, Question

SLOWER = 1.1
"""A crash that takes so many times as long as it would alone is in another's way."""
NOT_WORTH = timedelta(hours=1)
PATIENCE = timedelta(days=6)
TRIES = 3
Moment = tuple[datetime, Kept]


@dataclass(frozen=True, slots=True)
class Trial:
    """How the two went with the second one later; None where it did not arrive, or could not be put off."""

    delay: timedelta
    first: datetime | None
    second: datetime | None


def examine(question: Question, pair: Together, moments: Sequence[Moment]) -> Conflict | None:
    """The conflict with the stagger that works, or None where the bath carries both; `moments` are to go on from."""
    before = [one for one in moments if one[0] <= pair.second.begins]
    if not before:
        return _conflict(pair, None)
    if pair.second.begins <= moments[0][0]:
        return _conflict(pair, None)
    alone = _trial(question, pair, before[-1], _hours_up(pair.first.ends - pair.second.begins))
    first_s, second_s = _lasting(pair.first, alone.first), _lasting_later(pair.second, alone)
    if first_s is None or second_s is None:
        return _conflict(pair, None)
    if not (_too_slow(pair.first.lasts, first_s) or _too_slow(pair.second.lasts, second_s)):
        return None
    best = _shortest(lambda delay: _trial(question, pair, before[-1], delay), pair, alone, (first_s, second_s))
    return _conflict(pair, best)


def _shortest(
    rehearse: Callable[[timedelta], Trial], pair: Together, alone: Trial, lasts: tuple[timedelta, timedelta]
) -> Trial:
    """Halves the delay for as long as each still takes no longer than alone."""
    best, low = alone, timedelta()
    for _ in range(TRIES):
        delay = _hours_up((low + best.delay) / 2)
        if delay >= best.delay:
            break
        trial = rehearse(delay)
        first, second = _lasting(pair.first, trial.first), _lasting_later(pair.second, trial)
        if first is None or second is None or _too_slow(first, lasts[0]) or _too_slow(second, lasts[1]):
            low = delay
        else:
            best = trial
    return best


def _trial(question: Question, pair: Together, moment: Moment, delay: timedelta) -> Trial:
    """Goes on from a moment with the second crash put off."""
    at, kept = moment
    again = Performance(question, at, kept)
    again.listener.refused = ""
    again.ask(_put_off(question, pair, again.stage.now, delay))
    first, second, begins = pair.first, pair.second, pair.second.begins + delay
    found: list[datetime | None] = [None, None]
    while not again.listener.refused and None in found and again.stage.now < begins + PATIENCE:
        again.step()
        found = [
            arrival(again.curves.get(one.chamber, ()), since, one.to_c)
            for one, since in ((first, first.begins), (second, begins))
        ]
    return Trial(delay, found[0], found[1])


def _put_off(question: Question, pair: Together, now: datetime, delay: timedelta) -> EditSteps:
    crash = pair.second
    wait = HoldStep(name=f"wait for {pair.bath}", hold_c=crash.from_c, for_s=delay.total_seconds())
    rest: tuple[Step, ...] = question.programmes[crash.batch].steps[crash.step :]
    return EditSteps(
        at=now,
        source="rehearsal",
        id=f"stagger-{crash.batch}"[:64],
        client="rehearsal",
        who="rehearsal",
        why=f"{pair.bath} cannot carry two crashes",
        batch=crash.batch,
        first=crash.step,
        steps=(wait, *rest),
    )


def _conflict(pair: Together, trial: Trial | None) -> Conflict:
    first, second = pair.first, pair.second
    said = f"{pair.bath} cannot carry the crashes of {first.batch} and {second.batch} at once"
    bare = Conflict("reservoir", pair.bath, (first.batch, second.batch), pair.begins, pair.ends, "")
    if trial is None or trial.first is None or trial.second is None:
        return replace(bare, detail=f"{said}; put one of them off.")
    hours = trial.delay / timedelta(hours=1)
    begins = second.begins + trial.delay
    proposal = Stagger(second.batch, hours, begins, {first.batch: trial.first, second.batch: trial.second})
    detail = f"{said}; begin '{second.name}' of {second.batch} {hours:g} h later."
    return replace(bare, detail=detail, proposal=proposal)


def _lasting(crash: Crash, arrives: datetime | None) -> timedelta | None:
    return None if arrives is None else arrives - crash.begins


def _lasting_later(crash: Crash, trial: Trial) -> timedelta | None:
    return None if trial.second is None else trial.second - crash.begins - trial.delay


def _too_slow(lasts: timedelta, alone: timedelta) -> bool:
    return lasts > SLOWER * alone and lasts - alone > NOT_WORTH


def _hours_up(span: timedelta) -> timedelta:
    return timedelta(hours=max(1, ceil(span / timedelta(hours=1))))
