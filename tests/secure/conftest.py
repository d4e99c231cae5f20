"""Both brokers behind the same secrets."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from schemas.plant import Plant
from tests.secure.site import Door, closed_mosquitto, closed_nats, plant_in, secured


@pytest.fixture
def shed(tmp_path: Path) -> Plant:
    """A site with two boards."""
    return plant_in(tmp_path)


@pytest.fixture(scope="package")
def doors(tmp_path_factory: pytest.TempPathFactory) -> Iterator[dict[str, Door]]:
    """Both brokers, on the same secrets."""
    folder = tmp_path_factory.mktemp("doors")
    folder.chmod(0o755)
    secured(folder / "secure", plant_in(folder))
    with (
        closed_mosquitto(folder / "secure", folder / "mosquitto") as mosquitto,
        closed_nats(folder / "secure", folder / "nats") as nats,
    ):
        yield {"mosquitto": mosquitto, "embedded": nats}


@pytest.fixture(params=["mosquitto", "embedded"])
def door(request: pytest.FixtureRequest, doors: dict[str, Door]) -> Door:
    """Each of them in turn."""
    return doors[request.param]
