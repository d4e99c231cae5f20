"""`coldside up` and `coldside run`: everything at once, or chosen services in this process."""

import os
import subprocess
import sys
from importlib.resources import files
from pathlib import Path
from typing import Annotated

import typer

from schemas.base import ServiceName
from schemas.plant import Plant
from schemas.plant_file import PlantFileError, load
from schemas.quantities import QuantityError, magnitude
from services.commands.common import BROKER, STATE, TROUBLE, USAGE, fail, out
from services.commands.doorstep import Opening, doorstep
from services.commands.member import Membership, Unusable, run_member
from services.console.settings import DEFAULT_PORT, LOOPBACK
from services.runtime.broker import ACCOUNTS
from services.runtime.compose import AlreadyRunning, sole_owner
from services.runtime.credentials import FOLDER as CREDENTIALS
from services.runtime.family import BROKER_PLACE, Plan, become_keeper

FOLDER = Path("state")
CONSOLE_PORT = Annotated[
    int | None, typer.Option("--console-port", help=f"{DEFAULT_PORT} unless given; 0: any.", min=0, max=65535)
]
CONSOLE_HOST = Annotated[str, typer.Option("--console-host", help="Another address, once an operator has a password.")]
SPARING = {"OPENBLAS_NUM_THREADS": "1", "MALLOC_ARENA_MAX": "2"}
"""For the services' processes: small matrices gain nothing from more threads, and heaps of their own cost memory."""
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
    secure: Annotated[
        Path | None, typer.Option("--secure", help="What `coldside secure` made: nobody else is let in.")
    ] = None,
    past: Annotated[bool, typer.Option("--past/--no-past", help="Give the simulated barn two weeks of past.")] = True,
    console: Annotated[
        Opening, typer.Option("--console", help="Whether pages are served: from the first visit on, always, or not.")
    ] = Opening.ON_VISIT,
    console_port: CONSOLE_PORT = None,
    console_host: CONSOLE_HOST = LOOPBACK,
) -> None:
    """Start the broker and all services; Ctrl-C stops them and leaves every output off."""
    for_s = _seconds(lasting)
    path = plant or barn_file()
    described = _load(path)
    _refuse_second(state)
    if plant is None and past and not (state / STORE_FILE).exists():
        _make_past(path, state)
    os.environ.update({name: value for name, value in SPARING.items() if name not in os.environ})
    address = broker or (described.broker.address if described.broker else "")
    if secure is not None:
        os.environ[CREDENTIALS] = str(_accounts_in(secure))
    services = _services(described)
    door = doorstep(console, console_host, console_port, path, state, address or BROKER_PLACE)
    become_keeper(
        Plan(
            members=_members(services, each, path, state, address or BROKER_PLACE) | door.members,
            visited=door.visited,
            socket_fd=door.socket_fd,
            state_folder=str(state),
            embedded_broker=not address,
            secure_folder=str(secure or ""),
            for_s=for_s,
            greeting=_greeting(described, state, address or BROKER_PLACE, door.words),
        )
    )


def run(
    services: Annotated[list[ServiceName], typer.Argument(help="One or more services, to run in this process.")],
    plant: Annotated[Path, typer.Option("--plant", help="The plant file.")],
    broker: BROKER = "",
    state: STATE = FOLDER,
    metrics_port: Annotated[int, typer.Option("--metrics-port", help="Prometheus metrics on loopback; 0: none.")] = 0,
    log: Annotated[Path | None, typer.Option("--log", help="A file for the log, turned over at 2 MB.")] = None,
    console_port: CONSOLE_PORT = None,
    console_host: CONSOLE_HOST = LOOPBACK,
) -> None:
    """Run chosen services in this process, until a signal."""
    member = Membership(services=services, plant=plant, state=state, broker=broker, metrics_port=metrics_port, log=log)
    try:
        if services == [ServiceName.CONSOLE]:
            raise typer.Exit(_run_console(member, console_host, console_port))
        raise typer.Exit(run_member(member))
    except Unusable as error:
        raise fail(str(error), USAGE) from error
    except (AlreadyRunning, OSError, ValueError) as error:
        raise fail(str(error)) from error


def _run_console(member: Membership, host: str, port: int | None) -> int:
    from services.commands.console import Stand, run_console  # heavy: only who wants it pays for it

    return run_console(member, Stand(host=host, port=DEFAULT_PORT if port is None else port))


def barn_file() -> Path:
    """The demonstration plant, which comes along."""
    return Path(str(files("services.simulator").joinpath("barn.yaml")))


def _load(path: Path) -> Plant:
    try:
        return load(path)
    except PlantFileError as error:
        raise fail(str(error), USAGE) from error


def _accounts_in(secure: Path) -> Path:
    if not (secure / ACCOUNTS).exists():
        raise fail(f"{secure} has no accounts; `coldside secure --folder {secure}` makes them", USAGE)
    return (secure / "accounts").resolve()


def _seconds(lasting: str) -> float | None:
    if not lasting:
        return None
    try:
        return magnitude(lasting if not lasting[-1].isdigit() else f"{lasting} s", "second")
    except QuantityError as error:
        raise fail(str(error), USAGE) from error


def _simulated(plant: Plant) -> bool:
    sources = [probe.source for chamber in plant.chambers.values() for probe in chamber.probes.values()]
    return any(hasattr(source, "simulated") for source in sources)


def _services(plant: Plant) -> list[ServiceName]:
    """In the order in which they start; they stop in the opposite one, so that simulated relays hear the last word.

    A deputy comes along where somebody is to be told, a simulator where something is simulated.
    """
    simulator = [ServiceName.SIMULATOR] if _simulated(plant) else []
    deputy = [ServiceName.DEPUTY] if plant.notifier.routes else []
    return [*simulator, *APART, *TOGETHER, *deputy]


def _members(services: list[ServiceName], each: bool, plant: Path, state: Path, broker: str) -> dict[str, list[str]]:
    groups = [[name] for name in services if each or name not in TOGETHER]
    if not each:
        groups.append([name for name in services if name in TOGETHER])
    base = [sys.executable, "-m", "services.commands.member"]
    options = ["--plant", str(plant), "--state", str(state), "--broker", broker]
    names = {"+".join(group): group for group in groups}
    return {
        name: [*base, *group, *options, "--log", str(state / "log" / f"{name}.jsonl")] for name, group in names.items()
    }


def _refuse_second(state: Path) -> None:
    if not (state / f"{ServiceName.BRIDGE}.lock").exists():
        return
    try:
        with sole_owner([state / f"{ServiceName.BRIDGE}.lock"]):
            return
    except AlreadyRunning as error:
        raise fail(f"coldside already runs with the state in {state}: stop it, or name another --state") from error


def _make_past(plant: Path, state: Path) -> None:
    out.print("Giving the simulated barn two weeks of past (once, about half a minute) ...", style="dim")
    command = [sys.executable, "-m", "services.rehearsal.past", str(plant), str(state)]
    if subprocess.run(command, check=False).returncode:
        raise fail(f"the past could not be made; `coldside up --no-past --state {state}` goes without", TROUBLE)


def _history(plant: Plant, state: Path) -> str:
    influx = plant.history.influx
    return influx.address if influx else str(state / STORE_FILE)


def _greeting(plant: Plant, state: Path, broker: str, console: str) -> str:
    option = "" if state == FOLDER else f" --state {state}"
    return "\n".join(
        (
            f"\ncoldside runs '{plant.site.name}' with {len(plant.chambers)} chambers; its broker is {broker}",
            console,
            f"  coldside status --watch{option}   every chamber, what it is doing and why",
            f"  coldside batch list{option}       which beer is where in its programme",
            f"  coldside alarm list{option}       what needs a person",
            f"  history: {_history(plant, state)}   logs: {state / 'log'}",
            "It is no safety device: every heater needs an independent thermal cut-out, the room a CO2 alarm.",
            "Ctrl-C stops everything and leaves every output off.\n",
        )
    )
