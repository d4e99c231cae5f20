"""Our image: small, without tools to build with or secrets, content with a file system it may not write to."""

import json
import re
import subprocess

import pytest

from tests.containers.engine import IMAGE, RAN_ON, docker
from tests.secure.test_history import SECRET

CLOSED = ("--read-only", "--tmpfs", "/tmp", "--cap-drop", "ALL", "--network", "none")
SCAN = r"""
import pathlib, re, sys
found = []
for path in pathlib.Path('/').rglob('*'):
    left_out = path.parts[1:2] in (('proc',), ('sys',), ('dev',)) or '.so' in path.suffixes
    if left_out or path.is_symlink() or not path.is_file():
        continue
    if re.search(sys.argv[1].encode(), path.read_bytes()):
        found.append(str(path))
print(*found, sep='\n')
"""


@pytest.fixture(autouse=True)
def image(images: None) -> None:
    """There before anything is asked of it."""
    RAN_ON["image"] = f"{IMAGE}, on Debian's own Python"


def run(*words: str, entrypoint: str = "coldside") -> subprocess.CompletedProcess[str]:
    """One command in a container that is gone afterwards."""
    return docker("run", "--rm", *CLOSED, "--entrypoint", entrypoint, IMAGE, *words)


def test_command_runs_on_a_file_system_it_may_not_write_to() -> None:
    assert run("--version").stdout.strip() == "0.1.0"
    assert run("calc", "--help").returncode == 0


def test_whoever_runs_in_it_is_not_root() -> None:
    assert run("-c", "import os; print(os.geteuid())", entrypoint="python3").stdout.strip() == "10001"


@pytest.mark.parametrize("tool", ["pip", "setuptools", "hatchling", "wheel"])
def test_nothing_to_build_with_is_left(tool: str) -> None:
    asked = f"from importlib.util import find_spec; print(find_spec('{tool}'))"
    assert run("-c", asked, entrypoint="python3").stdout.strip() == "None"


def test_it_is_at_most_350_megabytes() -> None:
    size = int(docker("image", "inspect", "-f", "{{.Size}}", IMAGE).stdout)
    assert size <= 350e6


def test_no_layer_of_it_was_made_with_a_secret() -> None:
    told = docker("history", "--no-trunc", "--format", "{{json .}}", IMAGE).stdout
    configured = json.loads(docker("image", "inspect", IMAGE).stdout)[0]["Config"]
    assert not re.search(SECRET, told)
    assert not [one for one in configured["Env"] if re.search("password|token|secret=", one.lower())]


def test_no_file_in_it_holds_a_secret() -> None:
    """As root, who may read everything; compiled libraries, which carry keys to test themselves with, are left out."""
    scan = ("--user", "0", "--network", "none", "--entrypoint", "python3", IMAGE, "-c", SCAN, SECRET_BODY)
    done = docker("run", "--rm", *scan)
    assert done.returncode == 0, done.stderr
    assert not done.stdout.strip()


SECRET_BODY = SECRET.replace("PRIVATE KEY-----", r"PRIVATE KEY-----\s+[A-Za-z0-9+/]{40}", 1)
"""In programs the words alone stand often: a key is what is followed by its content."""


def test_health_check_tells_that_no_broker_answers() -> None:
    done = run("-m", "services.commands.pulse", "bridge", entrypoint="python3")
    assert done.returncode == 1
    assert done.stdout.startswith("bridge: ")
