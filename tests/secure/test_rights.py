"""Rights by themselves, against the table of topics in the project's design, written down here once more."""

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schemas.base import ServiceName
from schemas.plant_file import load
from schemas.topics import TopicKind, every, matches, topic
from services.commands.running import barn_file
from services.secure.rights import Account, Holder, NotSeparable, accounts, devices
from tests.secure.site import PLANT, plant_in

OWNERS = {
    TopicKind.READING: {"bridge"},
    TopicKind.REPORT: {"bridge"},
    TopicKind.COMMAND: {"supervisor"},
    TopicKind.SETPOINT: {"scheduler"},
    TopicKind.STATUS: {"supervisor"},
    TopicKind.BATCH: {"scheduler"},
    TopicKind.ALARM: {"notifier", "deputy"},
    TopicKind.DELIVERY: {"notifier"},
    TopicKind.REQUEST: {"console", "operator"},
}
"""Who alone may say each kind, as the design has it; the deputy stands in for the notifier when that is gone."""
NAMES = st.from_regex(r"[a-z][a-z0-9-]{0,10}[a-z0-9]", fullmatch=True)
BARN = load(barn_file())


def sayers(topic_name: str) -> set[str]:
    """Every account that may publish there."""
    return {one.name for one in accounts(BARN) if any(matches(right, topic_name) for right in one.writes)}


@pytest.mark.parametrize("kind", OWNERS)
@settings(deadline=None)
@given(first=NAMES, second=NAMES)
def test_each_kind_of_topic_is_said_by_its_owners_alone(kind: TopicKind, first: str, second: str) -> None:
    levels = (first, second)[: every("barn", kind).count("+")]
    assert sayers(topic("barn", kind, *levels)) == OWNERS[kind]


@settings(deadline=None)
@given(site=NAMES.filter(lambda name: name != "barn"), first=NAMES, second=NAMES)
def test_nobody_may_say_anything_on_another_site(site: str, first: str, second: str) -> None:
    assert not sayers(topic(site, TopicKind.COMMAND, first, second))


@pytest.mark.parametrize("kind", [TopicKind.HEALTH, TopicKind.JOURNAL])
@pytest.mark.parametrize("service", list(ServiceName))
def test_health_and_journal_are_said_by_the_service_itself_alone(service: ServiceName, kind: TopicKind) -> None:
    assert sayers(topic("barn", kind, service)) == {service.value}


@pytest.mark.parametrize("account", accounts(BARN), ids=lambda account: account.name)
def test_only_people_may_hear_more_than_their_site(account: Account) -> None:
    wide = [one for one in account.reads if one.split("/")[0] in ("#", "+")]
    assert bool(wide) == (account.holder is Holder.PERSON)


def test_service_may_hear_every_topic_that_its_core_listens_to() -> None:
    from services.supervisor.__main__ import build

    reads = next(one.reads for one in accounts(BARN) if one.name == "supervisor")
    assert set(build(BARN, None).listens) <= set(reads)


def test_device_writes_what_it_measures_and_reads_what_it_obeys(tmp_path: Path) -> None:
    board, kegs = devices(plant_in(tmp_path))
    assert (board.name, board.writes) == ("device-garage-node3", ("garage/node3/probes", "garage/node3/state/2"))
    assert board.reads == ("garage/node3/relay/1", "garage/node3/relay/2")
    assert (kegs.name, kegs.writes, kegs.reads) == ("device-keg-board", ("kegs/temperature",), ("kegs/relay",))


@pytest.mark.parametrize("sign", ["*", ">", "\\n", "\\u0007"])
def test_topic_that_could_open_more_than_itself_is_refused(tmp_path: Path, sign: str) -> None:
    text = PLANT.replace("mqtt: kegs/relay", f'mqtt: "kegs/relay{sign}topic readwrite x"')
    with pytest.raises(NotSeparable, match="no access list can hold"):
        devices(plant_in(tmp_path, text))


def test_topic_of_two_named_devices_is_refused(tmp_path: Path) -> None:
    text = PLANT.replace('value: "$.p[0]"', 'value: "$.p[0]", device: one').replace(
        'value: "$.p[1]"', 'value: "$.p[1]", device: other'
    )
    with pytest.raises(NotSeparable, match="'one' and 'other'"):
        devices(plant_in(tmp_path, text))


def test_device_named_once_for_a_topic_is_named_for_all_that_use_it(tmp_path: Path) -> None:
    text = PLANT.replace('value: "$.p[0]"', 'value: "$.p[0]", device: board-three')
    writes = {one.name: one.writes for one in devices(plant_in(tmp_path, text))}
    assert writes["device-board-three"] == ("garage/node3/probes",)
