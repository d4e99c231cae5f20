"""How the commands show one batch, and what they read for it."""

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Annotated, Any

from pydantic import Field
from rich.table import Table

from schemas.base import Model
from schemas.batches import BatchState
from schemas.profiles import MOST_STEPS, Profile, Step
from services.commands.common import USAGE, fail, local


class StepsFile(Model):
    """A file with steps, written as in a profile."""

    steps: Annotated[tuple[Step, ...], Field(min_length=1, max_length=MOST_STEPS)]


def first_replaced(facts: Mapping[str, Any], step: str) -> int:
    """Index of the named step, or of the first that can still be changed; ends the command where there is none such.

    `facts` are those of the answer to TellProgramme.
    """
    if not step:
        return int(facts["open"])
    names = [one.name for one in Profile.model_validate_json(str(facts["profile"])).steps]
    if step not in names:
        raise fail(f"there is no step '{step}'; there are {', '.join(names)}", USAGE)
    return names.index(step)


def facts_of(batch: BatchState) -> Iterator[str]:
    """Gravity, what is waited for, and how good forecasts have been, in sentences."""
    if batch.gravity_sg is not None:
        fallen = "" if batch.attenuation_percent is None else f", {batch.attenuation_percent:.0f} % attenuated"
        yield f"Gravity {batch.gravity_sg:.4f}{fallen}."
    if batch.awaits:
        yield f"Waits for you: {batch.awaits}"
    if batch.forecasts_held is not None:
        wide = "" if batch.forecast_width_h is None else f"; they were {batch.forecast_width_h:.0f} h wide on average"
        yield f"Forecasts of this site: {batch.forecasts_held:.0%} of the 80 % intervals held what happened{wide}."


def steps_table(batch: BatchState) -> Table:
    """Every step with its times, the intervals of those that are forecast, and when the beer itself is there."""
    table = Table("step", "to", "begins", "ends", "between", "beer there", box=None, header_style="dim")
    for step in batch.steps:
        interval = _between(step.arrives_earliest, step.arrives_latest)
        there = local(step.arrives) if step.arrives else ""
        table.add_row(
            step.name,
            f"{step.to_c:g} °C",
            local(step.begins) if step.begins else "",
            local(step.ends) if step.ends else step.ends_when,
            _between(step.ends_earliest, step.ends_latest),
            f"{there} ({interval})" if interval else there,
        )
    return table


def entries_table(entries: Iterable[Mapping[str, Any]]) -> Table:
    """What was measured by hand, as TellGravity is answered."""
    table = Table("entry", "taken", "gravity", "by", "counts", box=None, header_style="dim")
    for one in entries:
        taken = local(datetime.fromisoformat(one["at"]))
        counts = f"no: {one['mark']}" if one["mark"] else "yes"
        table.add_row(one["entry"], taken, f"{one['sg']:.4f}", one["by"], counts)
    return table


def _between(earliest: datetime | None, latest: datetime | None) -> str:
    return f"{local(earliest)} to {local(latest)}" if earliest and latest else ""
