"""The catalogue as people review it: `python -m services.notifier.review > docs/alarms.md`.

With a plant file as its argument it prints what holds at that site, alarm by alarm and chamber by chamber; with the
folder of its services' state, too, how the alarms have behaved: chattering, stale, set aside.
"""

import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

from schemas.alarms import Priority
from schemas.base import SITE_WIDE
from schemas.conditions import ConditionKind
from schemas.plant import Plant
from schemas.plant_file import load
from services.notifier.catalogue import Catalogue, Definition, Definitions, span, standard_catalogue
from services.notifier.core import NotifierState
from services.notifier.ledger import Ledger
from services.notifier.register import Register
from services.notifier.week import nuisances
from services.runtime.clock import SystemClock
from services.runtime.state import Saved

HEAD = """# Alarms

Generated from `services/notifier/catalogue.toml`; a test fails when it is stale. States are those of IEC 62682 /
ISA-18.2. An alarm's name in topics is its kind, or its kind, a hyphen and the probe, output or service it concerns.
Delays and times to respond are starting values (common practice, no source); those that follow a volume or a load are
for 20 L. An open door of an empty chamber is told soonest, of a full one latest: as what stands there warms, between
0.4 and 3 times the delay. A chamber is known to be empty when its last batch has ended and it holds no temperature of
its own.

This software is not a safety device. An independent thermal cut-out, a room CO2 alarm and pressure relief valves are
needed whatever it does. Mains and refrigerant are work for licensed trades under local codes.

A plant file changes what it names, for a chamber (`chambers: {left: {alarms: {door-open: {on_delay: 15 min}}}}`) or for
the whole site (`notifier: {alarms: ...}`): `priority`, `on_delay`, `off_delay`, `respond_within`, `deadband`,
`latching`, `response`. `python -m services.notifier.review my-plant.yaml` prints what then holds. Nothing but what is
critical is told of a chamber with `in_use: false`. How people are reached is in [telling people](telling-people.md).
With the folder of the services' state behind it, the same command shows how the alarms behaved in the last week: how
often each was announced, which chatter (three times within an hour), are stale (stand for over a day) or set aside.
"""
FOLLOWS = {"nothing": "nothing", "volume": "the vessel's volume", "load": "how fast what stands there warms"}
TABLE = ("alarm", "priority", "announced after", "respond within", "latching", "explained away by")


def rationalisation(catalogue: Catalogue) -> str:
    """The review report in Markdown: how many of each priority, a table, then every alarm, most urgent first."""
    ranks = list(Priority)
    entries = sorted(catalogue.items(), key=lambda entry: (ranks.index(entry[1].priority), entry[0]))
    counts = ", ".join(f"{sum(d.priority is rank for d in catalogue.values())} {rank}" for rank in ranks)
    table = _table(TABLE, ((f"`{kind}`", entry) for kind, entry in entries))
    full = [_entry(kind, entry) for kind, entry in entries]
    return "\n".join([HEAD, f"{len(entries)} kinds: {counts}.", "", *table, *full, ""])


def site_report(plant: Plant, catalogue: Catalogue) -> str:
    """What holds at one site: every alarm for the site, and each chamber's where they differ."""
    rules = Definitions(plant, catalogue)
    rows: list[tuple[str, Definition]] = []
    for kind in catalogue:
        general = rules(SITE_WIDE, kind)
        rows.append((f"`{kind}`", general))
        own = ((name, rules(name, kind)) for name in plant.chambers)
        rows += [(f"`{kind}` in {name}", found) for name, found in own if found != general]
    return "\n".join([f"# Alarms of {plant.site.name}", "", *_table(TABLE, iter(rows)), ""])


def behaviour_report(plant: Plant, catalogue: Catalogue, state: NotifierState, now: datetime) -> str:
    """How alarms behaved in the last week, and which chatter, are stale or set aside now."""
    register = Register(Definitions(plant, catalogue), state.records)
    week = Ledger(state.week).week(now)
    head = ("alarm", "announced", "while chattering", "became stale")
    lines = [f"| {' | '.join(head)} |", f"|{' --- |' * len(head)}"]
    for (chamber, name), one in sorted(week.items(), key=lambda entry: -entry[1].raised):
        lines.append(f"| `{name}` in {chamber} | {one.raised} | {one.chattering} | {one.stale} |")
    text = [*lines, "", *(f"- {line}" for line in nuisances(register, plant, now))]
    return "\n".join(["", "## How the alarms behaved in the last week", "", *text, ""])


def _table(head: tuple[str, ...], rows: Iterator[tuple[str, Definition]]) -> list[str]:
    lines = [f"| {' | '.join(head)} |", f"|{' --- |' * len(head)}"]
    return lines + [f"| {name} | {' | '.join(_cells(entry))} |" for name, entry in rows]


def _cells(entry: Definition) -> tuple[str, ...]:
    return (
        entry.priority.value,
        span(entry.on_delay_s),
        span(entry.respond_within_s),
        "yes" if entry.latching else "no",
        ", ".join(entry.suppressed_by) or "nothing",
    )


def _entry(kind: ConditionKind, entry: Definition) -> str:
    facts = {
        "Priority": entry.priority.value,
        "Cause": entry.cause,
        "Consequence": entry.consequence,
        "What to do": entry.response,
        "Time to respond": span(entry.respond_within_s),
        "Announced after": span(entry.on_delay_s),
        "Delay follows": FOLLOWS[entry.delay_follows],
        "Returned after": span(entry.off_delay_s),
        "Deadband": f"{entry.deadband:g}" if entry.deadband else "none",
        "Latching": "until a person resets it" if entry.latching else "no",
        "Not announced during": ", ".join(f"`{cause}`" for cause in entry.suppressed_by) or "none",
    }
    rows = [f"| {name} | {text} |" for name, text in facts.items()]
    return "\n".join(["", f"## {entry.title} (`{kind}`)", "", "| | |", "| --- | --- |", *rows])


def main(plant_file: str = "", state_folder: str = "") -> str:
    """The report that the arguments ask for. Raises PlantFileError, or FileNotFoundError where no state is."""
    found = standard_catalogue()
    if not plant_file:
        return rationalisation(found)
    plant = load(Path(plant_file))
    report = site_report(plant, found)
    if state_folder:
        saved = Saved.model_validate_json((Path(state_folder) / "notifier.json").read_bytes())
        state = NotifierState.model_validate(saved.snapshot)
        report += behaviour_report(plant, found, state, SystemClock().now())
    return report


if __name__ == "__main__":
    print(main(*sys.argv[1:3]), end="")
