"""A command's short visit to a broker: what it finds, what it asks, what it says when nobody is there."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from random import Random

import pytest
import typer

from schemas.alarms import Condition
from schemas.base import Message, ServiceName
from schemas.contract import encode, topic_for
from schemas.journal import Health, Wellness
from schemas.requests import HoldBatch, Refused
from schemas.topics import TopicKind, every
from services.commands.client import Unreachable, Visit, as_rows, new_request_id, where
from services.commands.common import because, quantity, show_answer
from services.runtime.address import BrokerAddress
from services.runtime.bus import BrokerLink
from services.runtime.service import Outgoing
from tests.brokers import embedded_broker

NOW = datetime(2026, 11, 25, 10, tzinfo=UTC)
HEALTH = Health(at=NOW, source="bridge", service=ServiceName.BRIDGE, state=Wellness.RUNNING)


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BrokerAddress]:
    with embedded_broker(Path(tmp_path_factory.mktemp("broker"))) as address:
        yield address


@pytest.fixture
def visit(broker: BrokerAddress) -> Iterator[Visit]:
    with Visit(broker, Random(1)) as made:
        yield made


@pytest.fixture
def others(broker: BrokerAddress) -> Iterator["Others"]:
    made = Others(broker)
    yield made
    made.leave()


class Others:
    """Whoever else is on the broker; takes back what it said when it leaves."""

    def __init__(self, broker: BrokerAddress) -> None:
        self._visit = Visit(broker, Random(2))
        self._link: BrokerLink = self._visit._link
        self._topics: list[str] = []

    def say(self, topic: str, body: Message | bytes) -> None:
        self._topics.append(topic)
        self._publish(topic, body if isinstance(body, bytes) else encode(body))

    def leave(self) -> None:
        for topic in self._topics:
            self._publish(topic, b"")
        self._link.close()

    def _publish(self, topic: str, payload: bytes) -> None:
        self._link.publish(Outgoing(topic, payload, retain=True))
        self._visit.retained(["nothing/of/the/kind"])


def door(chamber: str) -> Condition:
    return Condition(at=NOW, source="bridge", chamber=chamber, name="door-open", active=True, since=NOW, detail="Open.")


def test_visit_finds_what_is_kept_under_its_filters(visit: Visit, others: Others) -> None:
    others.say("coldside/barn/health/bridge", HEALTH)
    others.say(topic_for("barn", door("ale")), door("ale"))
    assert visit.retained([every("barn", TopicKind.HEALTH)]) == {"coldside/barn/health/bridge": HEALTH}


def test_visit_finds_the_same_when_it_looks_again(visit: Visit, others: Others) -> None:
    others.say("coldside/barn/health/bridge", HEALTH)
    filters = [every("barn", TopicKind.HEALTH)]
    assert visit.retained(filters) == visit.retained(filters) != {}


def test_what_cannot_be_read_is_left_out(visit: Visit, others: Others) -> None:
    others.say("coldside/barn/health/bridge", b"well")
    assert visit.retained([every("barn", TopicKind.HEALTH)]) == {}


def test_only_site_on_a_broker_need_not_be_named(visit: Visit, others: Others) -> None:
    others.say("coldside/barn/health/bridge", HEALTH)
    assert visit.site() == "barn"


def test_of_two_sites_one_must_be_named(visit: Visit, others: Others) -> None:
    others.say("coldside/barn/health/bridge", HEALTH)
    others.say("coldside/shed/health/bridge", HEALTH)
    with pytest.raises(Unreachable, match="sites barn, shed are on this broker; name one with --site"):
        visit.site()


def test_silent_broker_has_no_site(visit: Visit) -> None:
    with pytest.raises(Unreachable, match="no site speaks on this broker"):
        visit.site()


def test_named_site_is_taken_at_its_word(visit: Visit) -> None:
    assert visit.site("shed") == "shed"


def test_devices_are_heard_as_they_speak(visit: Visit, others: Others) -> None:
    others.say("garage/node3/probe", b"18.0\xff")
    assert visit.raw(["garage/#"], 0.4) == [("garage/node3/probe", b"18.0\xff")]


def test_service_that_does_not_answer_is_named(visit: Visit) -> None:
    request = HoldBatch(at=NOW, source="cli", id="1", client=visit.name, who="me", batch="b41")
    with pytest.raises(Unreachable, match="the scheduler does not answer"):
        visit.ask("barn", request)


def test_folder_in_which_nothing_runs_is_told_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(Unreachable, match="start `coldside up`, or name"):
        where("", tmp_path)


def test_named_broker_wins_over_the_folder(tmp_path: Path) -> None:
    assert where("mqtt://barn:1884", tmp_path) == BrokerAddress("barn", 1884)


def test_rows_are_of_one_kind_and_in_order_of_their_topics() -> None:
    ale, bath = door("ale"), door("bath")
    kept = {topic_for("barn", one): one for one in (bath, ale)} | {"coldside/barn/health/bridge": HEALTH}
    assert as_rows(kept, TopicKind.CONDITION) == [ale, bath]


def test_two_people_never_share_a_request() -> None:
    dice = Random(1)
    assert len({new_request_id(dice) for _ in range(10_000)}) == 10_000


@pytest.mark.parametrize(
    ("remedy", "words"),
    [("", "No such batch."), ("name one of b41", "No such batch; name one of b41")],
)
def test_refusal_is_told_with_its_remedy(remedy: str, words: str) -> None:
    assert because(Refused(at=NOW, source="scheduler", id="1", reason="No such batch.", remedy=remedy)) == words


def test_refused_request_ends_the_command_with_status_1(capsys: pytest.CaptureFixture[str]) -> None:
    refused = Refused(at=NOW, source="scheduler", id="1", reason="no such batch")
    with pytest.raises(typer.Exit) as ended:
        show_answer(refused, as_json=True)
    assert ended.value.exit_code == 1
    assert '"reason": "no such batch"' in capsys.readouterr().out


def test_quantity_without_a_unit_ends_the_command_with_status_2() -> None:
    with pytest.raises(typer.Exit) as ended:
        quantity("17", "degC")
    assert ended.value.exit_code == 2
