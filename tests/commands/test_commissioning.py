"""`coldside commission` over a real broker: from the first question to the report, stopped, and cut short."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from services.cli import app
from services.runtime.address import BrokerAddress
from services.simulator.models import FridgeModel
from services.supervisor.controllers import controller_for
from tests.brokers import embedded_broker
from tests.commands.room import Room, Visitor, visitor
from tests.supervisor.bench import FRIDGE, plant_of

SWAPPED = {"ale": FridgeModel(outputs={"cool": "heater", "heat": "compressor", "fan": "fan"})}


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BrokerAddress]:
    with embedded_broker(Path(tmp_path_factory.mktemp("broker"))) as address:
        yield address


@pytest.fixture
def room(broker: BrokerAddress) -> Iterator[Room]:
    made = Room(broker, plant_of(ale=FRIDGE), controllers=controller_for)
    yield from settled(made)


@pytest.fixture
def miswired(broker: BrokerAddress) -> Iterator[Room]:
    made = Room(broker, plant_of(ale=FRIDGE), SWAPPED, controllers=controller_for)
    yield from settled(made)


def settled(room: Room) -> Iterator[Room]:
    """A quarter of an hour of ordinary control."""
    room.until(lambda: room.link.listening, "the broker")
    room.ask("ale", 18.0)
    room.run(minutes=15)
    room.answer()
    yield room
    room.link.close()


def under_way(room: Room, made: Visitor) -> None:
    """Until the visitor has seen how far the run is."""
    room.until(lambda: made.gone or room.supervisor.boards["ale"].course is not None, "the run to begin")
    room.until(lambda: made.gone or "Part 1 of 3" in made.told, "its progress to be seen")
    assert not made.gone, made.told


def test_sound_fridge_gets_a_report_with_figures_and_a_picture(
    room: Room, broker: BrokerAddress, tmp_path: Path
) -> None:
    with visitor(broker, tmp_path) as made:
        under_way(room, made)
        room.until(lambda: made.gone, "the command to end", minutes_a_turn=1)
        assert made.process.returncode == 0, made.told
    assert "Everything answered as it should." in made.said
    page = made.report.read_text(encoding="utf-8")
    assert all(words in page for words in ("by Ada", "<svg", "Heat that the heater gives", "thermal cut-out"))
    assert "Part 3 of 3" in made.told


def test_swapped_relays_are_named_and_end_the_command_with_status_1(
    miswired: Room, broker: BrokerAddress, tmp_path: Path
) -> None:
    with visitor(broker, tmp_path) as made:
        under_way(miswired, made)
        miswired.until(lambda: made.gone, "the command to end", minutes_a_turn=1)
        assert made.process.returncode == 1
    assert "Relays are swapped" in made.said
    assert "Relays are swapped" in made.report.read_text(encoding="utf-8")


def test_interrupted_it_stops_the_run_and_hands_back_to_control(
    room: Room, broker: BrokerAddress, tmp_path: Path
) -> None:
    with visitor(broker, tmp_path) as made:
        under_way(room, made)
        room.run(minutes=7)
        assert room.level("heat") == 1.0
        made.interrupt()
        room.until(lambda: made.gone, "the command to end")
        assert made.process.returncode == 130
    assert room.supervisor.boards["ale"].course is None
    assert room.level("heat") == 0.0
    assert "stopped before its turn was over" in made.said


def test_restarted_supervisor_ends_it_and_says_so(room: Room, broker: BrokerAddress, tmp_path: Path) -> None:
    with visitor(broker, tmp_path) as made:
        under_way(room, made)
        room.build(room.supervisor.snapshot())
        room.until(lambda: made.gone, "the command to end", minutes_a_turn=1)
        assert made.process.returncode == 1
    assert "cut short" in made.said
    assert not made.report.exists()


def test_run_that_is_under_way_can_be_stopped_from_elsewhere(room: Room, broker: BrokerAddress, tmp_path: Path) -> None:
    with visitor(broker, tmp_path) as made:
        under_way(room, made)
        other = tmp_path / "other"
        other.mkdir()
        with visitor(broker, other, "--stop") as second:
            room.until(lambda: second.gone and made.gone, "both to end")
        assert (second.process.returncode, made.process.returncode) == (0, 1)
    assert "Stopped; ordinary control goes on." in second.said


def test_report_without_a_folder_is_refused_before_anything_moves(tmp_path: Path) -> None:
    words = ["commission", "ale", "--report", str(tmp_path / "none" / "page.html"), "--broker", "mqtt://x:1"]
    refused = CliRunner().invoke(app, words)
    assert refused.exit_code == 2
    assert "make it first" in refused.stderr
