"""`coldside commission`: a guided first run of a chamber, watched to its end, with a report."""

import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Annotated

import typer
from rich.progress import Progress, TaskID

from schemas.requests import Accepted, Commission, Refused, RequestBase, StopCommissioning
from schemas.topics import TopicKind, every
from services.commands.client import Unreachable, Visit, this_moment
from services.commands.commissioning_report import Kept, picture, write
from services.commands.commissioning_watch import Watched
from services.commands.common import (
    AS_JSON,
    BROKER,
    SITE,
    STATE,
    TROUBLE,
    USAGE,
    WHO,
    WHY,
    Asker,
    asking,
    because,
    err,
    fail,
    out,
    show_json,
)
from services.runtime.clock import machine_seconds

INTERRUPTED = 130
GRACE_S = 20.0
"""After the run is over, so long for its result to come."""
SILENT_S = 180.0
"""The supervisor speaks once a minute; a person is told when it has not for so long."""
_LOOK_S = 0.5
_KINDS = (TopicKind.READING, TopicKind.REPORT, TopicKind.STATUS)

BEFOREHAND = """Each output of '{chamber}' is moved in turn, heating first. That takes from half an hour to some hours.
- Shut the door, plug everything in, put every probe where it belongs. Beer may be inside: its limits stay in force.
- Fermenting beer gives carbon dioxide: air the room. Mains and refrigerant are work for licensed people.
- This is no safety device: a heater needs a thermal cut-out of its own, whatever is found here.
- Ctrl-C stops it and hands the chamber back to ordinary control."""


def commission(
    chamber: Annotated[str, typer.Argument(help="The chamber's name, as in the plant file.")],
    report: Annotated[
        Path | None, typer.Option("--report", help="Where the report goes (HTML); beside you unless given.")
    ] = None,
    yes: Annotated[bool, typer.Option("--yes", help="Begin without asking.")] = False,
    stop: Annotated[bool, typer.Option("--stop", help="End one that is under way, and do nothing else.")] = False,
    broker: BROKER = "",
    state: STATE = Path("state"),
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Move each output of a chamber in turn, and see that the right probe answers in the right direction."""
    if report is not None and not report.parent.is_dir():
        raise fail(f"{report}: there is no folder {report.parent}; make it first", USAGE)
    with asking(broker, state, site, who, why) as asker:
        if stop:
            asker.ask(StopCommissioning, as_json, chamber=chamber)
            return
        if not yes:
            err.print(BEFOREHAND.format(chamber=chamber), markup=False)
            typer.confirm("Begin?", abort=True, err=True)
        _run(asker, chamber, report, as_json)


def _run(asker: Asker, chamber: str, report: Path | None, as_json: bool) -> None:
    watched = Watched(chamber)
    try:
        with _stoppable() as wish:
            _follow(asker, watched, wish, quiet=as_json)
    except Unreachable as error:
        raise fail(f"{error}. Outputs drop when their lease ends; look with `coldside status`.") from error
    _tell(watched, report or _place(chamber), as_json)
    if wish.stop:
        raise typer.Exit(INTERRUPTED)
    if watched.findings is None or not watched.findings.sound:
        raise typer.Exit(TROUBLE)


@dataclass(slots=True)
class Wish:
    """Whether a person wants it to stop. It is looked at between two messages: nothing is torn in the middle."""

    stop: bool = False

    def note(self, number: int, frame: FrameType | None) -> None:
        """A signal has come; a second one ends the command at once, and the run goes on without it."""
        if self.stop:
            raise KeyboardInterrupt
        self.stop = True


@contextmanager
def _stoppable() -> Iterator[Wish]:
    """Ctrl-C, a closed terminal and a polite kill stop the run."""
    wish = Wish()
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = {number: signal.signal(number, wish.note) for number in numbers}
    try:
        yield wish
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _begin(asker: Asker, watched: Watched) -> None:
    answer = _asked(asker, watched, asker.request(Commission, chamber=watched.chamber))
    if isinstance(answer, Refused):
        raise fail(f"Refused: {because(answer)}")
    watched.begin(answer.at)


def _asked(asker: Asker, watched: Watched, request: RequestBase) -> Accepted | Refused:
    filters = [every(asker.site, kind, watched.chamber) for kind in _KINDS]
    filters += [every(asker.site, kind, "supervisor") for kind in (TopicKind.JOURNAL, TopicKind.HEALTH)]
    return asker.visit.ask(asker.site, request, filters, lambda _, message: watched.take(message))


def _follow(asker: Asker, watched: Watched, wish: Wish, quiet: bool) -> None:
    """Until the result is there, or will not come; a person who wants it stopped gets the result so far."""
    with Progress(console=err, transient=True, disable=quiet) as bar:
        view = View(bar, bar.add_task("Beginning ...", total=1.0))
        _begin(asker, watched)
        _hear_out(asker.visit, watched, view, lambda: wish.stop)
        if watched.told or not wish.stop:
            return
        view.say("Stopping; ordinary control takes over.")
        answer = _asked(asker, watched, asker.request(StopCommissioning, chamber=watched.chamber))
        if isinstance(answer, Refused):
            raise fail(f"Refused: {because(answer)}")
        _hear_out(asker.visit, watched, view, lambda: False)


def _hear_out(visit: Visit, watched: Watched, view: "View", enough: Callable[[], bool]) -> None:
    over_s: float | None = None
    while not (watched.told or enough()):
        heard = visit.hear(_LOOK_S)
        for _, message in heard:
            watched.take(message)
        view.show(watched, visit.connected, bool(heard))
        if not watched.over:
            over_s = None
        elif over_s is None:
            over_s = machine_seconds()
        elif machine_seconds() - over_s > GRACE_S:
            return


@dataclass(slots=True)
class View:
    """What a person sees meanwhile: a bar, and a line whenever something changes."""

    bar: Progress
    task: TaskID
    said: str = ""
    heard_s: float | None = None

    def show(self, watched: Watched, connected: bool, heard: bool) -> None:
        """Brings bar and lines up to date."""
        now_s = machine_seconds()
        self.heard_s = now_s if heard or self.heard_s is None else self.heard_s
        if not connected:
            self.say("The broker is gone; waiting for it. Outputs drop when their lease ends.")
        elif watched.lost:
            self.say("The supervisor is gone; waiting for it. Outputs drop when their lease ends.")
        elif now_s - self.heard_s > SILENT_S:
            self.say("Nothing has been heard for minutes; still waiting. Ctrl-C stops it.")
        elif watched.guided is not None:
            self.say(f"Part {watched.guided.part} of {watched.guided.parts}: {watched.guided.doing}.")
            self.bar.update(self.task, completed=watched.guided.share, description=watched.temperatures())

    def say(self, text: str) -> None:
        """A line, once."""
        if text != self.said:
            self.said = text
            if not self.bar.disable:
                self.bar.console.print(text, markup=False)


def _tell(watched: Watched, place: Path, as_json: bool) -> None:
    found = watched.findings
    kept = Kept("") if found is None else write(watched, found, picture(watched), place)
    if as_json:
        show_json(watched.plain(kept.path))
        return
    for line in watched.lines():
        out.print(line, markup=False, soft_wrap=True)
    if kept.path:
        out.print(f"Report: {kept.path}" + (f" ({kept.lacks})" if kept.lacks else ""), markup=False, soft_wrap=True)
    elif kept.lacks:
        err.print(kept.lacks, style="yellow", markup=False, soft_wrap=True)


def _place(chamber: str) -> Path:
    return Path(f"first-run-{chamber}-{this_moment():%Y%m%d-%H%M}.html")
