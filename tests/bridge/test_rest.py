"""A compressor whose lease ended here rests here, whatever is commanded by somebody who does not know it yet."""

from collections import Counter
from datetime import UTC, datetime, timedelta

from schemas.addresses import SimulatedOutput
from schemas.control import Command
from schemas.plant import Drive, Output
from services.bridge.drivers.driver import Place
from services.bridge.outputs import OutputChannel

START = datetime(2026, 3, 1, tzinfo=UTC)


def channel(drives: Drive) -> OutputChannel:
    """An output that was switched on for 60 s, and whose lease has ended."""
    place = Place("barn", "ale", "cool")
    found = OutputChannel(place, Output(drives=drives, target=SimulatedOutput(simulated=True)), guards=False)
    list(found.open(START, 0.0))
    say(found, 1.0)
    list(found.look(START + timedelta(seconds=62), 62.0, Counter()))
    assert not found.on
    return found


def say(found: OutputChannel, at_s: float) -> Counter[str]:
    """Commands it on; returns what was counted."""
    counts: Counter[str] = Counter()
    now = START + timedelta(seconds=at_s)
    order = Command(at=now, source="supervisor", chamber="ale", output="cool", level=1.0, why="cool")
    list(found.command(order, now, at_s, counts))
    return counts


def test_a_compressor_is_not_switched_on_within_its_rest_after_its_lease_ended() -> None:
    found = channel(Drive.COMPRESSOR)
    assert say(found, 90.0)["command_resting"] == 1
    assert not found.on
    say(found, 363.0)
    assert found.on


def test_a_heater_needs_no_rest() -> None:
    found = channel(Drive.HEATER)
    say(found, 90.0)
    assert found.on
