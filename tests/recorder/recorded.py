"""A day of an invented shed, told to a recorder as the services would tell it."""

from collections.abc import Iterator
from datetime import timedelta

from schemas.alarms import Alarm, AlarmPhase, Condition, Priority
from schemas.base import SITE_WIDE, Message, ServiceName
from schemas.batches import BatchPhase, BatchState
from schemas.contract import topic_for
from schemas.control import Activity, ChamberStatus, Estimate, Setpoint
from schemas.journal import Health, JournalEntry, Wellness
from schemas.plant import Plant
from schemas.telemetry import Basis, GravityReading, Quality, Report, TemperatureReading
from services.recorder.core import Recorder
from services.recorder.store import Sink
from services.runtime.service import Incoming
from tests.recorder.history import DAY, after

HOURS = 24
CHAMBERS = {"left": ("beer", "cool"), "bath": ("bath", "chill")}
PLANT = Plant.model_validate(
    {
        "site": {"name": "shed"},
        "circuits": {"ring": {"voltage": "230 V", "limit": "10 A"}},
        "chambers": {
            name: {
                "kind": "reservoir" if name == "bath" else "fridge",
                "probes": {probe: {"measures": "temperature", "from": {"simulated": True}}},
                "outputs": {
                    output: {"drives": "compressor", "to": {"simulated": True}, "power": "95 W", "circuit": "ring"}
                },
            }
            for name, (probe, output) in CHAMBERS.items()
        },
    }
)


def record(sink: Sink) -> None:
    """Everything of the day, handed to the sink."""
    recorder = Recorder(PLANT, sink=sink)
    recorder.start(DAY)
    for message in told():
        names = {JournalEntry: ("scheduler",)}.get(type(message), ())
        recorder.receive(Incoming(topic_for("shed", message, *names), message), message.at)
    assert recorder.flush(DAY)


def told() -> Iterator[Message]:
    for chamber, (probe, output) in CHAMBERS.items():
        yield Setpoint(at=DAY, source="scheduler", chamber=chamber, temperature_c=18.0)
        for minute in range(0, HOURS * 60, 5):
            yield from _chamber(chamber, probe, output, minute)
    yield from _batch()
    yield from _trouble()
    for minute in range(0, HOURS * 60, 10):
        for service in (ServiceName.BRIDGE, ServiceName.SUPERVISOR):
            yield Health(at=after(minutes=minute), source=service.value, service=service, state=Wellness.RUNNING)


def _chamber(chamber: str, probe: str, output: str, minute: int) -> Iterator[Message]:
    at = after(minutes=minute)
    said = {"at": at, "source": "bridge", "chamber": chamber}
    bad = minute == 600
    yield TemperatureReading(
        **said, probe=probe, quality=Quality.BAD if bad else Quality.GOOD, reason="power-on value" if bad else "",
        temperature_c=85.0 if bad else 18.0 + minute % 50 / 50,
    )  # fmt: skip
    if minute % 30 == 0:
        yield Report(**said, output=output, level=float(minute % 60 == 0), basis=Basis.ECHOED, since=at)
        doing = Activity.COOLING if minute % 60 == 0 else Activity.RESTING
        estimate = Estimate(beer_c=18.2, beer_sd_k=0.1, heat_w=9.0)
        yield ChamberStatus(
            at=at, source="supervisor", chamber=chamber, doing=doing, why="so", setpoint_c=18.0, estimate=estimate
        )


def _batch() -> Iterator[Message]:
    entry = {"at": DAY, "source": "scheduler", "who": "Ann", "why": "ripe", "chamber": "left", "batch": "pale-7"}
    yield JournalEntry(**entry, id="s-1", event="step-begun")
    yield BatchState(
        at=DAY, source="scheduler", batch="pale-7", title="Pale", chamber="left", profile="ale",
        phase=BatchPhase.RUNNING, started=DAY, step=0, steps=(), why="It begins.",
    )  # fmt: skip
    for hour in range(HOURS):
        yield GravityReading(
            at=after(hours=hour), source="bridge", chamber="left", probe="float", quality=Quality.GOOD,
            gravity_sg=1.05 - hour / 1000,
        )  # fmt: skip


def _trouble() -> Iterator[Message]:
    at = DAY + timedelta(hours=5)
    condition = {"at": at, "source": "supervisor", "active": True, "since": at, "detail": "so it is"}
    yield Condition(**condition, chamber="left", name="beer-too-warm")
    yield Condition(**condition, chamber=SITE_WIDE, name="circuit-near-limit-ring")
    yield Alarm(
        at=at, source="notifier", chamber="left", name="beer-too-warm", phase=AlarmPhase.UNACKNOWLEDGED, since=at,
        priority=Priority.HIGH, detail="so it is", cause="", consequence="", response="",
    )  # fmt: skip
