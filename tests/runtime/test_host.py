"""The host: what goes wrong around a core stays outside it, and what it said is not lost."""

from datetime import timedelta
from pathlib import Path

import pytest

from schemas.journal import Wellness
from services.runtime.plant_watch import PlantWatch
from services.runtime.service import Durability, Incoming, Outgoing
from tests.runtime.bench import HEALTH, START, Bench
from tests.runtime.counting import STANDING, Counter

SETPOINT = "coldside/barn/setpoint/ale"


def lazy_counter(seen):
    return Counter(seen, Durability.LAZILY)


@pytest.fixture(params=[Counter, lazy_counter], ids=["before-effects", "lazily"])
def bench(request, tmp_path):
    return Bench(tmp_path, request.param)


def test_core_is_started_before_it_hears_anything(bench):
    bench.send(b"1")
    assert bench.journal() == ["started", "number-1"]


def test_retained_topics_are_published_on_the_first_connection(bench):
    assert bench.bus.retained[STANDING].body == b"0"


def test_retained_topics_are_published_again_after_every_reconnection(bench):
    bench.send(b"1")
    bench.link.cut()
    bench.link.reachable = True
    bench.turn()
    assert bench.bus.retained[STANDING].body == b"1"
    assert bench.health().counts["connections"] == 2


def test_message_that_a_core_chokes_on_costs_only_its_own_answer(bench):
    bench.send(b"1", b"not a number", b"2")
    assert bench.journal() == ["started", "number-1", "number-2"]
    assert bench.book.counts["failed-raw"] == 1
    assert "not a number" in bench.book.last_error


@pytest.mark.parametrize(
    "payload",
    [
        b"{", b"\xff\xfe", b"[]", b"null", b"NaN", b"{}", b'{"v": 99}', b"[" * 5000, b'{"temperature_c": Infinity}',
        b'{"v":1,"at":"2026-05-01T12:00:00Z","source":"scheduler","chamber":"other","temperature_c":4}',
        b'{"pad": "' + b"x" * 20_000 + b'"}',
    ],
    ids=lambda payload: repr(payload[:30]),
)  # fmt: skip
def test_poison_on_our_own_topics_is_counted_and_reported_and_harms_nothing(tmp_path, payload):
    bench = RawBench(tmp_path)
    bench.poison(SETPOINT, payload)
    bench.send(b"1")
    bench.turn(seconds=12)
    assert bench.journal() == ["started", "number-1"]
    assert bench.health().counts["unreadable-setpoint"] == 1
    assert SETPOINT in bench.health().last_error


class RawBench(Bench):
    """A bench whose link can be handed bytes on our topics, as a real broker would."""

    def poison(self, topic: str, payload: bytes) -> None:
        self.link.arrive(Incoming(topic, payload))
        self.turn()


def test_cleared_retained_topic_is_no_poison(tmp_path):
    bench = RawBench(tmp_path)
    bench.poison(SETPOINT, b"")
    assert not [name for name in bench.book.counts if name.startswith("unreadable")]


def test_health_is_said_every_ten_seconds(bench):
    bench.turn(seconds=60)
    said = [one.body.at for one in bench.heard if one.topic == HEALTH]
    gaps = {round((later - earlier).total_seconds()) for earlier, later in zip(said[1:], said[2:], strict=False)}
    assert gaps == {10}


def test_health_tells_version_uptime_and_queue(bench):
    bench.turn(seconds=20)
    health = bench.health()
    assert (health.version, health.started, health.state) == ("1.2.3", START, Wellness.RUNNING)
    assert health.uptime_s == 20
    assert health.queue_depth == 0


def test_new_kind_of_error_is_in_health_within_two_seconds(bench):
    bench.send(b"not a number")
    bench.turn(seconds=2)
    assert "not a number" in bench.health().last_error


def test_core_is_ticked_once_a_second_of_its_own_time(bench):
    before = bench.core.ticks
    bench.turn(seconds=30)
    assert bench.core.ticks - before == 30


def test_core_is_ticked_on_though_the_wall_clock_is_set_back(bench):
    before = bench.core.ticks
    bench.clock.set_by(timedelta(hours=-3))
    bench.turn(seconds=30)
    assert bench.core.ticks - before == 30


@pytest.mark.parametrize("hours", [-3, 1, 24 * 365])
def test_clock_that_is_set_is_counted_and_reported(bench, hours):
    bench.clock.set_by(timedelta(hours=hours))
    bench.turn(seconds=2)
    assert bench.health().counts["clock-steps"] == 1
    assert f"{hours * 3600:+.1f} s" in bench.health().last_error


def test_core_that_minds_the_clock_is_told_of_the_step(tmp_path):
    class Minding(Counter):
        steps: list[timedelta] = []  # noqa: RUF012

        def clock_stepped(self, by, now):
            self.steps.append(by)
            return ()

    bench = Bench(tmp_path, Minding)
    bench.clock.set_by(timedelta(minutes=-5))
    bench.turn()
    assert bench.core.steps == [timedelta(minutes=-5)]


def test_clean_stop_gives_the_core_its_last_word_and_says_stopping(bench):
    bench.host.end()
    bench.bus.deliver(bench.clock.now())
    assert bench.journal()[-1] == "stopped"
    assert bench.health().state is Wellness.STOPPING
    assert not bench.link.connected


def test_state_survives_a_clean_stop(bench):
    bench.send(b"1", b"2")
    bench.host.end()
    bench.live()
    assert bench.core.numbers == [1, 2]


def test_state_of_a_careful_core_is_on_disk_before_its_answer_is_heard(tmp_path):
    bench = Bench(tmp_path)
    bench.bus.publish(Outgoing("feed/numbers", b"7"))
    on_disk: list[bool] = []
    bench.bus.join("witness", lambda _: on_disk.append(b"7" in bench.path.read_bytes()), ["coldside/barn/journal/#"])
    bench.turn()
    assert on_disk == [True]


def test_journal_line_unsent_when_killed_is_sent_by_the_next_life(tmp_path):
    bench = Bench(tmp_path)
    bench.core.tick = lambda now: [bench.core._line("decided", now)]
    bench.link.cut()
    bench.turn(seconds=1)
    assert "decided" not in bench.journal()
    bench.live()
    assert "decided" in bench.journal()


def test_sent_journal_line_is_not_sent_again(tmp_path):
    bench = Bench(tmp_path)
    bench.send(b"1")
    bench.host.end()
    bench.live()
    assert bench.journal().count("number-1") == 1


def test_input_taken_but_not_acknowledged_comes_again_after_a_kill(bench):
    bench.bus.publish(Outgoing("feed/numbers", b"5"))
    bench.link.turn(0)
    bench.link.cut()
    bench.live()
    assert "number-5" in bench.journal()


@pytest.mark.parametrize("torn", [b"", b"{", b"\x00" * 512, b'{"v":2,"snapshot":{}}', b'{"v":1,"snapshot":{"v":1,"num'])
def test_torn_state_is_kept_aside_and_reported_and_the_service_starts_fresh(tmp_path, torn):
    (tmp_path / "scheduler.json").write_bytes(torn)
    bench = Bench(tmp_path)
    bench.turn(seconds=2)
    assert (tmp_path / "scheduler.json.unreadable-1").read_bytes() == torn
    assert bench.health().counts["state-unreadable"] == 1
    assert "starting fresh" in bench.health().last_error


def test_disk_that_refuses_is_reported_and_control_goes_on(tmp_path):
    bench = Bench(tmp_path / "state")
    bench.path.unlink()
    bench.path.mkdir()
    bench.send(b"1")
    bench.turn(seconds=2)
    assert "number-1" in bench.journal()
    assert bench.health().counts["state-not-saved"] >= 1


def test_plant_file_change_reaches_a_core_that_follows_it(tmp_path):
    seen: list[object] = []

    class Following(Counter):
        def plant_changed(self, plant, now):
            seen.append(plant)
            return ()

        def plant_refused(self, text, now):
            seen.append(text)
            return ()

    path = tmp_path / "barn.yaml"
    path.write_text("old")
    bench = Bench(tmp_path, Following, watch=PlantWatch(path, lambda file: file.read_text()))
    bench.turn(seconds=3)
    path.write_text("newer")
    bench.turn(seconds=3)
    assert seen == ["newer"]


def test_polled_devices_reach_the_core_as_raw_messages(tmp_path):
    fresh = [Incoming("wire/28-1", b"41")]
    bench = Bench(tmp_path, poll=lambda _now: [fresh.pop()] if fresh else [])
    assert "number-41" in bench.journal()


def test_device_poll_that_fails_is_counted_and_the_rest_goes_on(tmp_path):
    def unplugged(_now):
        raise OSError("no such device")

    bench = Bench(tmp_path, poll=unplugged)
    bench.send(b"1")
    assert "number-1" in bench.journal()
    assert bench.book.counts["failed-poll"] >= 1


def test_raw_output_that_is_performed_does_not_go_to_the_broker(tmp_path):
    done: list[Outgoing] = []
    bench = Bench(tmp_path, perform=lambda outgoing: outgoing.topic == STANDING and not done.append(outgoing))
    assert [one.topic for one in done] == [STANDING]
    assert STANDING not in bench.bus.retained


def test_core_that_flushes_by_itself_is_acknowledged_only_after_its_flush(tmp_path):
    answers = [False, False, True]

    class Flushing(Counter):
        def flush(self, now):
            return answers.pop(0) if answers else True

    bench = Bench(tmp_path, Flushing)
    bench.send(*(b"%d" % number for number in range(500)))
    while answers:
        assert bench.link.unacknowledged == 500
        bench.host.turn(0)
    assert bench.link.unacknowledged == 0


def test_host_takes_no_more_than_it_can_settle(tmp_path):
    class Stuck(Counter):
        def flush(self, now):
            return False

    bench = Bench(tmp_path, Stuck)
    bench.send(*(b"%d" % number for number in range(3000)))
    for _ in range(50):
        bench.turn()
    assert 800 <= len(bench.core.numbers) <= 1000
    assert bench.link.waiting >= 2000


def test_changed_filters_are_followed_within_a_second(tmp_path):
    class Widening(Counter):
        listens = ("feed/numbers",)

    bench = Bench(tmp_path, Widening)
    bench.core.listens = ("feed/numbers", "feed/more")
    bench.turn(seconds=1)
    bench.send(b"9", topic="feed/more")
    assert "number-9" in bench.journal()


def test_log_names_each_kind_of_trouble_once_in_ten_seconds(bench, caplog):
    bench.send(*[b"not a number"] * 50)
    assert len([one for one in caplog.records if one.getMessage() == "failed-raw"]) == 1
    assert bench.book.counts["failed-raw"] == 50


def test_example_state_file_is_plain_json(tmp_path: Path):
    bench = Bench(tmp_path)
    bench.send(b"3")
    assert bench.path.read_text().startswith('{"v":1,"snapshot":{"v":1,"numbers":[3]}')
