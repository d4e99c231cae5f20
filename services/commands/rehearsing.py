"""`coldside rehearse`: what would happen, in virtual time."""

from dataclasses import asdict
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from zoneinfo import ZoneInfo

import typer
from rich.progress import Progress
from rich.table import Table

from schemas.plant import Plant
from schemas.plant_file import load
from schemas.profiles import Profile
from schemas.written import WrittenError
from services.commands.client import this_moment
from services.commands.common import AS_JSON, TROUBLE, USAGE, err, fail, local, out, show_json
from services.commands.running import barn_file
from services.scheduler.profile_file import find_profile

if TYPE_CHECKING:
    from services.rehearsal.whatif import Answer

BARS = " ▁▂▃▄▅▆▇█"
WIDTH = 72


def rehearse(
    profile: Annotated[str, typer.Argument(help="A profile file, or the name of one that comes along.")],
    chamber: Annotated[str, typer.Option("--chamber", help="Where the beer would stand.")],
    plant: Annotated[
        Path | None, typer.Option("--plant", help="Your plant file; the simulated barn otherwise.")
    ] = None,
    original_gravity: Annotated[float | None, typer.Option("--original-gravity", help="As SG, such as 1.052.")] = None,
    days: Annotated[float, typer.Option("--days", help="Follow it so long at the most.", min=0.05, max=56)] = 28,
    coarse: Annotated[
        bool, typer.Option("--coarse", help="Once a minute instead of every 10 s: six times as fast.")
    ] = False,
    seed: Annotated[int, typer.Option("--seed", help="Another number, another weather and noise.")] = 1,
    as_json: AS_JSON = False,
) -> None:
    """Run a profile through the real services on a model of the plant, and say what would happen."""
    from services.rehearsal.whatif import LONGEST, RehearsalRefused
    from services.rehearsal.whatif import rehearse as play  # all services at once: only this command pays for them

    described, programme = _read(plant, profile)
    with Progress(console=err, transient=True, disable=as_json) as bar:
        task = bar.add_task("Rehearsing ...", total=1.0)
        try:
            answer = play(
                described,
                programme,
                chamber,
                this_moment(),
                original_gravity_sg=original_gravity,
                longest=min(LONGEST, timedelta(days=days)),
                tick=timedelta(seconds=60 if coarse else 10),
                seed=seed,
                progress=lambda share: bar.update(task, completed=share),
            )
        except RehearsalRefused as error:
            raise fail(f"Refused: {error}", TROUBLE) from error
    if as_json:
        show_json(_plain(answer))
    else:
        _show(answer, described.zone)


def _read(plant: Path | None, profile: str) -> tuple[Plant, Profile]:
    try:
        return load(plant or barn_file()), find_profile(profile)
    except WrittenError as error:
        raise fail(str(error), USAGE) from error


def _plain(answer: "Answer") -> dict[str, object]:
    plain = asdict(answer) | {"verdict": answer.verdict}
    plain["curve"] = [[point.at.isoformat(), round(point.beer_c, 3), point.wanted_c] for point in answer.curve]
    plain["steps"] = [[one.name, one.began.isoformat(), one.ended and one.ended.isoformat()] for one in answer.steps]
    return plain


def _show(answer: "Answer", zone: ZoneInfo) -> None:
    table = Table("step", "begins", "ends", box=None, header_style="dim")
    for one in answer.steps:
        table.add_row(one.name, local(one.began, zone), local(one.ended, zone) if one.ended else "goes on")
    out.print(table)
    out.print(_drawn([point.beer_c for point in answer.curve]), markup=False)
    out.print(f"{answer.kwh:.1f} kWh on the whole site, {answer.starts} compressor starts.")
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
