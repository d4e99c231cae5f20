"""Mishaps at their limits, a bus with nobody on it, clocks, packets, and members of the family that never ran."""

from datetime import UTC, datetime, timedelta, timezone
from random import Random

import pytest

from schemas.base import ServiceName
from services.runtime.clock import ScaledClock, VirtualClock, in_milliseconds
from services.runtime.family import Member, Plan, say
from services.runtime.frames import Frame, Frames, Packet, read_publish, write_publish
from services.runtime.health import HealthBook, last_will
from services.runtime.memory_bus import MemoryBus, Mishaps, Session
from services.runtime.metrics import as_text
from services.runtime.service import Outgoing

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)


def mishaps(**odds: float) -> Mishaps:
    return Mishaps(Random(1), **odds)


def test_delivery_that_is_always_lost_never_has_a_copy() -> None:
    assert {mishaps(drop=1.0, duplicate=1.0).copies() for _ in range(20)} == {0}


def test_delivery_that_is_always_doubled_has_two_copies() -> None:
    assert mishaps(duplicate=1.0).copies() == 2


def test_bus_without_mishaps_delivers_once_at_once_and_in_place() -> None:
    calm = mishaps()
    assert (calm.copies(), calm.held_back(), calm.place(5)) == (1, None, None)


def test_muddled_delivery_takes_any_place_among_those_waiting_or_the_last() -> None:
    rough = mishaps(reorder=1.0)
    assert {rough.place(2) for _ in range(100)} == {0, 1, 2}


def test_late_delivery_comes_before_the_longest_delay() -> None:
    late = Mishaps(Random(1), delay=1.0, longest_delay=timedelta(seconds=3))
    assert all(timedelta(0) <= late.held_back() < timedelta(seconds=3) for _ in range(100))


def test_mishaps_strike_nothing_where_no_topic_is_named() -> None:
    assert not Mishaps(Random(1), drop=1.0, filters=()).strike("a/b")


@pytest.mark.parametrize(
    ("topic", "heard"), [("a/b", True), ("a", True), ("b/c", True), ("b/c/d", False), ("c", False)]
)
def test_session_hears_what_one_of_its_filters_takes_in(topic: str, heard: bool) -> None:
    assert Session("one", lambda _: None, ("a/#", "b/+")).hears(topic) is heard


def test_session_without_filters_hears_nothing() -> None:
    assert not Session("one", lambda _: None).hears("a")


def test_empty_bus_has_nothing_due() -> None:
    bus = MemoryBus()
    assert (bus.next_due(), bus.retained) == (None, {})


def test_retained_message_is_replaced_by_a_later_one_on_its_topic() -> None:
    bus = MemoryBus()
    for word in (b"old", b"new"):
        bus.publish(Outgoing("a", word, retain=True))
    bus.deliver(NOW)
    assert [one.body for one in bus.retained.values()] == [b"new"]


def test_empty_payload_takes_a_retained_message_away() -> None:
    bus = MemoryBus()
    for word in (b"old", b""):
        bus.publish(Outgoing("a", word, retain=True))
    bus.deliver(NOW)
    assert bus.retained == {}


def test_zones_do_not_change_the_moment_that_a_virtual_clock_shows() -> None:
    there = NOW.astimezone(timezone(timedelta(hours=5, minutes=45)))
    assert VirtualClock(there).now() == NOW


def test_advancing_by_nothing_changes_nothing() -> None:
    clock = VirtualClock(NOW)
    assert (clock.advance(timedelta(0)), clock.elapsed()) == (NOW, 0.0)


def test_two_steps_of_the_wall_clock_are_told_as_one() -> None:
    clock = VirtualClock(NOW)
    clock.set_by(timedelta(hours=1))
    clock.set_by(timedelta(hours=-3))
    assert clock.step() == timedelta(hours=-2)


def test_advancing_to_a_moment_arrives_there() -> None:
    clock = VirtualClock(NOW)
    assert clock.advance_to(NOW + timedelta(hours=2)) == clock.now() == NOW + timedelta(hours=2)


def test_moment_in_whole_milliseconds_stays_as_it_is() -> None:
    assert in_milliseconds(NOW.replace(microsecond=5000)) == NOW.replace(microsecond=5000)


def test_slow_clock_waits_longer_in_the_real_world() -> None:
    assert ScaledClock(0.5, NOW, NOW).in_real_seconds(3.0) == 6.0


def test_refused_factor_of_a_clock_is_named() -> None:
    with pytest.raises(ValueError, match="over 0, got -2"):
        ScaledClock(-2, NOW, NOW)


def test_nothing_comes_out_before_anything_was_fed() -> None:
    assert Frames().next() is None


def test_packet_without_a_body_is_whole_after_two_bytes() -> None:
    frames = Frames()
    frames.feed(b"\xd0\x00")  # PINGRESP: OASIS MQTT 3.1.1, section 3.13
    assert (frames.next(), frames.next()) == (Frame(0xD0, b""), None)


@pytest.mark.parametrize("qos", [0, 1])
@pytest.mark.parametrize("retain", [False, True])
def test_published_packet_without_a_payload_is_read_as_written(qos: int, retain: bool) -> None:
    packet = Packet(b"a", b"", qos, retain, 7 if qos else 0)
    frames = Frames()
    frames.feed(write_publish(packet))
    assert read_publish(frames.next()) == packet


def test_book_with_no_count_still_tells_its_queue() -> None:
    book = HealthBook(ServiceName.BRIDGE, "barn", "1", NOW)
    assert as_text([book]).splitlines()[-1] == 'coldside_queue_depth{service="bridge"} 0'


def test_figures_of_two_services_stand_under_one_heading() -> None:
    books = [HealthBook(name, "barn", "1", NOW) for name in (ServiceName.BRIDGE, ServiceName.RECORDER)]
    for book in books:
        book.counts["poison"] = 2
    assert as_text(books).count("# TYPE") == 2
    assert as_text(books).count('name="poison"} 2') == 2


def test_last_will_is_of_the_service_and_site_it_is_made_for() -> None:
    will = last_will(ServiceName.NOTIFIER, "cellar", NOW)
    assert will.topic == "coldside/cellar/health/notifier"


def test_member_that_was_never_started_is_not_alive_and_can_be_stopped() -> None:
    member = Member("bridge", ["coldside"])
    member.stop()
    assert (member.alive, member.starts) == (False, 0)


def test_plan_keeps_a_broker_of_its_own_for_ever_unless_told_otherwise() -> None:
    plan = Plan(members={}, state_folder="state")
    assert (plan.embedded_broker, plan.preferred_port, plan.for_s, plan.secure_folder) == (True, 1883, None, "")


def test_keeper_speaks_on_standard_error(capsys: pytest.CaptureFixture[str]) -> None:
    say("bridge ended (1)")
    heard = capsys.readouterr()
    assert "bridge ended (1)" in heard.err
    assert heard.out == ""
