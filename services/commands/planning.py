"""`coldside plan`: which of the beers that wait goes where and when."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import date
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from schemas.batches import BatchState
from schemas.plant import Plant
from schemas.plant_file import load
from schemas.topics import TopicKind, every
from schemas.written import WrittenError, build, read_file
from services.commands.client import as_rows, this_moment
from services.commands.common import AS_JSON, BROKER, STATE, TROUBLE, USAGE, fail, out, show_json, visiting
from services.commands.running import barn_file
from services.planner.needs import need_of
from services.planner.reasons import Proposal, propose
from services.planner.site import yard_of
from services.planner.solver import NotSolved, Wish
from services.planner.wishes import Beer, Wishes
from services.scheduler.profile_file import find_profile

FOLDER = Path("state")


def plan(
    wishes: Annotated[Path, typer.Argument(help="A file with the beers that wait; see docs/planning.md.")],
    plant: Annotated[
        Path | None, typer.Option("--plant", help="Your plant file; the simulated barn otherwise.")
    ] = None,
    as_it_is: Annotated[
        bool, typer.Option("--with-plant-as-it-is", help="Reckon with the batches of the running site.")
    ] = False,
    broker: BROKER = "",
    state: STATE = FOLDER,
    as_json: AS_JSON = False,
) -> None:
    """Propose a chamber and a first day for each beer that waits, or say which wishes clash."""
    described, wanted, asked = _read(plant, wishes)
    batches = _batches(described, broker, state) if as_it_is else []
    today = this_moment().astimezone(described.zone).date()
    yard = yard_of(described, batches, today, wanted.free_from)
    try:
        proposal = propose(yard, asked)
    except NotSolved as error:
        raise fail(str(error)) from error
    if as_json:
        show_json(_plain(proposal))
    else:
        _show(proposal, asked)
    if proposal.clash:
        raise typer.Exit(TROUBLE)


def _read(plant: Path | None, wishes: Path) -> tuple[Plant, Wishes, list[Wish]]:
    try:
        described, wanted = load(plant or barn_file()), build(Wishes, read_file(wishes))
        _refuse_unknown(described, wanted)
        return described, wanted, [_wish(name, beer) for name, beer in wanted.beers.items()]
    except WrittenError as error:
        raise fail(str(error), USAGE) from error


def _refuse_unknown(plant: Plant, wanted: Wishes) -> None:
    named = [*wanted.free_from, *(name for beer in wanted.beers.values() for name in beer.chambers)]
    unknown = sorted(set(named) - plant.chambers.keys())
    if unknown:
        raise fail(f"there is no chamber {', '.join(unknown)}; name some of {', '.join(plant.chambers)}", USAGE)


def _wish(name: str, beer: Beer) -> Wish:
    return Wish(
        name=name,
        need=need_of(find_profile(beer.profile), beer.volume_l, beer.takes_s),
        volume_l=beer.volume_l,
        ready_by=beer.ready_by,
        not_before=beer.not_before,
        chambers=beer.chambers,
    )


def _batches(plant: Plant, broker: str, state: Path) -> list[BatchState]:
    with visiting(broker, state) as visit:
        found = as_rows(visit.retained([every(plant.site.name, TopicKind.BATCH)]), TopicKind.BATCH)
    return [one for one in found if isinstance(one, BatchState)]


def _plain(proposal: Proposal) -> dict[str, object]:
    placed = [
        {key: value.isoformat() if isinstance(value, date) else value for key, value in asdict(one).items()}
        for one in proposal.placed
    ]
    return {"placed": placed, "clash": list(proposal.clash), "reasons": list(proposal.reasons)}


def _show(proposal: Proposal, asked: Sequence[Wish]) -> None:
    by_name = {one.name: one for one in asked}
    for reason in proposal.reasons:
        out.print(reason, style="bold red", markup=False)
    if proposal.clash and proposal.placed:
        out.print("What could be done, with those later:")
    table = Table("beer", "chamber", "begins", "ready", "wished by", box=None, header_style="dim")
    for one in proposal.placed:
        by = _day(by_name[one.beer].ready_by)
        table.add_row(one.beer, one.chamber, _day(one.begins), _day(one.ready), by)
    if proposal.placed:
        out.print(table)


def _day(day: date | None) -> str:
    return f"{day:%a %d %b}" if day else ""
