"""From the spool to a store elsewhere: through outages, refusals, kills and a week without a server."""

import json
import random
import threading
from datetime import timedelta

import pytest

from services.recorder.forwarder import Forwarder
from services.recorder.housekeeping import Retention
from services.recorder.influx_server import BatchRefused, InfluxServer, refusal
from services.recorder.influx_store import InfluxStore
from services.recorder.samples import annotation_checksum, checksum, from_rows
from services.recorder.spool import Spool, SpoolLimits
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.store import StoreUnreachable
from services.runtime.clock import VirtualClock
from tests.recorder.history import BEER, DAY, FOR_EVER, a_day_of, after, note, sample


class Elsewhere(SqliteStore):
    """A store that fails when told to, and notes what upkeep was asked of it."""

    def __init__(self):
        super().__init__(IN_MEMORY)
        self.failure, self.poison, self.upkeep = None, None, []

    def write(self, samples, annotations=()):
        if self.failure:
            raise self.failure
        if any(one.value == self.poison for one in samples) and self.poison is not None:
            raise BatchRefused("field type conflict")
        super().write(samples, annotations)

    def write_summaries(self, series, level_ms, summaries):
        self.upkeep.append(("minutes", series.name, len(summaries)))

    def roll_up(self, series, day):
        self.upkeep.append(("rolled", series.name, day))

    def drop_before(self, level_ms, moment):
        self.upkeep.append(("dropped", level_ms, moment))


@pytest.fixture
def store():
    return Elsewhere()


@pytest.fixture
def forwarder(tmp_path, store):
    return Forwarder(Spool(tmp_path), store)


def drain(forwarder):
    while forwarder.step():
        pass


def kept(store):
    return store.raw(BEER, *FOR_EVER).value.tolist()


def test_rows_reach_the_store(forwarder, store):
    forwarder.write([sample(1), sample(2)], [note(1)])
    drain(forwarder)
    assert kept(store) == [18.0, 18.0]
    assert len(store.annotations(*FOR_EVER)) == 1


def test_while_the_store_is_away_rows_wait_and_the_reason_is_told(forwarder, store):
    store.failure = StoreUnreachable("nobody answers")
    forwarder.write([sample(1)])
    assert forwarder.step() is False
    waiting = forwarder.backlog(after(hours=1))
    assert (waiting.rows, waiting.problem) == (1, "nobody answers")


def test_when_the_store_is_back_everything_goes_on_and_the_problem_is_over(forwarder, store):
    store.failure = StoreUnreachable("nobody answers")
    for minute in range(50):
        forwarder.write([sample(minute)])
        forwarder.step()
    store.failure = None
    drain(forwarder)
    assert len(kept(store)) == 50
    assert forwarder.backlog(after(hours=1)).problem == ""


def test_a_batch_that_no_store_will_take_does_not_hold_up_the_others(forwarder, store, tmp_path):
    store.poison = 2.0
    for minute in range(5):
        forwarder.write([sample(minute, float(minute))])
    drain(forwarder)
    assert kept(store) == [0.0, 1.0, 3.0, 4.0]
    assert len(list(tmp_path.glob("*.refused"))) == 1


@pytest.mark.parametrize(
    ("status", "kind"), [(400, BatchRefused), (413, BatchRefused), (401, StoreUnreachable), (503, StoreUnreachable)]
)
def test_only_lines_that_are_wrong_in_themselves_are_given_up(status, kind):
    assert type(refusal("http://store", status, "why")) is kind


def test_a_day_is_summed_up_when_it_is_over_even_after_a_restart(forwarder, store, tmp_path):
    forwarder.write([sample(1), sample(60 * 25)])
    drain(forwarder)
    forwarder.keep_up(after(hours=24))
    assert store.upkeep == []
    again = Forwarder(Spool(tmp_path), store, Retention(raw_days=None, minute_days=None, quarter_days=None))
    while again.keep_up(after(hours=26)):
        pass
    day = int(DAY.timestamp() // 86400)
    assert store.upkeep == [("rolled", "beer", day)]


def test_what_is_too_old_is_dropped_once_a_day_by_policy(forwarder, store):
    for hour in range(26):
        while forwarder.keep_up(after(hours=hour)):
            pass
    assert [one[2] for one in store.upkeep if one[:2] == ("dropped", 0)] == [
        after(days=-30),
        after(days=-30, hours=24),
    ]


def test_thinned_minutes_reach_the_store_as_minutes(tmp_path, store):
    spool = Spool(tmp_path, SpoolLimits(most_bytes=20_000, segment_bytes=10_000))
    for hour in range(3):
        spool.write(a_day_of(begins=after(hours=hour), hours=1))
    forwarder = Forwarder(spool, store)
    forwarder.keep_up(after(hours=3))
    drain(forwarder)
    assert ("minutes", "beer", 60) in store.upkeep


def test_a_clock_set_back_does_not_stop_the_upkeep(forwarder, store):
    forwarder.keep_up(after(days=400))
    forwarder.spool.write([sample(0)])
    assert forwarder.keep_up(after(hours=1)) is True


def test_a_clock_that_is_wrong_for_an_hour_makes_nothing_too_old(tmp_path, store):
    forwarder = Forwarder(Spool(tmp_path, SpoolLimits(segment_bytes=300)), store)
    store.failure = StoreUnreachable("nobody answers")
    for minute in range(50):
        forwarder.write([sample(minute)])
    forwarder.step()
    for moment in (after(hours=1), after(days=400), after(days=400, minutes=30), after(hours=2)):
        while forwarder.keep_up(moment):
            pass
    store.failure = None
    drain(forwarder)
    assert len(kept(store)) == 50
    assert forwarder.counts.total() == 0


def test_the_spool_is_kept_small_while_the_store_is_away(tmp_path, store):
    forwarder = Forwarder(Spool(tmp_path, SpoolLimits(most_bytes=20_000, segment_bytes=10_000)), store)
    store.failure = StoreUnreachable("nobody answers")
    for hour in range(12):
        forwarder.write(a_day_of(begins=after(hours=hour), hours=1))
        forwarder.step()
        forwarder.keep_up(after(hours=hour))
    assert forwarder.backlog(after(hours=12)).size_bytes < 32_000
    assert forwarder.counts["thinned-segments"] > 0
    assert {one[0] for one in store.upkeep} <= {"minutes"}


class Tripping(Elsewhere):
    """Its upkeep fails in a way that nobody foresaw, once."""

    def roll_up(self, series, day):
        super().roll_up(series, day)
        if len(self.upkeep) == 1:
            raise ValueError("no such thing was foreseen")


def test_the_thread_outlives_what_nobody_foresaw(tmp_path):
    store, stop = Tripping(), threading.Event()
    forwarder = Forwarder(Spool(tmp_path), store)
    forwarder.write([sample(1)])
    thread = threading.Thread(target=forwarder.run, args=(stop, VirtualClock(after(days=2))))
    thread.start()
    for _ in range(400):
        if len(store.upkeep) > 2:
            break
        stop.wait(0.02)
    stop.set()
    thread.join()
    assert [one[0] for one in store.upkeep[:2]] == ["rolled", "rolled"]


def test_rows_go_on_while_upkeep_fails(tmp_path, victoria):
    """VictoriaMetrics has no way to delete by the v2 path."""
    series, stop = BEER._replace(site="upkeep"), threading.Event()
    store = InfluxStore(InfluxServer(url=victoria.url, database="d", organisation="o", token="t"))
    forwarder = Forwarder(Spool(tmp_path), store)
    thread = threading.Thread(target=forwarder.run, args=(stop, VirtualClock(DAY)))
    thread.start()
    for minute in range(20):
        forwarder.write([sample(minute, series=series)])
        stop.wait(0.05)
    for _ in range(100):
        if forwarder.spool.oldest() is None:
            break
        stop.wait(0.05)
    stop.set()
    thread.join()
    assert len(exported(victoria, '{__name__="reading_value",site="upkeep"}')) == 20


def test_a_week_without_the_store_and_kills_all_along_lose_nothing(tmp_path, own_influxd):
    """Seven virtual days; before and after it the server is killed at random, and the forwarder begun anew."""
    chance, server = random.Random(7), own_influxd
    database = server.new_database("week")
    clock, forwarder = VirtualClock(DAY), Forwarder(Spool(tmp_path / "spool"), InfluxStore(database))
    written, notes = a_day_of(hours=24 * 9), []
    for number, begin in enumerate(range(0, len(written), 360)):
        notes.append(note(number))
        forwarder.write(written[begin : begin + 360], notes[-1:])
        clock.advance(timedelta(hours=1))
        if number == 20:
            server.kill()
        elif number == 20 + 7 * 24:
            server.start()
        elif not 20 <= number <= 20 + 7 * 24 and chance.random() < 0.15:
            server.kill()
            forwarder.step()
            server.start()
        if chance.random() < 0.1:
            forwarder = Forwarder(Spool(tmp_path / "spool"), InfluxStore(database))
        forwarder.step()
    drain(forwarder)
    store = InfluxStore(database)
    assert checksum(store.raw(BEER, *FOR_EVER)) == checksum(from_rows([one[1:] for one in written]))
    assert annotation_checksum(store.annotations(*FOR_EVER)) == annotation_checksum(notes)


def exported(victoria, selector):
    columns = {}
    for line in victoria.exported(selector):
        one = json.loads(line)
        columns.update(zip(one["timestamps"], one["values"], strict=True))
    return columns


def test_the_v2_write_path_brings_every_sample_once(victoria, tmp_path):
    series = BEER._replace(site="v2")
    store = InfluxStore(InfluxServer(url=victoria.url, database="d", organisation="o", token="t"))
    forwarder = Forwarder(Spool(tmp_path), store)
    written = a_day_of(series)
    for begin in range(0, len(written), 500):
        forwarder.write(written[begin : begin + 500])
    forwarder.write(written[:500])
    drain(forwarder)
    values = exported(victoria, '{__name__="reading_value",site="v2"}')
    grades = exported(victoria, '{__name__="reading_grade",site="v2"}')
    rows = [(at, values[at], int(grades[at])) for at in sorted(values)]
    assert checksum(from_rows(rows)) == checksum(from_rows([one[1:] for one in written]))
