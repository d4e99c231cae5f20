"""What every bus does alike, whatever it is made of. MQTT's rules are those of OASIS MQTT 3.1.1, by section."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

import pytest

from schemas.control import Command
from schemas.journal import JournalEntry
from services.runtime.link import Link
from services.runtime.service import Outgoing
from tests.contract.venues import VENUES, Listener, Venue
from tests.waiting import turn_until

NOW = datetime(2026, 5, 1, tzinfo=UTC)
END = b"end"


@pytest.fixture(scope="module", params=VENUES, ids=lambda maker: maker.__name__.removesuffix("_venue"))
def venue(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Venue]:
    folder = Path(tmp_path_factory.mktemp("broker"))
    with request.param(folder) as made:
        yield made


@pytest.fixture
def root() -> str:
    """A part of the topic tree that no other test uses."""
    return f"test-{uuid4().hex[:12]}"


@pytest.fixture
def connect(venue: Venue, root: str) -> Iterator[Callable[..., Link]]:
    """Makes connected links, and closes them after the test."""
    links: list[Link] = []

    def make(name: str, **options: object) -> Link:
        link = venue.link(f"{root}-{name}", **options)  # type: ignore[arg-type]
        turn_until([link], lambda: link.connected, "a link to connect")
        links.append(link)
        return link

    yield make
    for link in links:
        link.close()


def send(link: Link, *messages: Outgoing) -> None:
    """Publishes, and waits until the broker has confirmed all of them."""
    wanted = {link.publish(message) for message in messages} - {0}
    confirmed: set[int] = set()

    def all_confirmed() -> bool:
        confirmed.update(link.confirmed())
        return wanted <= confirmed

    turn_until([link], all_confirmed, "confirmations")


def ends(bodies: list[bytes]) -> bool:
    return END in bodies


def both_end(bodies: list[bytes]) -> bool:
    return bodies.count(END) == 2


def test_retained_message_reaches_a_late_listener_and_is_marked(connect, root):
    """Section 3.3.1.3."""
    speaker = connect("speaker")
    send(speaker, Outgoing(f"{root}/a", b"old", retain=True), Outgoing(f"{root}/a", b"kept", retain=True))
    listener = Listener(connect("late"), f"{root}/#")
    assert listener.wait_for(lambda got: len(got) > 0, speaker) == [b"kept"]
    assert listener.got[0].retained


def test_retained_message_reaches_a_present_listener_unmarked(connect, root):
    """Section 3.3.1.3."""
    speaker, listener = connect("speaker"), Listener(connect("early"), f"{root}/#")
    send(speaker, Outgoing(f"{root}/ready", END))
    listener.wait_for(ends, speaker)
    send(speaker, Outgoing(f"{root}/a", b"live", retain=True))
    listener.wait_for(lambda got: b"live" in got, speaker)
    assert not listener.got[-1].retained


def test_empty_retained_payload_clears_what_was_kept(connect, root):
    """Section 3.3.1.3."""
    speaker = connect("speaker")
    send(speaker, Outgoing(f"{root}/a", b"kept", retain=True), Outgoing(f"{root}/a", b"", retain=True))
    listener = Listener(connect("late"), f"{root}/#")
    send(speaker, Outgoing(f"{root}/a", END))
    assert listener.wait_for(ends, speaker) == [END]


def test_wildcards_take_in_exactly_what_they_should(connect, root):
    """Sections 4.7.1.2 and 4.7.1.3."""
    speaker = connect("speaker")
    listener = Listener(connect("one"), f"{root}/+/x", f"{root}/deep/#", f"{root}/end")
    topics = ["a/y", "a/b/x", "x", "deeper", "a/x", "deep", "deep/er/and/er", "end"]
    send(speaker, *(Outgoing(f"{root}/{topic}", topic.encode()) for topic in topics))
    got = listener.wait_for(lambda got: len(got) >= 4, speaker)
    assert sorted(got) == [b"a/x", b"deep", b"deep/er/and/er", b"end"]


def test_messages_of_one_sender_come_in_order(connect, root):
    """Section 4.6."""
    speaker, listener = connect("speaker"), Listener(connect("one"), f"{root}/#")
    bodies = [b"%d" % number for number in range(700)]
    send(speaker, *(Outgoing(f"{root}/n", body) for body in bodies))
    assert listener.wait_for(lambda got: len(got) >= 700, speaker) == bodies


def test_last_will_is_published_when_a_client_is_lost(connect, venue, root):
    """Section 3.1.2.5."""
    listener = Listener(connect("watcher"), f"{root}/#")
    mortal = connect("mortal", will=Outgoing(f"{root}/will", b"lost", retain=True))
    venue.lose(mortal)
    assert listener.wait_for(lambda got: len(got) > 0) == [b"lost"]


def test_a_goodbye_withdraws_the_last_will(connect, venue, root):
    """Section 3.14.4."""
    speaker, listener = connect("speaker"), Listener(connect("watcher"), f"{root}/#")
    polite = connect("polite", will=Outgoing(f"{root}/will", b"lost"))
    polite.close()
    send(speaker, Outgoing(f"{root}/a", END))
    assert listener.wait_for(ends, speaker) == [END]


def test_persistent_session_gets_what_it_missed_in_order(connect, venue, root):
    """Section 3.1.2.4."""
    speaker = connect("speaker")
    fall_asleep(connect, venue, root)
    bodies = [b"%d" % number for number in range(50)]
    send(speaker, *(Outgoing(f"{root}/n", body) for body in bodies))
    awake = Listener(connect("sleeper", persistent=True), f"{root}/#")
    assert awake.wait_for(lambda got: len(got) >= 50, speaker) == bodies


def test_clean_session_gets_nothing_that_it_missed(connect, root):
    """Section 3.1.2.4."""
    speaker = connect("speaker")
    Listener(connect("sleeper"), f"{root}/#").link.close()
    send(speaker, Outgoing(f"{root}/n", b"missed"))
    awake = Listener(connect("sleeper"), f"{root}/#")
    send(speaker, Outgoing(f"{root}/n", END))
    assert awake.wait_for(ends, speaker) == [END]


def test_unacknowledged_messages_come_again_to_a_persistent_session(connect, venue, root):
    """Section 4.4."""
    speaker = connect("speaker")
    careless = Listener(connect("careless", persistent=True), f"{root}/#", acknowledging=False)
    send(speaker, Outgoing(f"{root}/n", b"1"), Outgoing(f"{root}/n", b"2"))
    careless.wait_for(lambda got: len(got) == 2, speaker)
    venue.lose(careless.link)
    again = careless.wait_for(lambda got: len(got) >= 4, speaker)
    assert set(again[2:]) == {b"1", b"2"}


def test_acknowledged_messages_do_not_come_again(connect, venue, root):
    speaker, careful = connect("speaker"), Listener(connect("careful", persistent=True), f"{root}/#")
    send(speaker, Outgoing(f"{root}/n", b"1"))
    careful.wait_for(lambda got: len(got) == 1, speaker)
    venue.lose(careful.link)
    turn_until([careful.link], lambda: careful.link.connections == 2, "a reconnection")
    send(speaker, Outgoing(f"{root}/n", END))
    assert careful.wait_for(ends, speaker) == [b"1", END]


def test_lost_link_comes_back_by_itself_and_listens_again(connect, venue, root):
    speaker, listener = connect("speaker"), Listener(connect("one"), f"{root}/#")
    venue.lose(listener.link)
    turn_until([listener.link], lambda: listener.link.connections == 2 and listener.link.listening, "a reconnection")
    send(speaker, Outgoing(f"{root}/kept", END, retain=True))
    assert END in listener.wait_for(ends, speaker)


def test_no_longer_listened_to_means_no_longer_received(connect, root):
    speaker, listener = connect("speaker"), Listener(connect("one"), f"{root}/a", f"{root}/b")
    listener.link.listen((f"{root}/b", f"{root}/c"))
    turn_until([listener.link], lambda: listener.link.listening, "a subscription")
    send(speaker, Outgoing(f"{root}/c", b"heard"))
    listener.wait_for(lambda got: b"heard" in got)
    send(speaker, *(Outgoing(f"{root}/{level}", level.encode()) for level in "abc"))
    send(speaker, *(Outgoing(f"{root}/{level}", END) for level in "bc"))  # no order holds between two subscriptions
    assert sorted(listener.wait_for(both_end, speaker)) == [b"b", b"c", END, END, b"heard"]


def test_offline_a_journal_line_waits_and_a_command_is_dropped(connect, venue, root):
    """A command that arrives after its lease would switch something on that nobody wants any more."""
    listener = Listener(connect("one"), f"coldside/{root}/#", f"{root}/relay")
    cut_off = connect("two")
    venue.lose(cut_off)
    turn_until([cut_off] if cut_off.connected and cut_off.connections else [], lambda: not cut_off.connected, "loss")
    for message in messages_of_an_outage(root):
        cut_off.publish(message)
    turn_until([cut_off], lambda: cut_off.connections == 2, "a reconnection")
    listener.wait_for(lambda _: len(listener.got) > 0, cut_off)
    send(cut_off, Outgoing(f"{root}/relay", END))
    listener.wait_for(ends, cut_off)
    assert [one.topic for one in listener.got] == [f"coldside/{root}/journal/bridge", f"{root}/relay"]


def fall_asleep(connect: Callable[..., Link], venue: Venue, root: str) -> None:
    """A persistent client listens and is lost; returns when the broker knows, which its last will shows."""
    watcher = Listener(connect("watcher"), f"{root}-gone")
    sleeper = Listener(connect("sleeper", persistent=True, will=Outgoing(f"{root}-gone", b"gone")), f"{root}/#")
    venue.lose(sleeper.link)
    watcher.wait_for(lambda got: len(got) > 0)


def messages_of_an_outage(site: str) -> list[Outgoing]:
    command = Command(at=NOW, source="supervisor", chamber="ale", output="heat", level=1, lease_s=60, why="too cold")
    entry = JournalEntry(at=NOW, source="bridge", id="1", event="lease-ended", who="bridge", why="no command came")
    return [
        Outgoing(f"coldside/{site}/command/ale/heat", command),
        Outgoing(f"{site}/relay", b"on"),
        Outgoing(f"coldside/{site}/journal/bridge", entry),
    ]
