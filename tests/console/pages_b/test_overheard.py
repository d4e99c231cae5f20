"""What devices say is heard only for as long as somebody asks, on any broker."""

import asyncio
from collections.abc import Iterator
from random import Random

import pytest

from schemas.requests import Accepted, Refused
from services.commands.overheard import Overheard
from services.console.desk.answers import said
from services.console.link import NoAnswer
from services.console.sources import Deaf, Leaf, NotUsable, Unavailable
from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.service import Outgoing
from tests.brokers import embedded_broker
from tests.console.pages_b.test_entries import NOON


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BrokerAddress]:
    with embedded_broker(tmp_path_factory.mktemp("broker")) as address:
        yield address


def overheard(broker: BrokerAddress, said_by_device: bytes, topics: str = "shed/#") -> list[Leaf]:
    link = BrokerLink(broker, "device", Random(1))
    ears = Overheard(broker)

    async def both() -> list[Leaf]:
        listening = asyncio.create_task(ears.listen(topics, 3.0))
        while not listening.done():
            link.publish(Outgoing("shed/1/state", said_by_device))
            await asyncio.to_thread(link.turn, 0.1)
        return listening.result()

    try:
        return asyncio.run(both())
    finally:
        link.close()


def test_values_of_a_foreign_device_are_heard_with_their_paths(broker: BrokerAddress) -> None:
    heard = overheard(broker, b'{"beer": {"temperature": 11.5}, "door": 0, "rssi": -61}')
    found = {one.path: one.measures for one in heard}
    assert found == {"$.beer.temperature": "temperature", "$.door": "contact", "$.rssi": ""}
    assert heard[0].examples == ("11.5",)


def test_our_own_messages_are_not_taken_for_a_devices(broker: BrokerAddress) -> None:
    assert overheard(broker, b"1", "coldside/#") == []


def test_what_is_no_topic_filter_is_refused(broker: BrokerAddress) -> None:
    with pytest.raises(NotUsable, match="garage/#"):
        asyncio.run(Overheard(broker).listen("a/#/b", 1.0))


def test_ears_that_were_not_set_up_say_so() -> None:
    with pytest.raises(Unavailable, match="shed"):
        asyncio.run(Deaf().listen("shed/#", 1.0))


@pytest.mark.parametrize(
    ("answer", "outcome", "words"),
    [
        (Accepted(at=NOON, source="x", id="1"), "accepted", "Done."),
        (Accepted(at=NOON, source="x", id="1", detail="Held."), "accepted", "Held."),
        (
            Refused(at=NOON, source="x", id="1", reason="no such batch.", remedy="name one"),
            "refused",
            "Refused: no such batch; name one. Nothing was changed.",
        ),
        (NoAnswer("The notifier is away."), "unanswered", "Nobody answered. The notifier is away."),
    ],
)
def test_every_answer_is_said_in_words(answer: object, outcome: str, words: str) -> None:
    assert said(answer) == (outcome, words)
