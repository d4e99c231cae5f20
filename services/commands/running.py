"""`coldside up` and `coldside run`: everything at once, or chosen services in this process."""

import importlib.metadata
import logging
import subprocess
import sys
from dataclasses import replace
from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from schemas.base import ServiceName
from schemas.plant import Plant
from schemas.plant_file import PlantFileError, load
from schemas.quantities import QuantityError, magnitude
from services.commands.client import Unreachable, where
from services.commands.common import BROKER, STATE, TROUBLE, USAGE, fail, out
from services.commands.parts import RUNNABLE, part_of
from services.runtime.address import BrokerAddress
from services.runtime.compose import AlreadyRunning, Surroundings, run_services
from services.runtime.family import BROKER_PLACE, Plan, become_keeper
from services.runtime.log import log_to_file, log_to_stderr

FOLDER = Path("state")
STORE_FILE = "history.sqlite"
APART = (ServiceName.BRIDGE, ServiceName.SUPERVISOR)
TOGETHER = (ServiceName.SCHEDULER, ServiceName.NOTIFIER, ServiceName.RECORDER)


def up(
    plant: Annotated[
        Path | None, typer.Option("--plant", help="Your plant file; without it, a simulated barn.")
    ] = None,
    broker: BROKER = "",
    state: STATE = FOLDER,
    lasting: Annotated[str, typer.Option("--for", help="Stop by itself after a while, such as '20 s'.")] = "",
    each: Annotated[bool, typer.Option("--each", help="A process for each service.")] = False,
    past: Annotated[bool, typer.Option("--past/--no-past", help="Give the simulated barn two weeks of past.")] = True,
) -> None:
    """Start the broker and all services; Ctrl-C stops them and leaves every output off."""
    for_s = _seconds(lasting)
    path = plant or barn_file()
    described = _load(path)
    if plant is None and past and not (state / STORE_FILE).exists():
        _make_past(path, state)
    address = broker or (described.broker.address if described.broker else "")
    services = [*APART, *TOGETHER, *((ServiceName.SIMULATOR,) if _simulated(described) else ())]
    become_keeper(
        Plan(
            members=_members(services, each, path, state, address or BROKER_PLACE),
            state_folder=str(state),
            embedded_broker=not address,
            for_s=for_s,
            greeting=_greeting(described, state, address or BROKER_PLACE),
        )
    )


def run(
    services: Annotated[list[ServiceName], typer.Argument(help="One or more services, to run in this process.")],
    plant: Annotated[Path, typer.Option("--plant", help="The plant file.")],
    broker: BROKER = "",
    state: STATE = FOLDER,
    metrics_port: Annotated[int, typer.Option("--metrics-port", help="Prometheus metrics on loopback; 0: none.")] = 0,
    log: Annotated[Path | None, typer.Option("--log", help="A file for the log, turned over at 2 MB.")] = None,
) -> None:
    """Run chosen services in this process, until a signal."""
    name = "+".join(services)
    log_to_file(name, log) if log else log_to_stderr(name)
    described = _load(plant)
    unknown = [name for name in services if name not in RUNNABLE]
    if unknown:
        raise fail(f"cannot run {', '.join(unknown)} here; these can be: {', '.join(RUNNABLE)}", USAGE)
    surroundings = Surroundings(
        site=described.site.name,
        broker=_address(broker, described, state),
        state_folder=state,
        version=importlib.metadata.version("coldside"),
        metrics_port=metrics_port,
    )
    try:
        status = run_services([part_of(name, described, plant, surroundings) for name in services], surroundings)
    except (AlreadyRunning, OSError) as error:
        raise fail(str(error)) from error
    logging.shutdown()
    raise typer.Exit(status)


def barn_file() -> Path:
    """The demonstration plant, which comes along."""
    return Path(str(files("services.simulator").joinpath("barn.yaml")))


def _load(path: Path) -> Plant:
    try:
        return load(path)
    except PlantFileError as error:
        raise fail(str(error), USAGE) from error


def _seconds(lasting: str) -> float | None:
    if not lasting:
        return None
    try:
        return magnitude(lasting if not lasting[-1].isdigit() else f"{lasting} s", "second")
    except QuantityError as error:
        raise fail(str(error), USAGE) from error


def _address(broker: str, plant: Plant, state: Path) -> BrokerAddress:
    described = plant.broker
    try:
        if broker or described is None:
            return where(broker, state)
        password = Path(described.password_file).read_text(encoding="utf-8").strip() if described.password_file else ""
        address = BrokerAddress.from_url(described.address, password)
    except (Unreachable, ValueError, OSError) as error:
        raise fail(str(error), USAGE) from error
    ca_file = Path(described.ca_file) if described.ca_file else None
    return replace(address, username=described.user or address.username, ca_file=ca_file)


def _simulated(plant: Plant) -> bool:
    sources = [probe.source for chamber in plant.chambers.values() for probe in chamber.probes.values()]
    return any(hasattr(source, "simulated") for source in sources)


def _members(services: list[ServiceName], each: bool, plant: Path, state: Path, broker: str) -> dict[str, list[str]]:
    groups = [[name] for name in services if each or name in APART or name is ServiceName.SIMULATOR]
    if not each:
        groups.append([name for name in services if name in TOGETHER])
    base = [sys.executable, "-m", "services.cli", "run"]
    options = ["--plant", str(plant), "--state", str(state), "--broker", broker]
    names = {"+".join(group): group for group in groups}
    return {
        name: [*base, *group, *options, "--log", str(state / "log" / f"{name}.jsonl")] for name, group in names.items()
    }


def _make_past(plant: Path, state: Path) -> None:
    out.print("Giving the simulated barn two weeks of past (once, about half a minute) ...", style="dim")
    command = [sys.executable, "-m", "services.rehearsal.past", str(plant), str(state)]
    if subprocess.run(command, check=False).returncode:
        raise fail(f"the past could not be made; `coldside up --no-past --state {state}` goes without", TROUBLE)


def _greeting(plant: Plant, state: Path, broker: str) -> str:
    option = "" if state == FOLDER else f" --state {state}"
    return "\n".join(
        (
            f"\ncoldside runs '{plant.site.name}' with {len(plant.chambers)} chambers; its broker is {broker}",
            f"  coldside status --watch{option}   every chamber, what it is doing and why",
            f"  coldside batch list{option}       which beer is where in its programme",
            f"  coldside alarm list{option}       what needs a person",
            f"  history: {state / STORE_FILE}   logs: {state / 'log'}",
            "It is no safety device: every heater needs an independent thermal cut-out, the room a CO2 alarm.",
            "Ctrl-C stops everything and leaves every output off.\n",
        )
    )
