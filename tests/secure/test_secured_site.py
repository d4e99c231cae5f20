"""A whole barn behind closed doors, and what people see of secrets: where they lie, never what they are."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from schemas.plant import Plant
from services.cli import app
from services.commands.running import barn_file
from services.runtime.clock import SystemClock
from services.runtime.credentials import FOLDER
from services.secure.making import Wishes
from services.secure.rights import Holder
from tests.commands.live import answer, barn, coldside
from tests.secure.site import PLANT, closed_mosquitto, secured, stranger
from tests.secure.visitor import Visitor
from tests.waiting import wait_until


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """The folder of a barn that runs with `coldside up --secure`: `state`, `secure`."""
    folder = tmp_path_factory.mktemp("closed")
    folder.chmod(0o755)
    made = secure("--plant", str(barn_file()), "--folder", str(folder / "secure"))
    assert made.exit_code == 0, made.output
    with barn(folder / "state", "--secure", str(folder / "secure"), "--console", "off"):
        yield folder


def passwords(secure: Path) -> list[str]:
    """Everything that must stay a secret, line by line."""
    files = [*secure.glob("accounts/*/password"), *secure.glob("store/*"), *secure.rglob("key.pem")]
    return [line for path in files for line in path.read_text().splitlines() if len(line) > 20 and "-----" not in line]


def test_every_service_does_its_work_with_its_own_account(site: Path) -> None:
    wait_until(lambda: coldside("health", state=site / "state").returncode == 0, "everybody well")
    refusals = [line for line in (site / "state/broker/nats.log").read_text().splitlines() if "Violation" in line]
    assert not refusals


def test_person_with_the_accounts_starts_a_batch(site: Path) -> None:
    done = coldside(
        "batch", "start", "41-oat-pale", "--chamber", "ale-fridge", "--profile", "serving", state=site / "state"
    )
    assert done.returncode == 0, done.stderr
    assert answer("batch", "list", state=site / "state")[0]["batch"] == "41-oat-pale"


def test_person_without_an_account_is_told_that_the_broker_refuses(site: Path) -> None:
    address = (site / "state/broker.json").read_text().split('"')[3]
    refused = coldside("status", "--broker", address)
    assert refused.returncode == 1
    assert "refused: Not authorized" in refused.stderr


def test_no_secret_stands_in_a_log_the_state_or_a_process_list(site: Path) -> None:
    known = passwords(site / "secure")
    assert len(known) > 20
    texts = [path.read_bytes() for path in (site / "state").rglob("*") if path.is_file()]
    texts += [path.read_bytes() for path in Path("/proc").glob("[0-9]*/cmdline")]
    assert not [one for one in known if any(one.encode() in text for text in texts)]


def test_what_is_printed_names_files_and_devices_and_no_secret(tmp_path: Path) -> None:
    (tmp_path / "plant.yaml").write_text(PLANT)
    place = ("--plant", str(tmp_path / "plant.yaml"), "--folder", str(tmp_path / "s"))
    said = secure(*place, "--host", "barn.example").output
    assert not [one for one in passwords(tmp_path / "s") if one in said]
    for wanted in ("device-keg-board", "port 8883, TLS, at barn.example", "may say    kegs/temperature"):
        assert wanted in said
    shown = secure(*place, "--show", "device-keg-board").output.strip()
    assert shown == (tmp_path / "s/accounts/device-keg-board/password").read_text()


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (("--rotate", "nobody"), 2, "no account is called nobody; there are bridge"),
        (("--show", "nobody"), 2, "no account is called 'nobody'"),
        (("--show", "../store"), 2, "no account is called"),
        (("--folder", "/proc/none"), 1, "/proc/none"),
        (("--plant", "/nowhere.yaml"), 2, "nowhere.yaml"),
    ],
)
def test_bad_input_has_a_clear_word_and_an_exit_code(
    tmp_path: Path, words: tuple[str, ...], code: int, says: str
) -> None:
    (tmp_path / "plant.yaml").write_text(PLANT)
    place = ("--plant", str(tmp_path / "plant.yaml"), "--folder", str(tmp_path / "s"))
    refused = secure(*place, *words)
    assert refused.exit_code == code
    assert says in refused.output.replace("\n", "")


def test_broker_of_another_authority_ends_a_service_at_once(tmp_path: Path, shed: Plant) -> None:
    for name in ("one", "two"):
        secured(tmp_path / name, shed, now=SystemClock().now())
    with closed_mosquitto(tmp_path / "one", tmp_path / "data") as door:
        ended = run_bridge(tmp_path, tmp_path / "two/accounts", door.services.port)
    assert ended.returncode == 2
    assert "is vouched for by another authority" in ended.stderr


@pytest.mark.parametrize(("damage", "says"), [("password", "password is missing"), ("ca.pem", "ca.pem is missing")])
def test_service_without_its_secret_ends_at_once_and_names_it(
    tmp_path: Path, shed: Plant, damage: str, says: str
) -> None:
    secured(tmp_path / "s", shed, now=SystemClock().now())
    (tmp_path / "s/accounts/bridge" / damage).unlink()
    ended = run_bridge(tmp_path, tmp_path / "s/accounts", 8884)
    assert ended.returncode == 2
    assert says in ended.stderr


def run_bridge(folder: Path, accounts: Path, port: int) -> subprocess.CompletedProcess[str]:
    """A bridge as a container runs it, which is expected to end."""
    member = (sys.executable, "-m", "services.commands.member", "bridge", "--plant", str(folder / "plant.yaml"))
    options = ("--broker", f"mqtts://127.0.0.1:{port}", "--state", str(folder / "state"))
    environment = os.environ | {FOLDER: str(accounts)}
    return subprocess.run([*member, *options], capture_output=True, text=True, env=environment, timeout=60)


def secure(*words: str) -> Result:
    """`coldside secure`, within this process."""
    return CliRunner().invoke(app, ["secure", *words])


def test_revoked_device_is_thrown_out_of_a_running_broker(tmp_path: Path, shed: Plant) -> None:
    secured(tmp_path / "s", shed)
    with closed_mosquitto(tmp_path / "s", tmp_path / "data") as door:
        kegs = door.key("device-keg-board", Holder.DEVICE)
        board = door.key("device-garage-node3", Holder.DEVICE)
        with Visitor(kegs) as revoked, Visitor(board) as kept:
            secured(tmp_path / "s", shed, Wishes(revoke=frozenset({"device-keg-board"})))
            assert door.process is not None
            door.process.send_signal(signal.SIGHUP)
            wait_until(lambda: revoked.gone, "the revoked one to be thrown out")
            kept.say("garage/node3/probes", b"{}")
            assert not kept.gone
        with Visitor(stranger(kegs, ca_file=tmp_path / "s/ca.pem")) as again:
            assert again.verdict != "in"
