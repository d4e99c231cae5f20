"""The container engine, and single containers on it; what ran on what is kept for the summary."""

import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.waiting import wait_until

ROOT = Path(__file__).parents[2]
RAN_ON: dict[str, str] = {}
"""What was tested, and on which server or image."""
NOT_RUN: list[str] = []
IMAGE = os.environ.get("COLDSIDE_TEST_IMAGE", "coldside:local")
SERVERS = "coldside/servers"
os.environ |= {
    "TESTCONTAINERS_RYUK_DISABLED": "true",
    "TESTCONTAINERS_CONNECTION_MODE": "docker_host",
    "TC_HOST": "127.0.0.1",
}
"""The library's helper that tidies up comes from a registry only: every container here is ended by who started it."""


class NoEngine(RuntimeError):
    """None answers and none can be started; the text says why."""


def start() -> str:
    """What runs. Raises NoEngine."""
    done = subprocess.run([str(ROOT / "scripts/engine")], capture_output=True, text=True, timeout=300)
    if done.returncode:
        raise NoEngine((done.stderr or done.stdout).strip())
    return done.stdout.strip()


def build_images() -> None:
    """From Debian's packages, unless an image was named."""
    if IMAGE == "coldside:local":
        done = subprocess.run([str(ROOT / "scripts/images")], capture_output=True, text=True, timeout=900)
        assert done.returncode == 0, done.stderr[-2000:]


def docker(*words: str, patience_s: float = 120) -> subprocess.CompletedProcess[str]:
    """One command to its end."""
    return subprocess.run(["docker", *words], capture_output=True, text=True, timeout=patience_s)


@contextmanager
def serving(image: str, port: int, command: list[str], mounts: dict[Path, str]) -> Iterator[int]:
    """A container that serves a port; the port of loopback at which it is reached from here."""
    from testcontainers.core.container import DockerContainer

    container = DockerContainer(image).with_kwargs(entrypoint=command, read_only=True)
    container.tmpfs |= {"/tmp": "", "/data": ""}
    container.ports[str(port)] = ("127.0.0.1", None)  # type: ignore[assignment]
    for here, there in mounts.items():
        container.with_volume_mapping(str(here), there, "ro")
    with container:
        wait_until(lambda: bool(_published(container, port)), f"port {port} of {image}")
        yield _published(container, port)


def _published(container: object, port: int) -> int:
    try:
        return int(container.get_exposed_port(port))  # type: ignore[attr-defined]
    except (ConnectionError, KeyError, TypeError):
        return 0
