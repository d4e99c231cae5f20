"""How a process finds its account, and what it says when it cannot."""

import os
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest

from schemas.plant import Plant
from services.runtime.address import BrokerAddress
from services.runtime.credentials import CA_FILE, FOLDER, PASSWORD, SecretUnusable, admitted, secret_in
from tests.secure.site import NOW, secured

NOBODY = 65534
PLAIN, CLOSED = BrokerAddress(), BrokerAddress("broker", 8884, tls=True)


@pytest.fixture
def accounts(tmp_path: Path, shed: Plant) -> Path:
    """The folder of accounts."""
    secured(tmp_path / "s", shed, now=NOW)
    return tmp_path / "s/accounts"


def test_nothing_said_changes_nothing() -> None:
    assert admitted(PLAIN, "bridge", {}) == PLAIN


def test_folder_gives_user_password_and_certificates(accounts: Path) -> None:
    found = admitted(CLOSED, "bridge", {FOLDER: str(accounts)})
    assert (found.username, found.password) == ("bridge", (accounts / "bridge/password").read_text())
    assert (found.ca_file, found.key_file) == (accounts / "bridge/ca.pem", accounts / "bridge/key.pem")


def test_environment_gives_user_password_and_authority(accounts: Path) -> None:
    ca_file = accounts / "bridge/ca.pem"
    found = admitted(CLOSED, "bridge", {PASSWORD: "word", CA_FILE: str(ca_file)})
    assert (found.username, found.password, found.ca_file) == ("bridge", "word", ca_file)


def test_password_in_the_address_wins() -> None:
    address = BrokerAddress(username="ann", password="own")
    assert admitted(address, "bridge", {PASSWORD: "word"}) == address


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("password", None, "password is missing; `coldside secure` makes it"),
        ("password", "  \n", "password is empty"),
        ("ca.pem", None, "ca.pem is missing"),
        ("ca.pem", "no certificate", "cannot be used"),
        ("key.pem", None, "key.pem is missing"),
        ("key.pem", "no key", "cannot be used"),
    ],
)
def test_unusable_secret_is_named_with_the_remedy(accounts: Path, name: str, content: str | None, says: str) -> None:
    path = accounts / "bridge" / name
    password = (accounts / "bridge/password").read_text()
    if content is None:
        path.unlink()
    else:
        path.write_text(content)
    with pytest.raises(SecretUnusable, match=says) as told:
        admitted(CLOSED, "bridge", {FOLDER: str(accounts)})
    assert password not in str(told.value)


def test_key_of_another_account_is_told(accounts: Path) -> None:
    (accounts / "bridge/key.pem").write_bytes((accounts / "recorder/key.pem").read_bytes())
    with pytest.raises(SecretUnusable, match="cannot be used"):
        admitted(CLOSED, "bridge", {FOLDER: str(accounts)})


def test_unreadable_secret_says_who_may_not_read_it() -> None:
    """Root, who runs these tests in CI, steps down for the while; anybody else closes the file for themselves."""
    with TemporaryDirectory(prefix="coldside-") as name:
        Path(name).chmod(0o755)
        path = Path(name) / "password"
        path.write_text("word")
        path.chmod(0o000)
        if os.getuid() == 0:
            os.seteuid(NOBODY)
        try:
            with pytest.raises(SecretUnusable, match="this runs as user"):
                secret_in(path)
        finally:
            os.seteuid(os.getuid())
