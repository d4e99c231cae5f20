"""Messages on their way to one address: none twice at a time, none lost, floods as one."""

from datetime import UTC, datetime, timedelta

import pytest

from schemas.alarms import Priority
from schemas.deliveries import DeliveryState
from services.notifier.outbox import GIVE_UP_AFTER, LONGEST_RETRY_S, Envelope, Notice, Outbox, OutboxState

START = datetime(2026, 3, 1, 12, tzinfo=UTC)
PHONE, MAIL = "ann.phone", "ann.mail"


def notice(name: str = "door-open", priority: Priority = Priority.HIGH) -> Notice:
    return Notice(chamber="ale", name=name, raised=START, priority=priority, step="0/ann.phone/0")


def at(seconds: float) -> datetime:
    return START + timedelta(seconds=seconds)


def box(*notices: Notice) -> Outbox:
    """An outbox with each notice written up as a message of its own."""
    made = Outbox(OutboxState(), flood_at=5)
    for one in notices:
        made.add(PHONE, one)
        made.write_up(START)
    return made


def due(made: Outbox, now: datetime = START) -> list[Envelope]:
    return list(made.due(now))


def send(made: Outbox, now: datetime) -> Envelope:
    return made.leaves(due(made, now)[0], "subject", now)


def test_message_is_due_as_soon_as_it_is_written_up() -> None:
    assert [len(one.notices) for one in due(box(notice()))] == [1]


def test_message_under_way_is_not_sent_a_second_time() -> None:
    made = box(notice())
    send(made, START)
    assert due(made, at(1)) == []


def test_second_message_waits_for_the_first_of_its_address() -> None:
    made = box(notice(), notice("beer-too-warm"))
    first = send(made, START)
    assert due(made, at(1)) == []
    made.settle(first.id, "", at(2))
    assert [one.notices[0].name for one in due(made, at(2))] == ["beer-too-warm"]


def test_address_that_hangs_keeps_no_other_waiting() -> None:
    made = box(notice())
    send(made, START)
    made.add(MAIL, notice())
    made.write_up(START)
    assert [one.member for one in due(made)] == [MAIL]


def test_failed_message_is_tried_again_later_under_its_id() -> None:
    made = box(notice())
    first = send(made, START)
    failed = made.settle(first.id, "no answer", at(5))
    assert failed is not None
    assert due(made, at(6)) == []
    assert [one.id for one in due(made, failed.next_attempt or START)] == [first.id]


def test_pauses_between_attempts_grow_up_to_a_quarter_of_an_hour() -> None:
    made, now, pauses = box(notice()), START, []
    for _ in range(12):
        failed = made.settle(send(made, now).id, "no answer", now)
        assert failed is not None
        assert failed.next_attempt is not None
        pauses.append((failed.next_attempt - now).total_seconds())
        now = failed.next_attempt
    assert pauses[0] < 60
    assert pauses[-1] > LONGEST_RETRY_S / 2
    assert max(pauses) <= LONGEST_RETRY_S * 1.5


def test_message_is_given_up_after_two_weeks_and_says_so() -> None:
    made = box(notice())
    late = START + GIVE_UP_AFTER
    given_up = made.settle(send(made, late).id, "no answer", late)
    assert given_up is not None
    assert given_up.note().state is DeliveryState.GIVEN_UP
    assert due(made, late + timedelta(days=1)) == []


def test_clock_set_back_puts_no_attempt_off_for_long() -> None:
    made = box(notice())
    made.settle(send(made, START).id, "no answer", START)
    assert due(made, START - timedelta(days=30)) != []


def test_something_critical_has_a_failing_address_tried_at_once() -> None:
    made = box(notice())
    made.settle(send(made, START).id, "no answer", START)
    made.add(PHONE, notice("beer-near-freezing", Priority.CRITICAL))
    assert due(made, at(1)) != []


def test_delivered_message_is_settled_once() -> None:
    made = box(notice())
    sent = send(made, START)
    delivered = made.settle(sent.id, "", at(1))
    assert delivered is not None
    assert delivered.note().state is DeliveryState.DELIVERED
    assert made.settle(sent.id, "", at(2)) is None


def test_late_failure_of_what_was_delivered_meanwhile_changes_nothing() -> None:
    made = box(notice())
    sent = send(made, START)
    made.settle(sent.id, "", at(1))
    assert made.settle(sent.id, "no answer", at(2)) is None


def test_word_of_an_unknown_message_changes_nothing() -> None:
    assert box().settle("nobodys", "", START) is None


def test_flood_becomes_one_message() -> None:
    made = Outbox(OutboxState(), flood_at=3)
    for n in range(8):
        made.add(PHONE, notice(f"probe-silent-{n}"))
    made.write_up(START)
    assert sum(len(one.notices) for one in made.kept.envelopes) == 8
    assert len(made.kept.envelopes) < 8


def test_test_message_says_who_asked_and_carries_no_alarm() -> None:
    made = box()
    made.add_test(PHONE, "Ada", "r1", START)
    assert [(one.asked_by, one.notices) for one in due(made)] == [("Ada", ())]


def test_restart_sends_what_was_under_way_again_under_its_id() -> None:
    made = box(notice())
    sent = send(made, START)
    again = Outbox(OutboxState.model_validate_json(made.kept.model_dump_json()), flood_at=5)
    assert [one.id for one in due(again, at(1))] == [sent.id]


def test_restart_forgets_no_notice_that_was_not_yet_written_up() -> None:
    made = Outbox(OutboxState(), flood_at=5)
    made.add(PHONE, notice())
    again = Outbox(OutboxState.model_validate_json(made.kept.model_dump_json()), flood_at=5)
    assert again.write_up(START) == {PHONE}


@pytest.mark.parametrize("written", [True, False])
def test_address_that_is_no_more_takes_its_messages_with_it(written: bool) -> None:
    made = Outbox(OutboxState(), flood_at=5)
    made.add(PHONE, notice())
    if written:
        made.write_up(START)
    made.drop([PHONE])
    assert (made.busy, made.members) == (False, ())
