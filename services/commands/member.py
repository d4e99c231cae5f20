"""Runs chosen services in this process: what `coldside run` does, and what the keeper starts for each of its members.

Imports little, because each process pays for it in memory.
"""

import argparse
import importlib.metadata
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from schemas.base import ServiceName
from schemas.plant import Plant
from schemas.plant_file import PlantFileError, load
from services.commands.parts import RUNNABLE, part_of
from services.runtime.address import BrokerAddress
from services.runtime.broker import find_address
from services.runtime.compose import AlreadyRunning, Surroundings, run_services
from services.runtime.credentials import knock, secret_in
from services.runtime.log import log_to_file, log_to_stderr

USAGE = 2
TROUBLE = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Membership:
    """Which services, of which plant, and where they find broker and state. No `broker`: as the plant file says."""

    services: Sequence[ServiceName]
    plant: Path
    state: Path
    broker: str = ""
    metrics_port: int = 0
    log: Path | None = None


class Unusable(ValueError):
    """Something named on the command line cannot be used; the text says what would be right."""


def run_member(member: Membership) -> int:
    """Until a signal; returns the exit status. Raises Unusable and AlreadyRunning, before anything was started."""
    name = "+".join(member.services)
    unknown = [service for service in member.services if service not in RUNNABLE]
    if unknown:
        raise Unusable(f"{', '.join(unknown)} cannot be run here; these can: {', '.join(RUNNABLE)}")
    plant = plant_of(member.plant)
    surroundings = Surroundings(
        site=plant.site.name,
        broker=address_of(member, plant),
        state_folder=member.state,
        version=importlib.metadata.version("coldside"),
        metrics_port=member.metrics_port,
    )
    log_to_file(name, member.log) if member.log else log_to_stderr(name)
    for service in member.services:
        knock(surroundings.broker_for(service))
    parts = [part_of(service, plant, member.plant, surroundings) for service in member.services]
    return run_services(parts, surroundings)


def plant_of(path: Path) -> Plant:
    """What the plant file says. Raises Unusable."""
    try:
        return load(path)
    except PlantFileError as error:
        raise Unusable(str(error)) from error


def address_of(member: Membership, plant: Plant) -> BrokerAddress:
    """The broker that is meant: named, in the plant file, or that of the state folder. Raises Unusable."""
    described = plant.broker
    named = member.broker or (described.address if described else "") or find_address(member.state)
    if named is None:
        raise Unusable("no broker: name one with --broker mqtt://HOST, or in the plant file")
    if described is None or member.broker:
        return BrokerAddress.from_url(named)
    password = secret_in(Path(described.password_file)) if described.password_file else ""
    address = BrokerAddress.from_url(named, password)
    ca_file = Path(described.ca_file) if described.ca_file else None
    return replace(address, username=described.user or address.username, ca_file=ca_file)


def main() -> int:
    """Reads the command line."""
    parser = argparse.ArgumentParser(prog="coldside run")
    parser.add_argument("services", nargs="+", type=ServiceName, metavar="SERVICE")
    parser.add_argument("--plant", type=Path, required=True)
    parser.add_argument("--state", type=Path, default=Path("state"))
    parser.add_argument("--broker", default="")
    parser.add_argument("--metrics-port", type=int, default=0)
    parser.add_argument("--log", type=Path)
    try:
        return run_member(Membership(**vars(parser.parse_args())))
    except (Unusable, AlreadyRunning, OSError, ValueError) as error:
        print(error, file=sys.stderr)
        return USAGE if isinstance(error, ValueError) else TROUBLE


if __name__ == "__main__":
    sys.exit(main())
