"""What a newcomer does after `coldside up`, on a real broker and real processes."""

import contextlib
import os
import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.commands.live import answer, barn, coldside
from tests.waiting import wait_until


@pytest.fixture(scope="module")
def state(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The state folder of a running barn."""
    folder = tmp_path_factory.mktemp("barn")
    with barn(folder):
        yield folder


def status_of(state: Path, chamber: str) -> dict[str, object]:
    """What the supervisor says of a chamber."""
    return answer("status", state=state)[f"coldside/barn/status/{chamber}"]


def phase_of(state: Path, batch: str) -> str:
    """Where a batch is."""
    return {one["batch"]: one["phase"] for one in answer("batch", "list", "--all", state=state)}[batch]


def test_status_shows_every_chamber_and_service(state: Path) -> None:
    shown = coldside("status", state=state).stdout
    assert all(name in shown for name in ("ale-fridge", "lager-fridge", "bath", "conical", "keg-fridge"))
    assert all(f"{name} well" in shown for name in ("bridge", "supervisor", "scheduler", "notifier", "recorder"))


def test_batch_is_started_held_resumed_skipped_and_stopped(state: Path) -> None:
    started = coldside("batch", "start", "41-oat-pale", "--chamber", "ale-fridge", "--profile", "weekend-crash",
                       "--original-gravity", "1.052", state=state)  # fmt: skip
    assert started.returncode == 0, started.stderr
    for verb, phase in (("hold", "held"), ("resume", "running"), ("skip", "running"), ("stop", "stopped")):
        done = coldside("batch", verb, "41-oat-pale", "--why", "to see", state=state)
        assert done.returncode == 0, done.stderr
        assert phase_of(state, "41-oat-pale") == phase


def test_second_batch_in_one_chamber_is_refused_with_the_reason(state: Path) -> None:
    assert (
        coldside(
            "batch", "start", "37-stout", "--chamber", "keg-fridge", "--profile", "serving", state=state
        ).returncode
        == 0
    )
    refused = coldside("batch", "start", "38-helles", "--chamber", "keg-fridge", "--profile", "serving", state=state)
    assert refused.returncode == 1
    assert "37-stout" in refused.stderr


def test_batch_that_does_not_exist_cannot_be_held(state: Path) -> None:
    refused = coldside("batch", "hold", "99-nothing", state=state)
    assert refused.returncode == 1
    assert "99-nothing" in refused.stderr


def test_person_sets_a_temperature_and_takes_it_back(state: Path) -> None:
    assert coldside("chamber", "set", "lager-fridge", "61 degF", "--for", "2 h", state=state).returncode == 0
    wait_until(lambda: status_of(state, "lager-fridge")["setpoint_c"] == pytest.approx(16.1, abs=0.1), "setpoint", 20)
    assert coldside("chamber", "unset", "lager-fridge", state=state).returncode == 0


def test_temperature_without_a_unit_is_refused_with_an_example(state: Path) -> None:
    refused = coldside("chamber", "set", "lager-fridge", "17", state=state)
    assert refused.returncode == 2
    assert "18 degC" in refused.stderr


def test_locked_out_chamber_says_so_until_it_is_unlocked(state: Path) -> None:
    assert coldside("chamber", "lock", "conical", "--for", "1 h", "--why", "cleaning", state=state).returncode == 0
    wait_until(lambda: status_of(state, "conical")["doing"] == "locked-out", "the lock-out", 20)
    assert coldside("chamber", "unlock", "conical", state=state).returncode == 0
    wait_until(lambda: status_of(state, "conical")["doing"] != "locked-out", "the lock-out's end", 20)


def test_killed_bridge_is_started_again(state: Path) -> None:
    before = pid_of("bridge", state)
    assert before
    os.kill(before, signal.SIGKILL)
    wait_until(lambda: pid_of("bridge", state) not in (0, before), "a new bridge", 30)
    wait_until(lambda: coldside("health", state=state).returncode == 0, "everybody well again", 40)


def test_listen_prints_a_probe_ready_to_paste(state: Path) -> None:
    heard = coldside("listen", "--for", "12", "--topics", "simulated/#", state=state)
    assert heard.returncode == 0, heard.stderr
    assert 'mqtt: "simulated/barn/' in heard.stdout
    assert "measures: temperature" in heard.stdout


def test_second_start_on_the_same_folder_is_refused(state: Path) -> None:
    refused = coldside("up", "--no-past", state=state)
    assert refused.returncode == 1
    assert "already runs" in refused.stderr


def pid_of(service: str, state: Path) -> int:
    """The process that runs a service on a state folder; 0 when there is none."""
    wanted = ["services.commands.member", service, str(state)]
    for line in Path("/proc").glob("[0-9]*/cmdline"):
        with contextlib.suppress(OSError):
            words = line.read_bytes().decode().split("\0")
            if words[1:2] == ["-m"] and all(word in words for word in wanted):
                return int(line.parent.name)
    return 0
