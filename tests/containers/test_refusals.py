"""What cannot start says why, and leaves nothing running that could heat."""

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.containers.deployment import Deployment, deployed
from tests.containers.engine import IMAGE, docker


@pytest.fixture
def deployment(images: None, tmp_path: Path) -> Iterator[Deployment]:
    """One that has not been prepared."""
    with deployed(Deployment(tmp_path / "site", f"coldside-refused-{os.getpid()}", store=False)) as made:
        yield made


def containers(deployment: Deployment) -> list[str]:
    """Those that run."""
    return docker("ps", "-q", "--filter", f"label=com.docker.compose.project={deployment.project}").stdout.split()


def test_without_secrets_nothing_starts(deployment: Deployment) -> None:
    done = deployment.compose("up", "-d")
    assert done.returncode != 0
    assert not containers(deployment)
    said = deployment.compose("logs", "--no-color", "ready").stdout
    assert "holds no secrets yet" in said
    assert "accounts add NAME --role operator" in said


def test_port_that_is_taken_is_named_and_no_service_starts(deployment: Deployment) -> None:
    deployment.prepare()
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", deployment.port))
        taken.listen()
        done = deployment.compose("up", "-d")
    assert done.returncode != 0
    assert str(deployment.port) in done.stderr
    assert not containers(deployment)


def test_volume_of_another_user_is_told_with_the_remedy(deployment: Deployment) -> None:
    volume = f"{deployment.project}_state"
    docker("volume", "create", volume)
    closing = "touch /state/kept && chmod 700 /state"
    closed = ("--user", "0", "-v", f"{volume}:/state", "--entrypoint", "sh", IMAGE, "-c", closing)
    assert docker("run", "--rm", *closed).returncode == 0
    done = deployment.compose("run", "--rm", "ready")
    assert done.returncode == 1
    assert "/state cannot be written by user" in done.stdout + done.stderr
