"""What the recorder makes of messages, and what it does when the store fails."""

import threading
from datetime import timedelta

import pytest

from schemas.alarms import Alarm, AlarmPhase, Condition, Priority
from schemas.base import ServiceName
from schemas.batches import BatchPhase, BatchState
from schemas.contract import topic_for
from schemas.control import ActiveInterlock, Activity, ChamberStatus, Command, Estimate, Setpoint
from schemas.journal import Health, JournalEntry, Wellness
from schemas.plant import Plant
from schemas.requests import Accepted, WriteNote
from schemas.telemetry import Basis, ContactReading, GravityReading, Quality, Report, TemperatureReading
from services.recorder.__main__ import HISTORY, build, filling, reading_store, retention
from services.recorder.core import Recorder
from services.recorder.elsewhere import server, waiting_for_server
from services.recorder.forwarder import Forwarder
from services.recorder.rows import Origin
from services.recorder.spool import Spool
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.store import DiskFull, Match, StoreUnreachable
from services.runtime.hooks import Counting, Flushing, Keeping, Stopping
from services.runtime.service import Incoming
from tests.recorder.conftest import as_plant_file_says
from tests.recorder.history import BEER, COOL, DAY, FOR_EVER, after, sample

PLANT = Plant.model_validate(
    {
        "site": {"name": "shed"},
        "circuits": {"ring": {"voltage": "230 V", "limit": "10 A"}},
        "chambers": {
            "left": {
                "kind": "fridge",
                "probes": {"beer": {"measures": "temperature", "from": {"simulated": True}}},
                "outputs": {
                    "cool": {"drives": "compressor", "to": {"simulated": True}, "power": "95 W", "circuit": "ring"}
                },
            }
        },
    }
)


class FlakyStore(SqliteStore):
    """Refuses as long as `failure` is set."""

    failure = None

    def write(self, samples, annotations=()):
        if self.failure:
            raise self.failure
        super().write(samples, annotations)


class Desk:
    def __init__(self, restored=None, **parts):
        self.store = FlakyStore(IN_MEMORY)
        self.recorder = Recorder(PLANT, restored, sink=self.store, **parts)

    def hear(self, *messages, names=()):
        for message in messages:
            self.recorder.receive(Incoming(topic_for("shed", message, *names), message), message.at)
        return self

    def kept(self, series=BEER):
        self.recorder.flush(DAY)
        return self.store.raw(series, *FOR_EVER).value.tolist()

    def notes(self, kind=None):
        self.recorder.flush(DAY)
        return self.store.annotations(*FOR_EVER, Match(kind=kind))

    def conditions(self, at):
        return {one.body.name: one.body.active for one in self.recorder.tick(at) if isinstance(one.body, Condition)}


def reading(minute=0, value=18.0, quality=Quality.GOOD, reason=""):
    return TemperatureReading(
        at=after(minutes=minute), source="bridge", chamber="left", probe="beer", quality=quality, reason=reason,
        temperature_c=value,
    )  # fmt: skip


def command(minute, level=1.0):
    return Command(
        at=after(minutes=minute), source="supervisor", chamber="left", output="cool", level=level, why="warm"
    )


def batch(minute, step=0, gravity=None):
    return BatchState(
        at=after(minutes=minute), source="scheduler", batch="pale-7", title="Pale", chamber="left", profile="ale",
        phase=BatchPhase.RUNNING, started=DAY, step=step, steps=(), gravity_sg=gravity, why="On its way.",
    )  # fmt: skip


def health(minute, state=Wellness.RUNNING, depth=0):
    return Health(at=after(minutes=minute), source="bridge", service=ServiceName.BRIDGE, state=state, queue_depth=depth)


def test_every_reading_is_kept():
    assert Desk().hear(reading(0, 18.0), reading(1, 18.0), reading(2, 18.5)).kept() == [18.0, 18.0, 18.5]


def test_a_reading_heard_twice_is_kept_once():
    assert Desk().hear(reading(0), reading(1, 19.0), reading(0)).kept() == [18.0, 19.0]


def test_a_series_knows_its_unit():
    gravity = GravityReading(
        at=DAY, source="bridge", chamber="left", probe="float", quality=Quality.GOOD, gravity_sg=1.05
    )
    desk = Desk().hear(reading(), gravity)
    desk.recorder.flush(DAY)
    units = {series.name: series.unit for series in desk.store.series(Match(kind="reading"))}
    assert units == {"beer": "degC", "float": "SG"}


def test_an_open_door_counts_one():
    door = ContactReading(at=DAY, source="bridge", chamber="left", probe="door", quality=Quality.GOOD, is_open=True)
    assert Desk().hear(door).kept(BEER._replace(name="door", unit="open")) == [1.0]


def test_why_a_probe_went_bad_is_kept_once_and_so_is_its_recovery():
    bad = {"quality": Quality.BAD, "reason": "85.0 degC is the power-on value"}
    desk = Desk().hear(reading(0), reading(1, 85.0, **bad), reading(2, 85.0, **bad), reading(3))
    assert [(one.name, one.text) for one in desk.notes("quality")] == [
        ("good", ""),
        ("bad", "85.0 degC is the power-on value"),
        ("good", ""),
    ]


def test_reports_and_setpoints_are_kept():
    report = Report(at=DAY, source="bridge", chamber="left", output="cool", level=1.0, basis=Basis.ECHOED, since=DAY)
    setpoint = Setpoint(at=DAY, source="scheduler", chamber="left", temperature_c=18.0)
    desk = Desk().hear(report, setpoint)
    assert desk.kept(COOL) == [1.0]
    assert desk.kept(BEER._replace(kind="setpoint", name="setpoint")) == [18.0]


def test_what_a_circuit_carries_is_kept_with_the_report_that_changed_it():
    report = Report(at=DAY, source="bridge", chamber="left", output="cool", level=1.0, basis=Basis.ECHOED, since=DAY)
    load = BEER._replace(chamber="site", kind="status", name="ring-load", unit="A")
    assert Desk().hear(report).kept(load) == [pytest.approx(95 / 230)]


def test_an_output_of_unknown_level_is_kept_as_unknown():
    report = Report(at=DAY, source="bridge", chamber="left", output="cool", level=None, basis=Basis.UNKNOWN, since=DAY)
    desk = Desk().hear(report)
    desk.recorder.flush(DAY)
    assert desk.store.last_before(COOL, FOR_EVER[1]).value is None


def test_a_renewed_command_is_kept_every_few_minutes_and_a_changed_one_always():
    desk = Desk().hear(*[command(minute / 3) for minute in range(30)], command(10, 0.0))
    assert desk.kept(COOL._replace(kind="command")) == [1.0, 1.0, 0.0]


def test_a_status_keeps_the_estimate_always_and_what_it_does_on_change():
    def status(minute, doing):
        return ChamberStatus(
            at=after(minutes=minute), source="supervisor", chamber="left", doing=doing, why="so", setpoint_c=18.0,
            estimate=Estimate(beer_c=18.1, beer_sd_k=0.1, heat_w=12.0),
            interlocks=(ActiveInterlock(id="rest", reason="resting", since=DAY),),
        )  # fmt: skip

    desk = Desk().hear(status(0, Activity.WAITING), status(1, Activity.WAITING), status(2, Activity.COOLING))
    assert desk.kept(BEER._replace(kind="status", name="beer-estimate")) == [18.1] * 3
    assert [one.name for one in desk.notes("status")] == ["waiting", "cooling"]


def test_a_batch_is_kept_on_every_change_and_hourly_for_its_forecast():
    desk = Desk().hear(*[batch(minute) for minute in range(0, 120, 5)], batch(121, step=1), batch(122, gravity=1.03))
    assert len(desk.notes("batch")) == 4
    assert desk.notes("batch")[0].facts["title"] == "Pale"


def test_health_is_kept_on_change_and_every_few_minutes():
    desk = Desk().hear(*[health(minute / 6) for minute in range(30)], health(6, Wellness.LOST))
    running = BEER._replace(chamber="site", kind="health", name="bridge-running", unit="")
    assert desk.kept(running) == [1.0, 0.0]
    assert [one.name for one in desk.notes("health")] == ["running", "lost"]


def test_journal_lines_alarms_and_conditions_become_annotations():
    entry = JournalEntry(
        at=DAY, source="scheduler", id="s-1", event="step-began", who="Ann", why="ripe", batch="pale-7"
    )
    condition = Condition(
        at=DAY, source="bridge", chamber="left", name="door-open", active=True, since=DAY, detail="open"
    )
    alarm = Alarm(
        at=DAY, source="notifier", chamber="left", name="door-open", phase=AlarmPhase.UNACKNOWLEDGED, since=DAY,
        priority=Priority.MEDIUM, detail="open", cause="", consequence="", response="",
    )  # fmt: skip
    desk = Desk().hear(entry, names=("scheduler",)).hear(condition, alarm, condition, alarm)
    assert [one.kind for one in desk.notes()] == ["alarm", "condition", "journal"]
    assert desk.notes("journal")[0].batch == "pale-7"


def test_replies_and_foreign_traffic_leave_nothing():
    desk = Desk()
    desk.recorder.receive(Incoming("shed/raw", b"\xff"), DAY)
    desk.hear(Accepted(at=DAY, source="notifier", id="r1"), names=("phone", "r1"))
    assert desk.recorder.pending == 0


def test_a_rehearsal_is_kept_apart_from_life():
    desk = Desk(origin=Origin.SIMULATED).hear(reading(), batch(0))
    assert desk.kept(BEER._replace(origin="simulated")) == [18.0]
    assert {one.origin for one in desk.notes()} == {"simulated"}


def test_the_plant_is_written_down_with_what_its_outputs_draw():
    desk = Desk()
    desk.recorder.start(DAY)
    (written,) = desk.notes("plant")
    assert written.facts["chambers"]["left"]["outputs"]["cool"] == {"drives": "compressor", "power_w": 95.0}
    desk.recorder.plant_changed(PLANT, after(hours=1))
    assert len(desk.notes("plant")) == 2


@pytest.mark.parametrize("failure", [StoreUnreachable("history: locked"), DiskFull("history: full")])
def test_nothing_is_safe_while_the_store_fails_and_nothing_is_lost_when_it_is_back(failure):
    desk = Desk().hear(reading(0))
    desk.store.failure = failure
    assert desk.recorder.flush(DAY) is False
    desk.hear(reading(1, 19.0))
    assert desk.recorder.pending == 3
    desk.store.failure = None
    assert desk.recorder.flush(DAY) is True
    assert desk.kept() == [18.0, 19.0]


def test_a_store_that_fails_for_minutes_is_told_and_so_is_its_recovery():
    desk = Desk().hear(reading(0))
    desk.store.failure = StoreUnreachable("history: locked")
    assert desk.conditions(after(minutes=0)) == {}
    assert desk.conditions(after(minutes=3)) == {"store-behind": True}
    assert desk.conditions(after(minutes=4)) == {}
    desk.store.failure = None
    assert desk.conditions(after(minutes=5)) == {"store-behind": False}


def test_a_full_disk_is_told_at_once():
    desk = Desk().hear(reading(0))
    desk.store.failure = DiskFull("history: disk is full")
    assert desk.conditions(DAY) == {"disk-full": True}


def test_conditions_raised_before_a_restart_are_taken_back_after_it():
    desk = Desk().hear(reading(0))
    desk.store.failure = DiskFull("history: disk is full")
    desk.conditions(DAY)
    again = Desk(desk.recorder.snapshot())
    assert again.conditions(after(minutes=1)) == {"disk-full": False}
    assert [one.body.active for one in again.recorder.rejoin(DAY)] == [False]


def test_its_last_words_are_a_flush():
    desk = Desk().hear(reading(0))
    desk.recorder.stop(DAY)
    assert desk.recorder.pending == 0


def test_the_host_finds_the_hooks_that_it_looks_for():
    recorder = Desk().recorder
    assert isinstance(recorder, Flushing)
    assert isinstance(recorder, Stopping)


def test_the_composition_root_keeps_history_in_the_state_folder(tmp_path):
    recorder = build(PLANT, state_folder=tmp_path)
    recorder.receive(Incoming(topic_for("shed", reading()), reading()), DAY)
    assert recorder.flush(DAY)
    assert SqliteStore(tmp_path / HISTORY, read_only=True).raw(BEER, *FOR_EVER).value.tolist() == [18.0]


def test_a_damaged_history_is_told_in_the_journal(tmp_path):
    (tmp_path / HISTORY).write_bytes(b"broken" * 1000)
    (told,) = build(PLANT, state_folder=tmp_path).start(DAY)
    assert told.body.event == "store-begun-anew"
    assert "damaged-1" in told.body.why


def test_rows_wait_no_longer_than_a_tick():
    desk = Desk().hear(reading(0))
    desk.recorder.tick(DAY + timedelta(seconds=1))
    assert desk.recorder.pending == 0


def test_days_that_are_over_are_packed_a_piece_a_tick():
    desk = Desk().hear(*[reading(minute) for minute in range(0, 2880, 60)])
    for minute in range(2941, 2945):
        desk.recorder.tick(after(minutes=minute))
    assert desk.store.query("SELECT COUNT(*) FROM sample") == [(0,)]
    assert len(desk.kept()) == 48


def ticked(desk, now, count=20):
    for second in range(count):
        desk.recorder.tick(now + timedelta(seconds=second))


@pytest.mark.parametrize("jump", [timedelta(days=400), timedelta(days=-400)])
def test_a_clock_that_is_wrong_for_an_hour_makes_nothing_too_old(jump):
    desk = Desk()
    ticked(desk, DAY)
    desk.hear(*[reading(minute) for minute in range(0, 2880, 60)])
    for now in (DAY + jump, after(hours=1)):
        ticked(desk, now)
    assert len(desk.kept()) == 48


def test_a_restart_under_a_wrong_clock_makes_nothing_too_old_either():
    desk = Desk()
    ticked(desk, DAY)
    for _ in range(2):
        desk = Desk(desk.recorder.snapshot()).hear(*[reading(minute) for minute in range(0, 2880, 60)])
        ticked(desk, after(days=400))
        assert len(desk.kept()) == 48


def test_after_a_day_the_clock_is_believed_and_the_house_kept():
    desk = Desk().hear(*[reading(minute) for minute in range(0, 2880, 60)])
    desk.recorder.tick(DAY)
    for hour in range(72, 72 + 26):
        ticked(desk, after(hours=hour), 3)
    assert desk.store.query("SELECT COUNT(*) FROM sample") == [(0,)]


def test_what_waits_before_the_store_is_told_with_the_health(tmp_path):
    spool = Spool(tmp_path)
    recorder = Recorder(PLANT, sink=Forwarder(spool, SqliteStore(IN_MEMORY)))
    recorder.receive(Incoming(topic_for("shed", reading()), reading()), DAY)
    recorder.tick(DAY)
    assert isinstance(recorder, Keeping)
    assert isinstance(recorder, Counting)
    assert recorder.kept_back() == (2, "")
    spool.set_aside(spool.oldest(1))
    recorder.tick(DAY)
    assert (recorder.kept_back()[0], recorder.counts["refused-rows"]) == (0, 2)


def with_server(**said):
    described = PLANT.model_dump(by_alias=True, exclude_unset=True)
    kept = {"samples": "20000 d"}  # the days of these tests are long over
    return Plant.model_validate(described | {"history": {"influx": said, "keep": kept}})


def test_with_a_server_in_the_plant_file_rows_go_there_by_way_of_the_spool(database, tmp_path):
    plant = with_server(**as_plant_file_says(database, tmp_path))
    recorder = build(plant, state_folder=tmp_path)
    recorder.receive(Incoming(topic_for("shed", reading()), reading()), DAY)
    assert recorder.flush(DAY)
    store = reading_store(plant, tmp_path)
    for _ in range(200):
        if len(store.raw(BEER, *FOR_EVER)):
            break
        threading.Event().wait(0.05)
    assert store.raw(BEER, *FOR_EVER).value.tolist() == [18.0]


def in_a_past(plant, folder):
    with filling(plant, folder) as sink:
        sink.write([sample(1)])


def test_a_past_goes_into_the_embedded_store_where_no_server_is_named(tmp_path):
    in_a_past(PLANT, tmp_path)
    assert len(reading_store(PLANT, tmp_path).raw(BEER, *FOR_EVER)) == 1


def test_a_past_goes_to_the_server_that_the_plant_file_names(database, tmp_path):
    plant = with_server(**as_plant_file_says(database, tmp_path))
    in_a_past(plant, tmp_path)
    assert len(reading_store(plant, tmp_path).raw(BEER, *FOR_EVER)) == 1
    assert not (tmp_path / HISTORY).exists()


def test_a_past_waits_in_the_spool_for_a_server_that_is_away(tmp_path):
    plant = with_server(address="http://127.0.0.1:9")
    in_a_past(plant, tmp_path)
    assert waiting_for_server(tmp_path, after(days=1))[0].rows == 1


def test_secrets_are_read_from_their_files(tmp_path):
    (tmp_path / "token").write_text("hush\n")
    plant = with_server(address="http://127.0.0.1:8086", token_file=str(tmp_path / "token"), organisation="us")
    assert server(plant.history.influx).token == "hush"


def test_how_long_things_are_kept_is_read_in_days():
    described = PLANT.model_dump(by_alias=True, exclude_unset=True)
    plant = Plant.model_validate(described | {"history": {"keep": {"samples": "7 d"}}})
    assert (retention(plant.history.keep).raw_days, retention(plant.history.keep).minute_days) == (7, 730)


def a_note(**said):
    return WriteNote(
        at=DAY, source="console", id="r7", client="phone", who="Ann", batch="pale-7", text="Pears.", **said
    )


@pytest.mark.parametrize(("scores", "event"), [({}, "note-written"), ({"overall": 8}, "beer-tasted")])
def test_a_note_becomes_a_journal_line_of_its_batch_once_however_often_it_is_asked(scores, event):
    desk, request = Desk(), a_note(scores=scores)
    for _ in range(2):
        line, reply = desk.recorder.receive(
            Incoming(topic_for("shed", request, "recorder", "write-note"), request), DAY
        )
        desk.hear(line.body, names=("recorder",))
    assert isinstance(reply.body, Accepted)
    (kept,) = desk.notes("journal")
    assert (kept.name, kept.batch, kept.who, kept.text, kept.facts) == (event, "pale-7", "Ann", "Pears.", scores)
