"""What the bridge is made of."""

from pathlib import Path

from schemas.base import ServiceName
from schemas.plant import Plant
from services.bridge.core import Bridge, BridgeState
from services.bridge.shell import Shell
from services.runtime.address import BrokerAddress
from services.runtime.compose import Part
from services.runtime.host import Options
from services.runtime.plant_watch import PlantWatch


def build(plant: Plant, restored: BridgeState | None = None) -> Bridge:
    """A bridge alone, as for a rehearsal: nobody guards its outputs, and nothing is fetched."""
    return Bridge(plant, restored)


def part(plant: Plant, address: BrokerAddress, plant_file: Path | None = None) -> Part[BridgeState]:
    """A bridge for life, with its shell; follows the plant file when one is named."""
    shell = Shell(plant, address)
    watch = None if plant_file is None else PlantWatch(plant_file)
    options = Options(poll=shell.poll, watch=watch, close=shell.close)
    return Part(name=ServiceName.BRIDGE, build=shell.build, state=BridgeState, options=options)
