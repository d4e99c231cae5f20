"""What must not be lost stays in the outbox until the broker has it."""

from datetime import UTC, datetime

import pytest

from schemas.control import Command
from schemas.journal import JournalEntry
from schemas.requests import Accepted
from services.runtime.outbox import Outbox
from services.runtime.service import Outgoing

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)


def line(name: str) -> Outgoing:
    body = JournalEntry(at=NOW, source="scheduler", id=name, event="batch-started", who="me", why="ready")
    return Outgoing("coldside/barn/journal/scheduler", body)


def command() -> Outgoing:
    body = Command(at=NOW, source="supervisor", chamber="c", output="cool", level=0, why="Rest.")
    return Outgoing("coldside/barn/command/c/cool", body)


def reply() -> Outgoing:
    return Outgoing("coldside/barn/reply/cli-1/7", Accepted(at=NOW, source="scheduler", id="7"))


def ids(box: Outbox) -> list[str]:
    return [one.payload.split('"id":"')[1].split('"')[0] for one in box.unsent()]


def test_line_waits_until_the_broker_confirms_its_number() -> None:
    box = Outbox()
    box.sent(box.add([line("a"), line("b")]), [11, 12])
    box.confirm([11])
    assert ids(box) == ["b"]


@pytest.mark.parametrize("other", [command(), Outgoing("relay/1", b"1"), Outgoing("foreign/topic", reply().body)])
def test_what_is_said_again_anyway_is_not_kept(other: Outgoing) -> None:
    box = Outbox()
    assert box.add([other, reply()]) == [-1, 0]
    assert len(box.unsent()) == 1


def test_message_that_no_broker_will_ever_take_is_not_kept_for_ever() -> None:
    box = Outbox()
    box.sent(box.add([line("a"), line("b")]), [0, 12])
    assert ids(box) == ["b"]


def test_confirmation_of_what_is_not_ours_changes_nothing() -> None:
    box = Outbox()
    box.sent(box.add([line("a")]), [11])
    box.changed = False
    box.confirm([99])
    assert (ids(box), box.changed) == (["a"], False)


def test_number_used_again_confirms_only_the_later_message() -> None:
    box = Outbox()
    box.sent(box.add([line("a")]), [11])
    box.confirm([11])
    box.sent(box.add([line("b")]), [11])
    box.confirm([11])
    assert ids(box) == []


def test_what_an_earlier_life_left_is_sent_again_once_and_in_order() -> None:
    before = Outbox()
    before.add([line("a"), line("b")])
    box, published = Outbox(before.unsent()), []
    for _ in range(2):
        box.send_again(lambda outgoing: published.append(outgoing) or 20 + len(published))
    assert [one.body for one in published] == [one.payload.encode() for one in before.unsent()]


def test_what_was_sent_again_waits_for_its_confirmation_as_any_other() -> None:
    before = Outbox()
    before.add([line("a")])
    box = Outbox(before.unsent())
    box.send_again(lambda _outgoing: 21)
    assert ids(box) == ["a"]
    box.confirm([21])
    assert ids(box) == []


def test_new_message_never_takes_the_place_of_one_left_over() -> None:
    before = Outbox()
    before.add([line("a")])
    box = Outbox(before.unsent())
    box.add([line("b")])
    assert ids(box) == ["a", "b"]


def test_retained_message_is_left_over_as_retained() -> None:
    box = Outbox()
    box.add([Outgoing(line("a").topic, line("a").body, retain=True)])
    assert box.unsent()[0].retain
