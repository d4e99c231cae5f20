"""What a container's health check says of one service, over TLS with the service's own account."""

import json
from datetime import timedelta

import pytest

from schemas.base import iso
from services.commands.pulse import complaint, look
from services.runtime.clock import SystemClock
from tests.secure.site import Door, stranger
from tests.secure.visitor import Visitor

NOW = SystemClock().now()


@pytest.mark.parametrize(
    ("state", "age_s", "says"),
    [
        ("running", 0, ""),
        ("running", 44, ""),
        ("running", 46, "it was last heard 46 s ago"),
        ("lost", 0, "it is lost"),
        ("stopping", 0, "it is stopping"),
    ],
)
def test_service_is_well_when_it_runs_and_was_heard_of_lately(state: str, age_s: int, says: str) -> None:
    assert complaint({"state": state, "at": iso(NOW - timedelta(seconds=age_s))}, NOW) == says


def test_service_is_asked_for_by_its_own_account(doors: dict[str, Door]) -> None:
    key = doors["mosquitto"].key("simulator")
    with Visitor(key) as simulator:
        said = {"state": "running", "at": iso(SystemClock().now())}
        simulator.say("coldside/shed/health/simulator", json.dumps(said).encode(), retain=True)
        assert look(key, "simulator") == ""
        simulator.say("coldside/shed/health/simulator", b"", retain=True)
    assert "refused: Not authorized" in look(stranger(key, password="guessed"), "simulator")


def test_service_that_never_spoke_is_not_well(doors: dict[str, Door]) -> None:
    assert look(doors["mosquitto"].key("rehearsal"), "rehearsal", patience_s=1.0) == "nothing was heard of it"
