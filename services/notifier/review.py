"""The catalogue as people review it, one row an alarm: `python -m services.notifier.review > docs/alarms.md`."""

from schemas.alarms import Priority
from schemas.conditions import ConditionKind
from services.notifier.catalogue import Catalogue, Definition, standard_catalogue

HEAD = """# Alarms

Generated from `services/notifier/catalogue.toml`; a test fails when it is stale. States are those of IEC 62682 /
ISA-18.2. An alarm's name in topics is its kind, or its kind, a hyphen and the probe, output or service it concerns.
Delays and times to respond are starting values (common practice, no source).

This software is not a safety device. An independent thermal cut-out, a room CO2 alarm and pressure relief valves are
needed whatever it does. Mains and refrigerant are work for licensed trades under local codes.
"""


def rationalisation(catalogue: Catalogue) -> str:
    """The review report in Markdown: how many of each priority, then every alarm, most urgent first."""
    ranks = list(Priority)
    entries = sorted(catalogue.items(), key=lambda entry: (ranks.index(entry[1].priority), entry[0]))
    counts = ", ".join(f"{sum(d.priority is rank for d in catalogue.values())} {rank}" for rank in ranks)
    return "\n".join([HEAD, f"{len(entries)} kinds: {counts}.", *(_entry(kind, entry) for kind, entry in entries), ""])


def span(seconds: float) -> str:
    """`2 h`, `15 min`, `30 s`: the largest unit that leaves a whole number."""
    for unit, length in (("d", 86400), ("h", 3600), ("min", 60)):
        if seconds and seconds % length == 0:
            return f"{seconds / length:g} {unit}"
    return f"{seconds:g} s"


def _entry(kind: ConditionKind, entry: Definition) -> str:
    facts = {
        "Priority": entry.priority.value,
        "Cause": entry.cause,
        "Consequence": entry.consequence,
        "What to do": entry.response,
        "Time to respond": span(entry.respond_within_s),
        "Announced after": span(entry.on_delay_s),
        "Delay follows the volume": "yes" if entry.scales_with_mass else "no",
        "Returned after": span(entry.off_delay_s),
        "Deadband": f"{entry.deadband:g}" if entry.deadband else "none",
        "Latching": "until a person resets it" if entry.latching else "no",
        "Not announced during": ", ".join(f"`{cause}`" for cause in entry.suppressed_by) or "none",
    }
    rows = [f"| {name} | {text} |" for name, text in facts.items()]
    return "\n".join(["", f"## {entry.title} (`{kind}`)", "", "| | |", "| --- | --- |", *rows])


if __name__ == "__main__":
    print(rationalisation(standard_catalogue()), end="")
