"""What still protects each output when something dies: a table, so that nobody has to find it out.

Rows are asked in their order; the first that fits an output speaks. A process that is started again tells every output
to be off first, so what is said holds until then.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from schemas.addresses import MqttOutput, SimulatedOutput
from schemas.plant import Drive, Output, Plant

NOTHING = "nothing but a thermal cut-out"
LEASE_S = 60
LAST_WILL_S = 8
"""One and a half keep-alives of the guard connection, rounded up; at once when the process was killed."""


@dataclass(frozen=True, slots=True)
class Protection:
    """One output; `warning` is empty where something switches it off in every case."""

    chamber: str
    output: str
    service_dies: str
    broker_dies: str
    computer_dies: str
    warning: str = ""


@dataclass(frozen=True, slots=True)
class _Row:
    fits: Callable[[Output], bool]
    service_dies: str
    broker_dies: str
    computer_dies: str
    warning: str = ""


def _told_lease(output: Output) -> bool:
    return isinstance(output.target, MqttOutput) and output.target.lease


def _watched(output: Output) -> bool:
    return output.watched_by == "device" or _told_lease(output)


def _simulated(output: Output) -> bool:
    return isinstance(output.target, SimulatedOutput)


def _fan(output: Output) -> bool:
    return output.drives is Drive.FAN


_ITSELF = "the relay itself switches off when it hears nothing"
_STAYS = "nothing: it stays as it is, which does no harm"
_RUNS_ON = "nothing: it runs on, and the contents may freeze"
_LEASE = f"supervisor: its lease ends within {LEASE_S} s; bridge: "
_WILL = f"{_LEASE}the broker switches it off by last will, within {LAST_WILL_S} s"
_REMEDY = "a relay that switches off when it hears nothing (say so with `watched_by: device`, or `lease: true`)"
_TABLE = (
    _Row(_simulated, "nothing can be harmed: it exists only in the simulator", "the same", "the same"),
    _Row(_watched, f"{_LEASE}{_ITSELF}", _ITSELF, _ITSELF),
    _Row(_fan, f"{_LEASE}nothing until it is back", _STAYS, _STAYS),
    _Row(
        lambda output: output.drives is Drive.HEATER,
        _WILL,
        NOTHING,
        NOTHING,
        "the heater stays on when the computer or the broker dies while it is on. Fit an independent thermal cut-out, "
        f"and {_REMEDY}.",
    ),
    _Row(
        lambda output: output.drives is Drive.COMPRESSOR,
        _WILL,
        _RUNS_ON,
        _RUNS_ON,
        "the compressor runs on when the computer or the broker dies while it runs. Leave the machine's own thermostat "
        f"at its coldest safe setting, or fit {_REMEDY}.",
    ),
    _Row(
        lambda output: True,
        _WILL,
        _RUNS_ON,
        _RUNS_ON,
        "coolant goes on flowing when the computer or the broker dies meanwhile. Keep the reservoir no colder than the "
        f"beer can bear, or fit {_REMEDY}.",
    ),
)


def protections(plant: Plant) -> Iterator[Protection]:
    """One row for every output of a plant, in the file's order."""
    for chamber_name, chamber in plant.chambers.items():
        for name, output in chamber.outputs.items():
            row = next(row for row in _TABLE if row.fits(output))
            warning = f"{chamber_name}.{name}: {row.warning}" if row.warning else ""
            yield Protection(chamber_name, name, row.service_dies, row.broker_dies, row.computer_dies, warning)
