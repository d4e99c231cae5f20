"""Starting and stopping, and what is wrong on the command line."""

import json
from pathlib import Path

import pytest

from tests.commands.live import barn, coldside

SOUND = Path("services/simulator/barn.yaml").read_text(encoding="utf-8")


def test_up_for_a_while_ends_by_itself_with_status_0(tmp_path: Path) -> None:
    done = coldside("up", "--no-past", "--for", "6 s", state=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "coldside status" in done.stdout


def test_stopping_leaves_every_relay_off(tmp_path: Path) -> None:
    with barn(tmp_path):
        coldside("chamber", "set", "ale-fridge", "25 degC", state=tmp_path)
    levels = json.loads((tmp_path / "simulator.json").read_text())["snapshot"]["levels"]
    assert levels
    assert not any(levels.values())


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("kind: fridge", "kind: frige"), ["plant.yaml:12", "'frige'", "fridge"]),
        (("volume: 23 L", "volume: 23"), ["plant.yaml:16", "23 L"]),
        (("cooled_by: bath", "cooled_by: bth"), ["'bth'", "name one of bath"]),
    ],
)
def test_bad_plant_file_starts_nothing(tmp_path: Path, change: tuple[str, str], words: list[str]) -> None:
    plant, state = tmp_path / "plant.yaml", tmp_path / "state"
    plant.write_text(SOUND.replace(*change, 1))
    refused = coldside("up", "--plant", str(plant), state=state)
    assert refused.returncode == 2
    assert all(word in refused.stderr for word in words), refused.stderr
    assert not state.exists()


def test_check_tells_every_mistake_with_status_2(tmp_path: Path) -> None:
    plant = tmp_path / "plant.yaml"
    plant.write_text(SOUND.replace("23 L", "23 kg").replace("10 A", "10 B"))
    told = coldside("check", str(plant), "--json")
    assert told.returncode == 2
    assert len(json.loads(told.stdout)["problems"]) == 2


def test_check_says_what_protects_each_output() -> None:
    told = coldside("check", "services/simulator/barn.yaml")
    assert told.returncode == 0
    assert "ale-fridge.heat" in told.stdout
    assert "independent thermal cut-out" in told.stdout


@pytest.mark.parametrize("command", [("status",), ("batch", "list"), ("alarm", "list"), ("health",)])
def test_command_without_a_running_site_says_what_to_do(tmp_path: Path, command: tuple[str, ...]) -> None:
    refused = coldside(*command, state=tmp_path)
    assert refused.returncode == 1
    assert "coldside up" in refused.stderr


def test_broker_that_does_not_answer_is_named() -> None:
    refused = coldside("status", "--broker", "mqtt://127.0.0.1:9")
    assert refused.returncode == 1
    assert "mqtt://127.0.0.1:9" in refused.stderr


def test_unknown_service_cannot_be_run(tmp_path: Path) -> None:
    refused = coldside("run", "baker", "--plant", "services/simulator/barn.yaml", state=tmp_path)
    assert refused.returncode == 2


def test_unknown_profile_names_those_that_come_along(tmp_path: Path) -> None:
    refused = coldside("rehearse", "nosuch", "--chamber", "ale-fridge")
    assert refused.returncode == 2
    assert "weekend-crash" in refused.stderr


def test_rehearsal_tells_steps_and_a_verdict() -> None:
    told = coldside("rehearse", "serving", "--chamber", "keg-fridge", "--days", "0.5", "--coarse", "--json")
    assert told.returncode == 0, told.stderr
    answer = json.loads(told.stdout)
    assert answer["steps"][0][0]
    assert answer["verdict"]
    assert len(answer["curve"]) == 72


def test_rehearsal_in_an_unknown_chamber_is_refused() -> None:
    refused = coldside("rehearse", "serving", "--chamber", "cellar")
    assert refused.returncode == 1
    assert "cellar" in refused.stderr
