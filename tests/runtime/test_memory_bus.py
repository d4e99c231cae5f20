"""What the memory bus does beyond the contract of every bus: order, mishaps, the wire."""

from datetime import UTC, datetime, timedelta
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.control import Setpoint
from schemas.topics import matches
from services.runtime.memory_bus import MemoryBus, Mishaps
from services.runtime.service import Incoming, Outgoing

NOW = datetime(2026, 5, 1, tzinfo=UTC)
SETPOINT = "coldside/barn/setpoint/ale"


def setpoint(temperature_c=4.0):
    return Setpoint(at=NOW, source="scheduler", chamber="ale", temperature_c=temperature_c)


def listen(bus, *filters, client_id="ear", **options):
    heard: list[Incoming] = []
    bus.join(client_id, heard.append, filters or ("#",), **options)
    return heard


def feed(bus, count, topic="n"):
    for number in range(count):
        bus.publish(Outgoing(topic, b"%d" % number))
    bus.deliver(NOW)


def numbers(heard):
    return [int(one.body) for one in heard]


def risky(seed=1, **mishaps):
    return MemoryBus(mishaps=Mishaps(Random(seed), **mishaps))


def test_nothing_is_delivered_before_it_is_asked_for():
    bus = MemoryBus()
    heard = listen(bus)
    bus.publish(Outgoing("a", b"1"))
    assert heard == []


def test_message_objects_pass_as_they_are():
    bus, message = MemoryBus(), setpoint()
    heard = listen(bus)
    bus.publish(Outgoing(SETPOINT, message))
    bus.deliver(NOW)
    assert heard[0].body is message


def test_on_the_wire_an_equal_message_arrives_that_is_another():
    bus, message = MemoryBus(on_the_wire=True), setpoint()
    heard = listen(bus)
    bus.publish(Outgoing(SETPOINT, message))
    bus.deliver(NOW)
    assert heard[0].body == message
    assert heard[0].body is not message


@pytest.mark.parametrize("on_the_wire", [False, True])
def test_bytes_on_our_topics_that_are_no_message_are_counted_and_not_delivered(on_the_wire):
    bus = MemoryBus(on_the_wire=on_the_wire)
    heard = listen(bus)
    bus.publish(Outgoing(SETPOINT, b"rubbish", retain=True))
    bus.deliver(NOW)
    assert (heard, bus.unreadable, bus.retained) == ([], 1, {})


def test_what_a_receiver_publishes_is_delivered_in_the_same_go():
    bus = MemoryBus()
    heard = listen(bus, "b")
    bus.join("relay", lambda one: bus.publish(Outgoing("b", one.body)), ("a",))
    bus.publish(Outgoing("a", b"1"))
    assert bus.deliver(NOW) == 2
    assert numbers(heard) == [1]


def test_receivers_that_answer_each_other_for_ever_are_stopped():
    bus = MemoryBus()
    bus.join("echo", lambda one: bus.publish(Outgoing("a", one.body)), ("a",))
    bus.publish(Outgoing("a", b"1"))
    with pytest.raises(RuntimeError, match="answer each other for ever"):
        bus.deliver(NOW, limit=100)


def test_same_client_joining_again_takes_over_and_the_first_is_lost():
    bus = MemoryBus()
    wills = listen(bus, "will", client_id="watcher")
    first = listen(bus, "n", client_id="twin", will=Outgoing("will", b"1"))
    second = listen(bus, "n", client_id="twin")
    feed(bus, 1)
    assert (numbers(first), numbers(second), len(wills)) == ([], [0], 1)


def test_message_on_its_way_to_a_persistent_client_that_dies_waits_for_it():
    bus, heard = MemoryBus(), []
    session = bus.join("sleeper", heard.append, ("n",), persistent=True)
    bus.publish(Outgoing("n", b"7"))
    bus.die(session)
    bus.deliver(NOW)
    bus.join("sleeper", heard.append, ("n",), persistent=True)
    bus.deliver(NOW)
    assert numbers(heard) == [7]


def test_qos_0_message_does_not_wait_for_anybody():
    bus, heard = MemoryBus(), []
    bus.die(bus.join("sleeper", heard.append, ("n",), persistent=True))
    bus.publish(Outgoing("n", b"7", qos=0))
    bus.deliver(NOW)
    bus.join("sleeper", heard.append, ("n",), persistent=True)
    bus.deliver(NOW)
    assert heard == []


@given(st.lists(st.tuples(st.integers(0, 3), st.text("ab/", min_size=1, max_size=5)), max_size=40))
def test_whoever_joins_and_leaves_each_message_goes_to_those_who_listen_then(events):
    filters = ("#", "a/+", "+/b", "a/#")
    bus, heard, expected, present = MemoryBus(), {}, {}, {}
    for who, topic in events:
        if who in present:
            bus.leave(present.pop(who))
        else:
            present[who] = bus.join(str(who), heard.setdefault(who, []).append, (filters[who],))
        bus.publish(Outgoing(topic, b""))
        bus.deliver(NOW)
        for one in present:
            if matches(filters[one], topic):
                expected.setdefault(one, []).append(topic)
    assert {who: [one.topic for one in got] for who, got in heard.items() if got} == expected


def test_without_mishaps_everything_arrives_once_and_in_order():
    bus = risky()
    heard = listen(bus)
    feed(bus, 200)
    assert numbers(heard) == list(range(200))


def test_dropped_messages_never_arrive():
    bus = risky(drop=0.3)
    heard = listen(bus)
    feed(bus, 1000)
    assert 600 < len(heard) < 800
    assert numbers(heard) == sorted(set(numbers(heard)))


def test_duplicated_messages_arrive_twice():
    bus = risky(duplicate=0.3)
    heard = listen(bus)
    feed(bus, 1000)
    assert 1200 < len(heard) < 1400
    assert set(numbers(heard)) == set(range(1000))


def test_reordered_messages_all_arrive_but_not_in_order():
    bus = risky(reorder=0.1)
    heard = listen(bus)
    feed(bus, 300)
    assert numbers(heard) != list(range(300))
    assert sorted(numbers(heard)) == list(range(300))


def test_delayed_messages_arrive_when_due_and_not_before():
    bus = risky(delay=1.0, longest_delay=timedelta(seconds=10))
    heard = listen(bus)
    bus.deliver(NOW)
    feed(bus, 100)
    due = bus.next_due()
    assert (heard, due is not None and NOW < due < NOW + timedelta(seconds=10)) == ([], True)
    bus.deliver(NOW + timedelta(seconds=5))
    assert 20 < len(heard) < 80
    bus.deliver(NOW + timedelta(seconds=10))
    assert (len(heard), bus.next_due()) == (100, None)


def test_mishaps_strike_only_where_they_are_allowed_to():
    bus = risky(drop=1.0, filters=("raw/#",))
    heard = listen(bus)
    feed(bus, 10, topic="raw/n")
    feed(bus, 10, topic="safe/n")
    assert {one.topic for one in heard} == {"safe/n"}


@given(st.integers())
def test_same_seed_gives_the_same_mishaps(seed):
    def run():
        bus = risky(seed, drop=0.2, duplicate=0.2, reorder=0.2)
        heard = listen(bus)
        feed(bus, 50)
        return numbers(heard)

    assert run() == run()


def test_retained_messages_come_in_order_of_their_topics():
    bus = MemoryBus()
    for topic in ("c", "a", "b"):
        bus.publish(Outgoing(topic, b"1", retain=True))
    heard = listen(bus)
    bus.deliver(NOW)
    assert [one.topic for one in heard] == ["a", "b", "c"]
