"""Messages on the wire: what goes out comes back, and what is broken is refused with a reason."""

import json
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ValidationError

from schemas.alarms import Alarm, AlarmPhase, Condition, Priority
from schemas.base import Message, ServiceName, iso
from schemas.conditions import ConditionKind, condition_name, kind_of
from schemas.contract import KINDS, MAX_PAYLOAD_BYTES, Unreadable, decode, encode, retained, topic_for
from schemas.control import Command, Setpoint, Waypoint
from schemas.journal import Health, JournalEntry, Wellness
from schemas.requests import Accepted, HoldBatch, Refused
from schemas.telemetry import READING_MODELS, VALUE_FIELDS, Basis, Quality, Report, TemperatureReading
from schemas.topics import SHAPES, Address, TopicKind, every, parse, topic

NOW = datetime(2026, 11, 25, 14, 5, 0, 123000, tzinfo=UTC)
READING = TemperatureReading(
    at=NOW, source="bridge", chamber="ale-fridge", probe="beer", quality=Quality.GOOD, temperature_c=18.0625
)
TOPIC = "coldside/barn/reading/ale-fridge/beer"
BODY = json.loads(encode(READING))

MESSAGES: list[Message] = [
    READING,
    Report(at=NOW, source="bridge", chamber="c", output="cool", level=1, basis=Basis.ECHOED, since=NOW),
    Command(at=NOW, source="supervisor", chamber="c", output="cool", level=0, why="Rest."),
    Setpoint(
        at=NOW, source="scheduler", chamber="c", temperature_c=18, ahead=(Waypoint(at=NOW, temperature_c=21),)
    ),
    Condition(at=NOW, source="bridge", chamber="c", name="door-open", active=True, since=NOW, detail="Open."),
    Alarm(
        at=NOW, source="notifier", chamber="c", name="door-open", phase=AlarmPhase.UNACKNOWLEDGED,
        priority=Priority.LOW, since=NOW, detail="d", cause="c", consequence="c", response="r",
    ),
    JournalEntry(at=NOW, source="scheduler", id="1", event="batch-started", who="me", why="ready"),
    Health(at=NOW, source="bridge", service=ServiceName.BRIDGE, state=Wellness.RUNNING),
    HoldBatch(at=NOW, source="cli", id="1", client="cli-1", who="me", batch="b41"),
    Accepted(at=NOW, source="scheduler", id="1"),
    Refused(at=NOW, source="scheduler", id="1", reason="no such batch"),
]  # fmt: skip


def _topic_of(message: Message) -> str:
    named = {TopicKind.JOURNAL: ("scheduler",), TopicKind.REPLY: ("cli-1", "1")}
    return topic_for("barn", message, *named.get(KINDS[type(message)], ()))


@pytest.mark.parametrize("message", MESSAGES, ids=lambda message: type(message).__name__)
def test_message_comes_back_as_it_went_out(message: Message) -> None:
    assert decode(_topic_of(message), encode(message)) == message


def test_times_travel_as_utc_with_milliseconds() -> None:
    assert BODY["at"] == "2026-11-25T14:05:00.123Z"
    summer = datetime(2026, 7, 1, 12, tzinfo=timezone(timedelta(hours=1)))
    assert iso(summer) == "2026-07-01T11:00:00.000Z"


def test_time_without_a_zone_is_refused() -> None:
    with pytest.raises(Unreadable, match=r"at: .*timezone"):
        decode(TOPIC, json.dumps(BODY | {"at": "2026-11-25T14:05:00"}).encode())


def test_fields_of_a_newer_neighbour_are_ignored() -> None:
    assert decode(TOPIC, json.dumps(BODY | {"hops": 3}).encode()) == READING


def test_our_own_slip_in_a_field_name_is_refused() -> None:
    with pytest.raises(ValidationError, match="temprature_c"):
        TemperatureReading(**(READING.model_dump() | {"temprature_c": 18}))


BROKEN = {
    "not JSON": (b"18.0", "should be an object"),
    "torn": (encode(READING)[:-5], "Invalid JSON"),
    "not UTF-8": (b"\xff\xfe", "Invalid JSON"),
    "empty": (b"", "Invalid JSON"),
    "huge": (b'{"x":"' + b"y" * MAX_PAYLOAD_BYTES + b'"}', "over the limit of 16000"),
    "NaN": (encode(READING).replace(b"18.0625", b"NaN"), "finite"),
    "infinite": (encode(READING).replace(b"18.0625", b"1e999"), "finite"),
    "wrong type": (encode(READING).replace(b"18.0625", b'"warm"'), "temperature_c"),
    "other version": (encode(READING).replace(b'"v":1', b'"v":2'), "schema version 2, this program speaks 1"),
    "other version, other shape": (b'{"v":3,"warmth":18}', "schema version 3"),
    "other chamber": (encode(READING).replace(b"ale-fridge", b"bath"), "the body speaks of chamber 'bath'"),
    "unknown kind": (encode(READING).replace(b'"measures":"temperature"', b'"measures":"mood"'), "mood"),
}


@pytest.mark.parametrize(("payload", "words"), BROKEN.values(), ids=BROKEN.keys())
def test_broken_payload_is_refused_with_topic_and_reason(payload: bytes, words: str) -> None:
    with pytest.raises(Unreadable) as caught:
        decode(TOPIC, payload)
    assert words in str(caught.value)
    assert TOPIC in str(caught.value)


def test_foreign_topic_is_none_of_ours() -> None:
    with pytest.raises(Unreadable, match="no topic of ours"):
        decode("garage/node3/probes", encode(READING))


@given(st.binary(max_size=300))
@settings(max_examples=300)
def test_no_bytes_crash_the_reader(payload: bytes) -> None:
    with pytest.raises(Unreadable):
        decode(TOPIC, payload)


@pytest.mark.parametrize("measure", sorted(READING_MODELS))
def test_every_measure_has_one_value_field_which_may_be_missing_when_bad(measure: str) -> None:
    base = {"at": NOW, "source": "bridge", "chamber": "c", "probe": "p"}
    bad = READING_MODELS[measure](**base, quality="bad", reason="silent", **{VALUE_FIELDS[measure]: None})
    assert bad.value is None
    assert bad.measures == measure


def test_open_contact_counts_one() -> None:
    contact = READING_MODELS["contact"](
        at=NOW, source="bridge", chamber="c", probe="door", quality=Quality.GOOD, is_open=True
    )
    assert contact.value == 1.0


@pytest.mark.parametrize("kind", TopicKind)
def test_topic_of_each_kind_is_parsed_back(kind: TopicKind) -> None:
    names = tuple(f"name-{number}" for number in range(len(SHAPES[kind].levels)))
    assert parse(topic("barn", kind, *names)) == Address("barn", kind, names)


@pytest.mark.parametrize(
    "names", [("a",), ("a", "b", "c"), ("a", ""), ("a/b", "c"), ("a", "+"), ("#", "b"), ("a b", "c")]
)
def test_topic_with_wrong_names_cannot_be_built(names: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match="topic"):
        topic("barn", TopicKind.READING, *names)


@pytest.mark.parametrize(
    "foreign", ["", "coldside", "coldside/barn", "coldside/barn/mood/a", "coldside/barn/reading/a"]
)
def test_topic_that_is_not_of_our_tree_is_not_parsed(foreign: str) -> None:
    assert parse(foreign) is None


def test_filter_for_a_kind_takes_all_its_names() -> None:
    assert every("barn", TopicKind.READING) == "coldside/barn/reading/+/+"
    assert every("barn", TopicKind.REQUEST, "scheduler") == "coldside/barn/request/scheduler/+"


def test_commands_are_not_kept_for_late_comers() -> None:
    assert not any(retained(message) for message in MESSAGES if isinstance(message, Command))
    assert retained(READING)


def test_condition_name_tells_its_kind() -> None:
    assert kind_of(condition_name(ConditionKind.PROBE_SILENT, "beer")) is ConditionKind.PROBE_SILENT
    assert kind_of("step-late") is ConditionKind.STEP_LATE
    assert kind_of("mood") is None


def test_every_field_of_every_message_is_frozen() -> None:
    assert all(model.model_config["frozen"] for model in KINDS if issubclass(model, BaseModel))
