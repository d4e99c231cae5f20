"""What the console is made of: its desk, with the store, reports, rehearsals and files of the other services."""

import argparse
import importlib.metadata
import socket
import sys
from dataclasses import dataclass
from pathlib import Path

from schemas.base import ServiceName
from schemas.plant import Plant
from services.commands.bundles import FilesToTake
from services.commands.children import Children, Library, RehearsalsByChild, ReportsByChild
from services.commands.member import TROUBLE, USAGE, Membership, Unusable, address_of, plant_of
from services.commands.overheard import Overheard
from services.commands.recorded import Recorded
from services.console.accounts import Accounts
from services.console.app import Desk
from services.console.link import BrokerBus, Ground
from services.console.live import Live
from services.console.serve import prepare, serve
from services.console.settings import DEFAULT_PORT, LOOPBACK, Settings
from services.console.sources import Claim, NotUsable
from services.notifier import links
from services.runtime.address import BrokerAddress
from services.runtime.clock import Clock, SystemClock
from services.runtime.compose import AlreadyRunning, sole_owner
from services.runtime.credentials import admitted
from services.runtime.log import log_to_file, log_to_stderr


@dataclass(frozen=True, slots=True, kw_only=True)
class Stand:
    """Where the console listens: at an address, or on a socket that somebody else has bound already (`fd`)."""

    host: str = LOOPBACK
    port: int = DEFAULT_PORT
    fd: int | None = None
    idle_s: float | None = None


class MessageLinks:
    """The notifier's, read as it writes them."""

    def read(self, token: str) -> Claim:
        """What the link claims. Raises NotUsable."""
        try:
            claim = links.read(token)
        except links.BadToken as error:
            raise NotUsable(str(error)) from error
        return Claim(claim.chamber, claim.name, claim.raised, claim.person, claim.expires)


def run_console(member: Membership, stand: Stand) -> int:
    """Until a signal, or until nobody has come for a while. Raises Unusable, AlreadyRunning, NotSafe and OSError."""
    log_to_file(ServiceName.CONSOLE, member.log) if member.log else log_to_stderr(ServiceName.CONSOLE)
    plant = plant_of(member.plant)
    with sole_owner([member.state / f"{ServiceName.CONSOLE}.lock"]), _listening(stand) as listening:
        prepare(member.state)
        settings = Settings(
            state_folder=member.state,
            plant_path=member.plant,
            version=importlib.metadata.version("coldside"),
            host=listening.getsockname()[0],
            idle_s=stand.idle_s,
        )
        desk, bus = desk_of(plant, admitted(address_of(member, plant), ServiceName.CONSOLE), settings, SystemClock())
        serve(desk, bus, listening)
    return 0


def desk_of(plant: Plant, broker: BrokerAddress, settings: Settings, clock: Clock) -> tuple[Desk, BrokerBus]:
    """The desk, and its bus, which is to be started and stopped."""
    live = Live(plant)
    bus = BrokerBus(
        live,
        Ground(
            broker=broker,
            plant_path=settings.plant_path,
            state_folder=settings.state_folder,
            version=settings.version,
            clock=clock,
            missed=settings.idle_s is None,
        ),
    )
    recorded = Recorded(lambda: live.plant, settings.state_folder, clock)
    children = Children()
    desk = Desk(
        live=live,
        bus=bus,
        history=recorded,
        reports=ReportsByChild(children, recorded, settings.plant_path),
        rehearsals=RehearsalsByChild(children, live, settings.plant_path),
        profiles=Library(),
        bundles=FilesToTake(live, settings.state_folder, clock),
        links=MessageLinks(),
        accounts=Accounts(settings.state_folder),
        settings=settings,
        clock=clock,
        ears=Overheard(broker),
    )
    return desk, bus


def _listening(stand: Stand) -> socket.socket:
    if stand.fd is not None:
        return socket.socket(fileno=stand.fd)
    family = socket.AF_INET6 if ":" in stand.host else socket.AF_INET
    return socket.create_server((stand.host, stand.port), family=family)


def main() -> int:
    """Reads the command line."""
    parser = argparse.ArgumentParser(prog="coldside run console")
    parser.add_argument("--plant", type=Path, required=True)
    parser.add_argument("--state", type=Path, default=Path("state"))
    parser.add_argument("--broker", default="")
    parser.add_argument("--log", type=Path)
    parser.add_argument("--host", default=LOOPBACK)
    parser.add_argument("--port", type=int, default=DEFAULT_PORT)
    parser.add_argument("--fd", type=int, help="A listening socket that was inherited.")
    parser.add_argument("--idle", type=float, help="Ends after so many seconds without a visitor.")
    given = parser.parse_args()
    member = Membership(
        services=[ServiceName.CONSOLE], plant=given.plant, state=given.state, broker=given.broker, log=given.log
    )
    try:
        return run_console(member, Stand(host=given.host, port=given.port, fd=given.fd, idle_s=given.idle))
    except (Unusable, AlreadyRunning, OSError, ValueError) as error:
        print(error, file=sys.stderr)
        return USAGE if isinstance(error, ValueError) else TROUBLE


if __name__ == "__main__":
    sys.exit(main())
