"""`coldside history`: back-ups, exports, imports, moving to another store, and a batch's report."""

import json
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo

import typer
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from schemas.plant import Plant
from schemas.plant_file import PlantFileError, load
from services.recorder.__main__ import HISTORY, reading_store, retention
from services.recorder.account import NoSuchBatch, account_of, earlier_than
from services.recorder.backup import back_up, bring_back
from services.recorder.exports import Range, to_csv, to_json_lines, to_parquet
from services.recorder.imports import ImportRefused, Layout, samples_in
from services.recorder.migration import Step, migrate
from services.recorder.report import MOST_COMPARED, html, pdf
from services.recorder.sqlite_store import SqliteStore
from services.recorder.standing import standing
from services.recorder.store import Match, Store, StoreError
from services.runtime.clock import SystemClock

PLANT = Annotated[Path, typer.Option("--plant", envvar="COLDSIDE_PLANT", help="The plant file.")]
STATE = Annotated[Path, typer.Option("--state", envvar="COLDSIDE_STATE", help="The folder that holds the state.")]
SINCE = Annotated[datetime | None, typer.Option("--from", help="Site's time; a week ago unless given.")]
UNTIL = Annotated[datetime | None, typer.Option("--to", help="Site's time; now unless given.")]
FOLDER = Path("state")
USAGE, TROUBLE = 2, 1
LEDGER = "migration-{}.json"

app = typer.Typer(
    help="What was recorded: back it up, export it, move it, and report on a batch.",
    no_args_is_help=True,
    add_completion=False,
)


class Format(StrEnum):
    """What an export can be."""

    CSV = "csv"
    JSON_LINES = "jsonl"
    PARQUET = "parquet"


class Direction(StrEnum):
    """Which way a migration goes."""

    TO_SERVER = "to-server"
    TO_FILE = "to-file"


@app.command("back-up")
def back_up_command(target: Annotated[Path, typer.Argument(help="The new file.")], state: STATE = FOLDER) -> None:
    """Copy the embedded store while everything runs."""
    with _told():
        back_up(state / HISTORY, target)
    typer.echo(f"{target}: {target.stat().st_size / 1e6:.1f} MB, checked")


@app.command("bring-back")
def bring_back_command(
    backup: Annotated[Path, typer.Argument(help="A file that `back-up` made.")], plant: PLANT, state: STATE = FOLDER
) -> None:
    """Add what a back-up holds to the store in use; what was recorded since stays."""
    with _told():
        _show(bring_back(backup, _writable(_plant(plant), state), state / LEDGER.format(backup.name)))


@app.command("move")
def move_command(
    direction: Annotated[Direction, typer.Argument(help="To the server of the plant file, or from it.")],
    plant: PLANT,
    state: STATE = FOLDER,
) -> None:
    """Copy all history between the embedded store and the server; checked, and taken up where it was stopped."""
    described = _plant(plant)
    if described.history.influx is None:
        raise _fail(f"{plant} names no server; add 'history: {{influx: {{address: http://...}}}}'", USAGE)
    with _told():
        stores: list[Store] = [SqliteStore(state / HISTORY), reading_store(described, state)]
        source, target = stores if direction is Direction.TO_SERVER else reversed(stores)
        _show(migrate(source, target, state / LEDGER.format(direction)))


@app.command("state")
def state_command(
    plant: PLANT,
    state: STATE = FOLDER,
    as_json: Annotated[bool, typer.Option("--json", help="For programs.")] = False,
) -> None:
    """Tell where history is kept, what still waits before the store, and what was thinned, dropped or damaged."""
    described = _plant(plant)
    with _told():
        told = standing(described, state, SystemClock().now())
    lines = (f"{name.replace('_', ' ')}: {value}" for name, value in told.items())
    typer.echo(json.dumps(told) if as_json else "\n".join(lines))


@app.command("export")
def export_command(
    plant: PLANT,
    form: Annotated[Format, typer.Option("--format", help="csv, jsonl or parquet.")] = Format.CSV,
    out: Annotated[Path | None, typer.Option("--out", help="A file; standard output unless given.")] = None,
    since: SINCE = None,
    until: UNTIL = None,
    chamber: Annotated[str | None, typer.Option("--chamber")] = None,
    state: STATE = FOLDER,
) -> None:
    """Write samples for other programs, with units and time zone stated."""
    described = _plant(plant)
    wanted = _range(described.zone, since, until, Match(site=described.site.name, chamber=chamber))
    with _told():
        source = reading_store(described, state)
        if form is Format.PARQUET:
            if out is None:
                raise _fail("a parquet file needs --out", USAGE)
            count = to_parquet(source, wanted, out)
        else:
            count = _write_text(to_csv if form is Format.CSV else to_json_lines, source, wanted, out)
    typer.echo(f"{count} samples", err=True)


@app.command("import")
def import_command(
    file: Annotated[Path, typer.Argument(help="A CSV file with a head line.")],
    plant: PLANT,
    time: Annotated[str, typer.Option(help="The column with the time.")] = "time_utc",
    value: Annotated[str, typer.Option(help="The column with the value.")] = "value",
    chamber: Annotated[str, typer.Option(help="The column with the chamber, or the chamber.")] = "chamber",
    name: Annotated[str, typer.Option(help="The column with the probe, or the probe.")] = "name",
    unit: Annotated[str, typer.Option(help="The column with the unit, or the unit.")] = "unit",
    state: STATE = FOLDER,
) -> None:
    """Add old readings; they are kept apart as imported, and importing twice changes nothing."""
    described = _plant(plant)
    layout = Layout(described.site.name, time, value, chamber, name, unit, described.zone)
    with _told(), file.open(encoding="utf-8", newline="") as text:
        samples = samples_in(text, layout)
        _writable(described, state).write(samples)
    typer.echo(f"{len(samples)} readings imported")


@app.command("report")
def report_command(
    batch: Annotated[str, typer.Argument(help="The batch.")],
    plant: PLANT,
    out: Annotated[Path, typer.Option("--out", help="A file that ends in .html or .pdf.")],
    price: Annotated[float | None, typer.Option("--price", help="Of one kWh, in your own currency.")] = None,
    compare: Annotated[int, typer.Option("--compare", min=0, max=MOST_COMPARED, help="With so many earlier ones.")] = 5,
    state: STATE = FOLDER,
) -> None:
    """Write a batch's report: its course, steps, alarms, energy, notes, and earlier batches beside it."""
    if out.suffix not in (".html", ".pdf"):
        raise _fail(f"{out}: a report is written as .html or .pdf", USAGE)
    described = _plant(plant)
    with _told():
        source = reading_store(described, state)
        account = account_of(source, batch, described.site.name)
        page = html(account, earlier_than(source, account, compare), price)
    out.write_bytes(pdf(page) if out.suffix == ".pdf" else page.encode())
    typer.echo(f"{out}: {account.title}, {account.phase}")


def _write_text(write: Callable[..., int], source: Store, wanted: Range, out: Path | None) -> int:
    if out is None:
        return write(source, wanted, sys.stdout)
    with out.open("w", encoding="utf-8", newline="") as file:
        return write(source, wanted, file)


def _range(zone: ZoneInfo, since: datetime | None, until: datetime | None, match: Match) -> Range:
    end = until.replace(tzinfo=zone) if until else SystemClock().now()
    start = since.replace(tzinfo=zone) if since else end - timedelta(days=7)
    return Range(start, end, zone, match)


def _plant(path: Path) -> Plant:
    try:
        return load(path)
    except PlantFileError as error:
        raise _fail(str(error), USAGE) from error


def _writable(plant: Plant, state: Path) -> Store:
    if plant.history.influx is not None:
        return reading_store(plant, state)
    return SqliteStore(state / HISTORY, policy=retention(plant.history.keep))


def _show(steps: Iterable[Step]) -> None:
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, transient=True) as progress:
        bar = progress.add_task("nothing to do", total=None)
        for step in steps:
            progress.update(bar, completed=step.done, total=step.total, description=step.about)
    typer.echo("all there, by count and checksum")


@contextmanager
def _told() -> Iterator[None]:
    try:
        yield
    except (StoreError, ImportRefused, NoSuchBatch, OSError) as error:
        raise _fail(str(error), TROUBLE) from error


def _fail(text: str, code: int) -> typer.Exit:
    typer.echo(text, err=True)
    return typer.Exit(code)
