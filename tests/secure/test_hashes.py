"""Files that other programs read, against what those programs make or say themselves."""

import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from services.secure.mosquitto import fits, hashed, password_file
from services.secure.nats import hashes, subjects


def test_hash_that_mosquittos_own_tool_made_fits_its_password(tmp_path: Path) -> None:
    tool = shutil.which("mosquitto_passwd")
    assert tool, "mosquitto_passwd comes with Debian's mosquitto"
    made = tmp_path / "passwords"
    made.touch(0o600)
    subprocess.run([tool, "-b", str(made), "bridge", "a pass word"], check=True, capture_output=True)
    name, line = made.read_text().strip().split(":", 1)
    assert name == "bridge"
    assert fits("a pass word", line)
    assert not fits("a pass worD", line)


@settings(deadline=None)
@given(st.text(min_size=1), st.binary(min_size=12, max_size=12))
def test_hash_fits_its_own_password_and_no_other(password: str, salt: bytes) -> None:
    assert fits(password, hashed(password, salt))
    assert not fits(password + "x", hashed(password, salt))


def test_lines_that_fit_are_kept_as_they_are() -> None:
    before = password_file({"a": "one", "b": "two"}, "", b"salt")
    after = password_file({"a": "one", "b": "three"}, before, b"other salt")
    assert after.splitlines()[0] == before.splitlines()[0]
    assert after.splitlines()[1] != before.splitlines()[1]


def test_bcrypt_hashes_that_fit_are_kept_as_they_are() -> None:
    before = hashes({"a": "one", "b": "two"}, {})
    after = hashes({"a": "one", "b": "three"}, before)
    assert (after["a"] == before["a"], after["b"] == before["b"]) == (True, False)


@pytest.mark.parametrize(
    ("topic", "expected"),
    [
        ("foo/bar", ("foo.bar",)),
        ("/foo/bar", ("/.foo.bar",)),
        ("foo/bar/", ("foo.bar./",)),
        ("foo//bar", ("foo./.bar",)),
        ("foo.bar/baz", ("foo//bar.baz",)),
        ("foo/+/bar", ("foo.*.bar",)),
        ("foo/#", ("foo.>", "foo")),
        ("#", (">",)),
    ],
)
def test_topics_become_subjects_as_the_servers_documentation_maps_them(topic: str, expected: tuple[str, ...]) -> None:
    """The NATS documentation, "MQTT: topic names and NATS subjects" (from memory); the server's own answers agree in
    the tests of both doors."""
    assert subjects(topic) == expected
