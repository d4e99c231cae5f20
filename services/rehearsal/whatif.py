"""`What if`: programmes played to their end on a model of the plant, and what would come of it."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta

from pydantic import BaseModel

from schemas.base import ServiceName, iso
from schemas.batches import BatchPhase, BatchState
from schemas.plant import Plant
from schemas.profiles import Profile
from schemas.requests import StartBatch
from services.rehearsal import stagger
from services.rehearsal.answer import Answer, Conflict, Course, StepTime
from services.rehearsal.crashes import crashes, together
from services.rehearsal.listener import Wait
from services.rehearsal.performance import BATCH, ENDED, Performance, Question, word_of
from services.rehearsal.situation import Situation

LONGEST = timedelta(days=56)
KEEP_EVERY = timedelta(hours=12)
AFTERWARDS = timedelta(hours=12)
"""A rehearsal that ends when all is settled looks on for so long."""
WORTH_TELLING = timedelta(hours=1)
"""Waiting so long for current at one time is a conflict."""
LAST_SHARE = 0.7
"""Of the progress that is told, the rehearsal itself; the rest is for finding staggers."""
Progress = Callable[[float], None]


class RehearsalRefused(ValueError):
    """The programme was refused before it began; the text says why and what would be right."""


def rehearse(
    plant: Plant,
    profile: Profile,
    chamber: str,
    start: datetime,
    *,
    original_gravity_sg: float | None = None,
    longest: timedelta = LONGEST,
    tick: timedelta = timedelta(seconds=10),
    seed: int = 1,
    progress: Progress = lambda share: None,
) -> Answer:
    """One programme, with the rest of the plant as its file says. Raises RehearsalRefused."""
    situation = Situation(plant, start, seed=seed)
    question = Question(situation, chamber, profile, original_gravity_sg, longest=longest, tick=tick)
    return answer_to(question, progress)


def answer_to(question: Question, progress: Progress = lambda share: None, price: float | None = None) -> Answer:
    """Plays it. Raises RehearsalRefused where the scheduler would refuse the programme.

    `price` is of one kWh; without it the plant file's is taken.
    """
    played, moments = _played(question, progress)
    played.listener.close(played.stage.now)
    courses = [_course(question, one) for one in played.listener.states.values()]
    answer = _told(question, played, courses)
    pairs = together(question.plant, crashes(courses, played.curves), played.kwh_curves)
    for count, pair in enumerate(pairs):
        progress(LAST_SHARE + (1.0 - LAST_SHARE) * count / len(pairs))
        found = stagger.examine(question, pair, moments)
        answer.conflicts += [] if found is None else [found]
    answer.conflicts += current_conflicts(question.plant, played.listener.waits)
    each = question.plant.site.price_per_kwh if price is None else price
    answer.cost = None if each is None else round(answer.kwh * each, 2)
    progress(1.0)
    return answer


def _played(question: Question, progress: Progress) -> tuple[Performance, list[stagger.Moment]]:
    start, supervised = question.situation.now, question.situation.supervised()
    kept: dict[ServiceName, BaseModel] = {ServiceName.SCHEDULER: question.situation.scheduled()}
    if supervised is not None:
        kept[ServiceName.SUPERVISOR] = supervised
    played = Performance(question, start, kept)
    if question.profile is not None:
        played.listener.refused = ""
        played.ask(_start(question, question.profile))
        if played.listener.refused:
            raise RehearsalRefused(played.listener.refused)
    end, moments = start + question.longest, [(start, played.snapshots())]
    while played.stage.now < end and not _over(question, played):
        if question.until_settled and played.settled:
            end = min(end, played.stage.now + AFTERWARDS)
        played.step()
        if played.stage.now - moments[-1][0] >= KEEP_EVERY:
            moments.append((played.stage.now, played.snapshots()))
        progress(LAST_SHARE * (played.stage.now - start) / question.longest)
    return played, moments


def _over(question: Question, played: Performance) -> bool:
    """A rehearsal of one programme is over when that has ended."""
    own = played.listener.states.get(BATCH)
    return not question.until_settled and own is not None and own.phase in ENDED


def _told(question: Question, played: Performance, courses: list[Course]) -> Answer:
    listener, chamber = played.listener, question.chamber
    own = next((one for one in courses if one.chamber == chamber), None)
    return Answer(
        curve=played.curves.get(chamber, []),
        steps=[] if own is None else list(own.steps),
        fired={one.id: one.reason for one in listener.fired.values() if one.chamber == chamber},
        alarms=dict(listener.alarms),
        kwh=sum(played.kwh_of.values()),
        starts=played.starts,
        frozen=played.frozen,
        finished=own.finished if own is not None else all(one.finished for one in courses),
        chamber=chamber,
        began=question.situation.now,
        ended=played.stage.now,
        curves=played.curves,
        batches=courses,
        interlocks=list(listener.fired.values()),
        kwh_of={name: round(kwh, 3) for name, kwh in played.kwh_of.items()},
        identified=[name for name in question.plant.chambers if _is_known(question.situation, name)],
    )


def _is_known(situation: Situation, chamber: str) -> bool:
    return bool(situation.learnt(chamber)) or situation.chiller(chamber) is not None


def _course(question: Question, state: BatchState) -> Course:
    times = tuple(
        StepTime(one.name, one.begins, one.ends if one.done else None, one.from_c, one.to_c)
        for one in state.steps
        if one.begins is not None and one.begins <= state.at
    )
    finished = state.phase in ENDED
    return Course(state.batch, state.title, state.chamber, times, finished, _waits_for(question, state))


def _waits_for(question: Question, state: BatchState) -> str:
    """What a person is asked at the end of the rehearsal."""
    profile = question.programmes.get(state.batch)
    if profile is None or state.step is None or state.phase in ENDED:
        return ""
    if state.phase is BatchPhase.HELD:
        return f"{state.title} is held: {state.why}"
    asked = word_of(profile, state.step)
    return f"{state.title}, '{profile.steps[state.step].name}': {asked}" if asked else ""


def current_conflicts(plant: Plant, waits: list[Wait]) -> Iterator[Conflict]:
    """The longest wait of each chamber, where it is worth telling."""
    for chamber in sorted({one.chamber for one in waits}):
        own = [one for one in waits if one.chamber == chamber]
        longest = max(own, key=lambda one: one.length)
        if longest.length < WORTH_TELLING:
            continue
        circuit = next((one.circuit for one in plant.chambers[chamber].outputs.values() if one.circuit), "")
        hours = longest.length / timedelta(hours=1)
        detail = f"{chamber} waits {hours:.1f} h for current on {circuit} from {iso(longest.begins)} on."
        yield Conflict("circuit", circuit or "", (chamber,), longest.begins, longest.ends, detail)


def _start(question: Question, profile: Profile) -> StartBatch:
    return StartBatch(
        at=question.situation.now,
        source="rehearsal",
        id="rehearsal",
        client="rehearsal",
        who="rehearsal",
        why="what if",
        batch=BATCH,
        title=profile.profile,
        chamber=question.chamber,
        profile=profile,
        original_gravity_sg=question.original_gravity_sg,
        begins=question.begins,
    )
