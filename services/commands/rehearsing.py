"""`coldside rehearse`: what would happen, in virtual time. docs/rehearsal.md describes what --json prints."""

import json
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer
from rich.progress import Progress
from rich.table import Table

from schemas.base import Message
from schemas.batches import BatchPhase, BatchState
from schemas.plant import Plant
from schemas.plant_file import load
from schemas.profiles import Profile
from schemas.requests import Accepted, TellProgramme
from schemas.topics import TopicKind, every
from schemas.written import WrittenError
from services.commands.client import Unreachable, Visit, this_moment, where
from services.commands.common import AS_JSON, BROKER, STATE, TROUBLE, USAGE, err, fail, local, out, quantity, show_json
from services.commands.running import barn_file
from services.runtime.broker import find_address
from services.scheduler.profile_file import find_profile

if TYPE_CHECKING:
    from services.rehearsal.answer import Answer
    from services.rehearsal.plant_model import ModelFactory
    from services.rehearsal.situation import Situation

BARS = " ▁▂▃▄▅▆▇█"
WIDTH = 72
FOLDER = Path("state")
OUR_MODEL = "services.rehearsal.identified:plant_as_it_is"
Tell = Callable[[float], None]


def rehearse(
    profile: Annotated[
        str, typer.Argument(help="A profile file, or the name of one that comes along; none: what runs already.")
    ] = "",
    chamber: Annotated[str, typer.Option("--chamber", help="Where the beer would stand.")] = "",
    plant: Annotated[
        Path | None, typer.Option("--plant", help="Your plant file; the simulated barn otherwise.")
    ] = None,
    as_it_is: Annotated[
        bool,
        typer.Option("--with-plant-as-it-is", help="Go on from the running site: its batches, temperatures, chambers."),
    ] = False,
    plant_model: Annotated[
        str, typer.Option("--plant-model", help="Your own model of the plant, as module:factory.")
    ] = "",
    original_gravity: Annotated[float | None, typer.Option("--original-gravity", help="As SG, such as 1.052.")] = None,
    begins: Annotated[str, typer.Option("--begins", help="When it would begin, as 2026-12-04T18:00; now if not.")] = "",
    days: Annotated[float, typer.Option("--days", help="Follow it so long at the most.", min=0.05, max=56)] = 28,
    answers: Annotated[
        str, typer.Option("--answers-after", help="How soon you answer when asked, as '4 h'; never if not given.")
    ] = "",
    price: Annotated[float | None, typer.Option("--price", help="Of one kWh; the plant file's otherwise.")] = None,
    coarse: Annotated[
        bool, typer.Option("--coarse/--fine", help="Once a minute, or every 10 s, which takes four times as long.")
    ] = True,
    seed: Annotated[int, typer.Option("--seed", help="Another number, another weather and noise.")] = 1,
    broker: BROKER = "",
    state: STATE = FOLDER,
    as_json: AS_JSON = False,
) -> None:
    """Run programmes through the real services on a model of the plant, and say what would happen."""
    from services.rehearsal.performance import Question  # all services at once: only this command pays for them

    described, programme = _read(plant, profile)
    _refuse_incomplete(profile, chamber, as_it_is)
    situation = _situation(described, broker, state, seed, as_it_is)
    question = Question(
        situation=situation,
        chamber=chamber or next(iter(described.chambers)),
        profile=programme,
        original_gravity_sg=original_gravity,
        begins=_moment(begins, described.zone),
        longest=timedelta(days=days),
        tick=timedelta(seconds=60 if coarse else 10),
        model=_model(plant_model or (OUR_MODEL if as_it_is else "")),
        until_settled=as_it_is,
        answers_after=timedelta(seconds=quantity(answers, "second")) if answers else None,
    )
    answer = _answered(question, price, as_json)
    if as_json:
        from services.rehearsal.answer import plain

        show_json(plain(answer))
    else:
        _show(answer, described.zone)


def _read(plant: Path | None, profile: str) -> tuple[Plant, Profile | None]:
    try:
        return load(plant or barn_file()), find_profile(profile) if profile else None
    except WrittenError as error:
        raise fail(str(error), USAGE) from error


def _refuse_incomplete(profile: str, chamber: str, as_it_is: bool) -> None:
    if profile and not chamber:
        raise fail("say where the beer would stand: --chamber NAME", USAGE)
    if not profile and not as_it_is:
        raise fail("name a profile, or go on from what runs already with --with-plant-as-it-is", USAGE)


def _moment(written: str, zone: ZoneInfo) -> datetime | None:
    if not written:
        return None
    try:
        moment = datetime.fromisoformat(written)
    except ValueError as error:
        raise fail(f"{written!r} is no date and time; write it like 2026-12-04T18:00", USAGE) from error
    return moment if moment.tzinfo else moment.replace(tzinfo=zone)


def _model(name: str) -> "ModelFactory | None":
    from services.rehearsal.plant_model import NoSuchModel, factory_named

    try:
        return factory_named(name) if name else None
    except NoSuchModel as error:
        raise fail(str(error), USAGE) from error


def _situation(plant: Plant, broker: str, state: Path, seed: int, as_it_is: bool) -> "Situation":
    from services.rehearsal.situation import Situation

    if not as_it_is:
        return Situation(plant, this_moment(), seed=seed)
    try:
        with Visit(where(broker, state)) as visit:
            said = _retained(visit, plant.site.name)
            programmes = _programmes(visit, plant.site.name, said)
    except (Unreachable, ValueError) as error:
        raise fail(str(error)) from error
    own_folder = not broker or broker == find_address(state)
    return _with_disk(Situation(plant, this_moment(), said, programmes, seed=seed), state if own_folder else None)


def _with_disk(situation: "Situation", folder: Path | None) -> "Situation":
    """What scheduler and supervisor have on disk says more than the broker does."""
    from dataclasses import replace

    from schemas.base import ServiceName
    from services.rehearsal.situation import kept_by
    from services.scheduler.core import SchedulerState
    from services.supervisor.memory import SupervisorState

    if folder is None:
        return situation
    return replace(
        situation,
        scheduler=kept_by(folder, ServiceName.SCHEDULER, SchedulerState),
        supervisor=kept_by(folder, ServiceName.SUPERVISOR, SupervisorState),
    )


def _retained(visit: Visit, site: str) -> tuple[Message, ...]:
    kinds = (TopicKind.READING, TopicKind.SETPOINT, TopicKind.BATCH)
    found = tuple(visit.retained([every(site, kind) for kind in kinds]).values())
    if not found:
        raise Unreachable(f"nothing is known of site '{site}' on this broker; name your plant file with --plant")
    return found


def _programmes(visit: Visit, site: str, said: tuple[Message, ...]) -> Mapping[str, Profile]:
    """Asked of the scheduler, batch by batch."""
    under_way = (BatchPhase.IDLE, BatchPhase.RUNNING, BatchPhase.HELD)
    batches = [one.batch for one in said if isinstance(one, BatchState) and one.phase in under_way]
    found = {}
    for batch in batches:
        request = TellProgramme(
            at=this_moment(), source="cli", id=f"rehearse-{batch}", client=visit.name, who="rehearsal", batch=batch
        )
        answer = visit.ask(site, request)
        if isinstance(answer, Accepted):
            found[batch] = Profile.model_validate_json(str(answer.facts["profile"]))
    return found


def _answered(question: object, price: float | None, as_json: bool) -> "Answer":
    from services.rehearsal.performance import Question
    from services.rehearsal.plant_model import NoSuchModel
    from services.rehearsal.whatif import RehearsalRefused, answer_to

    assert isinstance(question, Question)
    try:
        with _progress(as_json) as tell:
            return answer_to(question, tell, price)
    except NoSuchModel as error:
        raise fail(str(error), USAGE) from error
    except RehearsalRefused as error:
        if as_json:
            show_json({"refused": str(error)})
        raise fail(f"Refused: {error}", TROUBLE) from error


@contextmanager
def _progress(as_json: bool) -> Iterator[Tell]:
    """On standard error: a bar for people, and for programs a line such as {"progress": 0.25} for each percent."""
    if as_json:
        yield _Lines()
        return
    with Progress(console=err, transient=True) as bar:
        task = bar.add_task("Rehearsing ...", total=1.0)
        yield lambda share: bar.update(task, completed=share)


class _Lines:
    def __init__(self) -> None:
        self._told = -1

    def __call__(self, share: float) -> None:
        percent = int(100 * share)
        if percent > self._told:
            self._told = percent
            print(json.dumps({"progress": percent / 100}), file=sys.stderr, flush=True)


def _show(answer: "Answer", zone: ZoneInfo) -> None:
    several = len(answer.batches) > 1
    table = Table(*(["batch"] if several else []), "step", "begins", "ends", box=None, header_style="dim")
    for course in answer.batches:
        for one in course.steps:
            ends = local(one.ended, zone) if one.ended else "goes on"
            table.add_row(*([course.batch] if several else []), one.name, local(one.began, zone), ends)
    out.print(table)
    for name, points in answer.curves.items() if several else [("", answer.curve)]:
        out.print(f"{name:>16} {_drawn([point.beer_c for point in points])}".strip(), markup=False)
    money = "" if answer.cost is None else f", {answer.cost:.2f} at your price"
    out.print(f"{answer.kwh:.1f} kWh on the whole site{money}, {answer.starts} compressor starts.")
    for fired in answer.interlocks:
        out.print(f"{local(fired.first, zone)} {fired.chamber}: {fired.reason}", style="yellow", markup=False)
    out.print(answer.verdict, style="bold", markup=False)


def _drawn(curve: list[float]) -> str:
    """The beer's course in one line, with its extremes."""
    if not curve:
        return ""
    low, high = min(curve), max(curve)
    stride = max(1, len(curve) // WIDTH)
    span = max(high - low, 0.5)
    marks = "".join(BARS[1 + round((value - low) / span * (len(BARS) - 2))] for value in curve[::stride])
    return f"{low:5.1f} °C {marks} {high:.1f} °C"
