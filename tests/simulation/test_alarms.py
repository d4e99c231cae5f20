"""Alarms in whole rehearsals: a door left open, a fault, a quiet day; four weeks of it in the long version."""

from datetime import UTC, datetime, timedelta

import pytest

from benchmarks.alarm_life import Life, live
from benchmarks.alarm_site import FRIDGES, HOUR, START, Incident, site
from schemas.alarms import Alarm, AlarmPhase
from schemas.base import ServiceName
from schemas.contract import topic_for
from schemas.control import Command
from schemas.plant_file import load
from schemas.requests import SetTemperature
from services.commands.running import barn_file
from services.notifier.catalogue import standard_catalogue
from services.rehearsal.ensemble import on_stage
from services.runtime.service import Outgoing
from services.simulator.core import TimedFault
from services.simulator.faults import Fault, FaultKind

NOON = datetime(2026, 6, 10, 12, tzinfo=UTC)
ALE = "ale-fridge"
DELAY = timedelta(seconds=standard_catalogue()["door-open"].on_delay_s)


def fault(kind: FaultKind, chamber: str, target: str, hours: float, told_as: tuple[str, ...]) -> Incident:
    begins = START + 14 * HOUR
    faults = (Fault(kind, chamber, target),)
    return Incident(kind, chamber, begins, begins + hours * HOUR, True, told_as, faults)


@pytest.fixture(scope="module")
def days() -> Life:
    """A day and a half of eight chambers: one door left open, one probe dead, and all the rest of life."""
    happenings = [
        fault(FaultKind.DOOR_OPEN, "ale", "", 3, ("door-open",)),
        fault(FaultKind.PROBE_DEAD, "stout", "beer", 4, ("probe-silent", "no-trusted-probe")),
    ]
    return live(5, timedelta(hours=36), happenings, heat=False)


def test_every_harmful_incident_of_ordinary_life_is_told(days: Life) -> None:
    assert days.missed() == []
    assert {incident.chamber for incident, *_ in days.detections()} == {"ale", "stout"}


def test_each_is_told_before_half_of_the_time_to_respond_is_over(days: Life) -> None:
    assert max(days.shares()) <= 0.5


def test_chambers_to_which_nothing_happens_raise_nothing(days: Life) -> None:
    assert days.nuisances() == []
    assert days.chattering() == []
    assert {one.chamber for one in days.raised} <= {"ale", "stout", "site"}


class OpenDoor:
    """The barn's ale fridge in June, its beer at 12 degC, its door left open at two for five hours."""

    opened, closed = NOON + 2 * HOUR, NOON + 7 * HOUR

    def __init__(self) -> None:
        left_open = TimedFault(Fault(FaultKind.DOOR_OPEN, ALE), self.opened, self.closed)
        plant = load(barn_file())
        self.stage, self.ensemble = on_stage(plant, NOON, seed=4, faults=[left_open])
        self.told: datetime | None = None
        self.cooled: list[datetime] = []
        self.warmest_c = 0.0
        self.stage.witnesses.append(self._witness)
        cold = SetTemperature(
            at=NOON, source="test", id="cold", client="test", who="a test", chamber=ALE, temperature_c=14.0
        )
        self.stage.ask(Outgoing(topic_for(plant.site.name, cold), cold))
        while self.stage.now < NOON + 9 * HOUR:
            self.stage.run_until(self.stage.now + timedelta(minutes=5))
            if self.stage.now > self.opened:
                self.warmest_c = max(self.warmest_c, self.ensemble.truth(ALE).beer_c)

    def _witness(self, outgoing: Outgoing, now: datetime) -> None:
        body = outgoing.body
        if isinstance(body, Alarm) and (body.chamber, body.name) == (ALE, "door-open"):
            raised = body.phase is AlarmPhase.UNACKNOWLEDGED and self.opened <= now
            self.told = now if raised and self.told is None else self.told
        if isinstance(body, Command) and (body.chamber, body.output) == (ALE, "cool") and body.level > 0:
            self.cooled.append(now)


@pytest.fixture(scope="module")
def door() -> OpenDoor:
    return OpenDoor()


def test_a_door_left_open_is_announced_within_its_delay(door: OpenDoor) -> None:
    assert door.told is not None
    assert door.told - door.opened <= DELAY + timedelta(seconds=30)


def test_meanwhile_the_compressor_is_kept_from_running_at_the_room(door: OpenDoor) -> None:
    """But for a minimum run that had already begun."""
    pause = load(barn_file()).chambers[ALE].limits.door_pause_s
    least_run = timedelta(minutes=3)
    barred = [at for at in door.cooled if door.opened + least_run < at < door.opened + timedelta(seconds=pause)]
    assert barred == []


def test_the_beer_is_protected_again_when_nobody_comes(door: OpenDoor) -> None:
    pause = timedelta(seconds=load(barn_file()).chambers[ALE].limits.door_pause_s)
    assert any(door.opened + pause <= at < door.closed for at in door.cooled)


@pytest.mark.soak
@pytest.mark.timeout(1800)
@pytest.mark.parametrize("seed", [11, 12])
def test_four_weeks_of_a_site_miss_no_harm_and_tire_nobody(seed: int) -> None:
    life = live(seed)
    assert life.missed() == []
    assert len(life.nuisances()) <= len(site().chambers)
    assert len(life.raised) / life.span.days <= 6
    assert life.chattering() == []
    assert set(FRIDGES) <= set(site().chambers)


def test_the_notifier_is_among_the_cast() -> None:
    stage, _ = on_stage(site(), NOON)
    assert stage.alive(ServiceName.NOTIFIER)
