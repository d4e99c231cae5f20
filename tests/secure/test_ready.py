"""Whatever is amiss is told before anything starts, each with its place and its remedy."""

import sqlite3
from datetime import timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from services.cli import app
from services.console.accounts import Accounts, Role
from services.runtime.clock import SystemClock
from tests.secure.site import PLANT, plant_in, secured

NOW = SystemClock().now()
TOKEN = 'history: {influx: {address: "http://influxdb:8086", token_file: /nowhere/token}}\n'


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A folder with `plant.yaml`, `secure` and a `state` in which somebody may use the console."""
    secured(tmp_path / "secure", plant_in(tmp_path))
    (tmp_path / "state").mkdir()
    Accounts(tmp_path / "state").add("ann", Role.OPERATOR, "a word for a test", NOW)
    return tmp_path


def ready(place: Path, *words: str) -> Result:
    """What containers wait for."""
    options = ("--plant", str(place / "plant.yaml"), "--secure", str(place / "secure"), "--state", str(place / "state"))
    return CliRunner().invoke(app, ["ready", *options, *words], env={"COLUMNS": "300"})


def refused(place: Path, *words: str) -> str:
    """What it says when it says no."""
    done = ready(place, *words)
    assert done.exit_code == 1, done.output
    assert "Nothing was started" in done.output
    return done.output


def test_all_in_order_is_said(place: Path) -> None:
    done = ready(place)
    assert (done.exit_code, "site 'shed' may start" in done.output) == (0, True), done.output


def test_broken_plant_file_is_refused_with_its_line(place: Path) -> None:
    (place / "plant.yaml").write_text(PLANT.replace("kind: kegerator", "kind: cupboard"))
    done = ready(place)
    assert done.exit_code == 2
    assert "plant.yaml:12" in done.output


def test_missing_folder_of_secrets_names_the_command(place: Path) -> None:
    (place / "secure").rename(place / "elsewhere")
    assert "coldside secure" in refused(place)


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("accounts/bridge/password", None, "bridge/password is missing"),
        ("accounts/supervisor/password", "", "supervisor/password is empty"),
        ("accounts/recorder/ca.pem", "none", "recorder cannot be used"),
        ("accounts/notifier/key.pem", None, "notifier/key.pem is missing"),
    ],
)
def test_unusable_secret_of_any_service_is_named(place: Path, name: str, content: str | None, says: str) -> None:
    path = place / "secure" / name
    path.unlink() if content is None else path.write_text(content)
    assert says in refused(place)


def test_broker_of_another_authority_is_told(place: Path) -> None:
    secured(place / "other", plant_in(place))
    other = place / "other/broker/certificate.pem"
    (place / "secure/broker/certificate.pem").write_bytes(other.read_bytes())
    assert "is of another authority" in refused(place)


def test_certificate_at_its_end_is_told(place: Path) -> None:
    secured(place / "old", plant_in(place), now=NOW - timedelta(days=800))
    (place / "secure").rename(place / "new")
    (place / "old").rename(place / "secure")
    assert "ends soon" in refused(place)


def test_device_that_has_no_account_yet_is_told(place: Path) -> None:
    (place / "plant.yaml").write_text(PLANT.replace("device: keg-board", "device: new-board"))
    assert "no account for device-new-board" in refused(place)


def test_volume_of_another_user_is_told(place: Path) -> None:
    assert "cannot be written by user" in refused(place, "--volume", "/proc/1")


def test_store_of_a_later_version_is_told(place: Path) -> None:
    with sqlite3.connect(place / "state/history.sqlite") as connection:
        connection.execute("PRAGMA user_version = 999")
    connection.close()
    assert "written by a later version of coldside" in refused(place)


def test_file_that_is_no_store_is_told(place: Path) -> None:
    (place / "state/history.sqlite").write_bytes(b"x" * 4096)
    assert "is no store" in refused(place)


def test_missing_token_of_the_store_is_told(place: Path) -> None:
    (place / "plant.yaml").write_text(PLANT + TOKEN)
    assert "/nowhere/token" in refused(place)


def test_console_that_nobody_may_use_is_told_with_the_command(place: Path) -> None:
    Accounts(place / "state").remove("ann")
    assert "accounts add NAME --role operator" in refused(place)
