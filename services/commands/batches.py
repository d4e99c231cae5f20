"""`coldside batch ...`: what people do with a batch."""

import json
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from schemas.batches import BatchPhase, BatchState
from schemas.requests import (
    AbortBatch,
    ConfirmStep,
    EditSteps,
    FinishBatch,
    GoBack,
    HoldBatch,
    LogGravity,
    MoveBatch,
    RequestBase,
    ResumeBatch,
    SkipStep,
    StartBatch,
    StopBatch,
    StrikeGravity,
    TellGravity,
    TellProgramme,
)
from schemas.topics import TopicKind, every
from schemas.written import WrittenError, build, read_file
from services.commands.batch_views import StepsFile, entries_table, facts_of, first_replaced, steps_table
from services.commands.client import as_rows
from services.commands.common import (
    AS_JSON,
    BROKER,
    SITE,
    STATE,
    USAGE,
    WHO,
    WHY,
    asking,
    fail,
    local,
    out,
    quantity,
    show_json,
    visiting,
)
from services.scheduler.profile_file import find_profile

app = typer.Typer(no_args_is_help=True, help="Start, hold, resume, skip, stop and list batches.")

BATCH = Annotated[str, typer.Argument(help="The batch's name, such as 41-oat-pale.")]
FOLDER = Path("state")


@app.command()
def start(
    batch: BATCH,
    chamber: Annotated[str, typer.Option("--chamber", help="Where it stands.")],
    profile: Annotated[str, typer.Option("--profile", help="A profile file, or the name of one that comes along.")],
    title: Annotated[str, typer.Option("--title", help="What people call it.")] = "",
    original_gravity: Annotated[float | None, typer.Option("--original-gravity", help="As SG, such as 1.052.")] = None,
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Put a beer in a chamber and start its profile."""
    try:
        programme = find_profile(profile)
    except WrittenError as error:
        raise fail(str(error), USAGE) from error
    with asking(broker, state, site, who, why) as asker:
        asker.ask(
            StartBatch,
            as_json,
            batch=batch,
            title=title or batch,
            chamber=chamber,
            profile=programme,
            original_gravity_sg=original_gravity,
        )


def _add_verb(command: str, kind: type[RequestBase], says: str) -> None:
    @app.command(command, help=says)
    def act(
        batch: BATCH,
        broker: BROKER = "",
        state: STATE = FOLDER,
        site: SITE = "",
        who: WHO = "",
        why: WHY = "",
        as_json: AS_JSON = False,
    ) -> None:
        with asking(broker, state, site, who, why) as asker:
            asker.ask(kind, as_json, batch=batch)


_add_verb("hold", HoldBatch, "Stop the programme's clock; the chamber goes on holding the temperature.")
_add_verb("resume", ResumeBatch, "Let a held batch go on where it was.")
_add_verb("skip", SkipStep, "End the running step now and go on with the next.")
_add_verb("back", GoBack, "Begin the step before once more.")
_add_verb("confirm", ConfirmStep, "Give your word where the running step waits for it.")
_add_verb("finish", FinishBatch, "Say that a batch is done.")
_add_verb("abort", AbortBatch, "Give a batch up at once; its chamber goes back to what it holds when it is empty.")
_add_verb("stop", StopBatch, "End a batch before its time; the chamber goes on holding the last setpoint.")


@app.command()
def move(
    batch: BATCH,
    chamber: Annotated[str, typer.Option("--chamber", help="Where it stands from now on.")],
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Carry a batch to another chamber; its programme goes on there."""
    with asking(broker, state, site, who, why) as asker:
        asker.ask(MoveBatch, as_json, batch=batch, chamber=chamber)


@app.command()
def gravity(
    batch: BATCH,
    hydrometer: Annotated[float | None, typer.Option("--hydrometer", help="As read, such as 1.014.")] = None,
    refractometer: Annotated[float | None, typer.Option("--refractometer", help="As read, in Brix.")] = None,
    sample: Annotated[str, typer.Option("--sample", help="How warm the sample was.")] = "20 degC",
    original: Annotated[bool, typer.Option("--original", help="Of the wort, before the yeast.")] = False,
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Note a gravity that you measured; it is corrected for temperature and, with a refractometer, for alcohol."""
    with asking(broker, state, site, who, why) as asker:
        asker.ask(
            LogGravity,
            as_json,
            batch=batch,
            hydrometer_sg=hydrometer,
            refractometer_brix=refractometer,
            sample_c=quantity(sample, "degC"),
            is_original=original,
        )


@app.command()
def measured(
    batch: BATCH,
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Show what was measured by hand, with the name of each entry."""
    with asking(broker, state, site, who, why) as asker:
        entries = json.loads(str(asker.facts(TellGravity, batch=batch)["entries"]))
    if as_json:
        show_json(entries)
        return
    out.print(entries_table(entries) if entries else "Nothing was measured by hand.")


@app.command()
def strike(
    batch: BATCH,
    entry: Annotated[str, typer.Argument(help="The entry's name, as `coldside batch measured` shows it.")],
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Strike a gravity that was wrong: it is kept, and no longer counts."""
    with asking(broker, state, site, who, why) as asker:
        asker.ask(StrikeGravity, as_json, batch=batch, entry=entry)


@app.command()
def edit(
    batch: BATCH,
    steps: Annotated[Path, typer.Argument(help="A file with `steps:`, written as in a profile.")],
    instead_of: Annotated[
        str, typer.Option("--from", help="Name of the first step that is replaced; the running one if not given.")
    ] = "",
    effective: Annotated[
        str, typer.Option("--effective", help="From when on, as 2026-12-04T18:00Z; at once if not.")
    ] = "",
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    who: WHO = "",
    why: WHY = "",
    as_json: AS_JSON = False,
) -> None:
    """Replace the steps that are still to come, from the running one or a later one on."""
    try:
        written = build(StepsFile, read_file(steps))
    except WrittenError as error:
        raise fail(str(error), USAGE) from error
    with asking(broker, state, site, who, why) as asker:
        first = first_replaced(asker.facts(TellProgramme, batch=batch), instead_of)
        asker.ask(EditSteps, as_json, batch=batch, first=first, steps=written.steps, effective=effective or None)


@app.command()
def show(
    batch: BATCH,
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    as_json: AS_JSON = False,
) -> None:
    """Show one batch: its steps with their times and intervals, gravity, and how its forecasts turned out."""
    with visiting(broker, state) as visit:
        name = visit.site(site)
        found = as_rows(visit.retained([every(name, TopicKind.BATCH)]), TopicKind.BATCH)
    one = next((one for one in found if isinstance(one, BatchState) and one.batch == batch), None)
    if one is None:
        raise fail(f"there is no batch {batch}; see `coldside batch list --all`")
    if as_json:
        show_json(one.model_dump(mode="json"))
        return
    out.print(f"{one.title} in {one.chamber}: {one.phase}. {one.why}", markup=False, soft_wrap=True)
    out.print(steps_table(one))
    for line in facts_of(one):
        out.print(line, markup=False, soft_wrap=True)


@app.command("list")
def list_(
    everything: Annotated[bool, typer.Option("--all", help="Also those that have ended.")] = False,
    broker: BROKER = "",
    state: STATE = FOLDER,
    site: SITE = "",
    as_json: AS_JSON = False,
) -> None:
    """Show the batches and where each stands."""
    with visiting(broker, state) as visit:
        name = visit.site(site)
        found = as_rows(visit.retained([every(name, TopicKind.BATCH)]), TopicKind.BATCH)
    batches = [one for one in found if isinstance(one, BatchState)]
    shown = [
        one for one in batches if everything or one.phase in (BatchPhase.RUNNING, BatchPhase.HELD, BatchPhase.IDLE)
    ]
    if as_json:
        show_json([one.model_dump(mode="json") for one in shown])
    else:
        out.print(_table(shown) if shown else "No batch is under way; start one with `coldside batch start`.")


def _table(batches: list[BatchState]) -> Table:
    table = Table("batch", "beer", "chamber", "state", "step", "until", box=None, header_style="dim")
    for one in batches:
        step = one.steps[one.step] if one.step is not None and one.step < len(one.steps) else None
        until = (local(step.ends) if step.ends else step.ends_when) if step else ""
        table.add_row(one.batch, one.title, one.chamber, one.phase, step.name if step else "", until)
    return table
