"""Who watches the watcher: a notifier that is lost is told by another process, by the same routes."""

from datetime import timedelta

import pytest

from schemas.alarms import Alarm, Condition
from schemas.base import SITE_WIDE, ServiceName
from schemas.contract import topic_for
from schemas.deliveries import Deliveries
from schemas.journal import Health, Wellness
from services.notifier.deputy import LOST, Deputy, DeputyState
from services.notifier.dispatch import DISPATCH, RESULT, Dispatch, Result
from services.runtime.service import Incoming
from tests.notifier.bench import NOON, SITE, Bench, site_with

PEOPLE = {"ann": {"ways": {"phone": {"webhook": "http://a/x"}}}}
PLANT = site_with(PEOPLE, {"routes": [{"to": ["ann.phone"]}], "heartbeat": {"url": "http://outside/x"}})
NOTIFIER, SUPERVISOR = ServiceName.NOTIFIER, ServiceName.SUPERVISOR


class Desk:
    def __init__(self):
        self.deputy = Deputy(PLANT)
        self.now = NOON
        self.said = []

    def beat(self, *services, seconds=60, state=Wellness.RUNNING):
        for _ in range(seconds // 10):
            self.now += timedelta(seconds=10)
            for service in services:
                self.hear(Health(at=self.now, source=service, service=service, state=state))
            self.said += self.deputy.tick(self.now)
        return self

    def hear(self, message):
        self.said += self.deputy.receive(Incoming(topic_for(SITE, message), message), self.now)

    def restart(self):
        kept = DeputyState.model_validate_json(self.deputy.snapshot().model_dump_json())
        self.deputy = Deputy(PLANT, kept)
        self.said += self.deputy.start(self.now)
        return self

    @property
    def sent(self):
        return [Dispatch.model_validate_json(one.body) for one in self.said if one.topic.startswith(DISPATCH)]

    def of(self, kind):
        return [one.body for one in self.said if isinstance(one.body, kind)]


def test_while_the_notifier_lives_nothing_is_said():
    assert Desk().beat(NOTIFIER, SUPERVISOR, seconds=600).said == []


def test_a_notifier_that_falls_silent_is_told_to_people_once():
    desk = Desk().beat(NOTIFIER, SUPERVISOR).beat(SUPERVISOR, seconds=600)
    assert {one.id for one in desk.sent} == {desk.sent[0].id}
    assert desk.sent[0].member == "ann.phone"
    assert "notifier" in desk.sent[0].subject
    assert [one.active for one in desk.of(Condition)] == [True]


def test_a_notifier_that_is_killed_is_told_by_its_last_will():
    desk = Desk().beat(NOTIFIER, SUPERVISOR)
    desk.beat(NOTIFIER, seconds=10, state=Wellness.LOST).beat(SUPERVISOR, seconds=30)
    assert len(desk.sent) == 1


def test_one_that_is_started_again_within_seconds_is_not_told():
    desk = Desk().beat(NOTIFIER, SUPERVISOR).beat(NOTIFIER, seconds=10, state=Wellness.LOST)
    assert desk.beat(NOTIFIER, SUPERVISOR, seconds=120).sent == []


def test_all_silent_is_the_brokers_loss_of_which_the_notifier_tells():
    assert Desk().beat(NOTIFIER, SUPERVISOR).beat(seconds=600).sent == []


def test_the_alarm_closes_by_itself_when_the_notifier_is_back():
    desk = Desk().beat(NOTIFIER, SUPERVISOR).beat(SUPERVISOR).beat(NOTIFIER, SUPERVISOR, seconds=120)
    assert desk.of(Alarm)[-1].phase == "normal"
    assert not desk.of(Condition)[-1].active


def test_it_neither_gives_signs_of_life_nor_reports_addresses_in_the_notifiers_name():
    desk = Desk().beat(NOTIFIER, SUPERVISOR).beat(SUPERVISOR, seconds=600)
    assert desk.of(Deliveries) == []
    assert all(one.topic.startswith(DISPATCH) for one in desk.said if isinstance(one.body, bytes))


def test_a_message_on_its_way_survives_the_deputys_own_restart():
    desk = Desk().beat(NOTIFIER, SUPERVISOR).beat(SUPERVISOR, seconds=60).restart()
    assert len(desk.sent) == 2
    assert desk.sent[0].id == desk.sent[1].id
    result = Incoming(f"{RESULT}{desk.sent[0].id}", Result().model_dump_json().encode())
    desk.said += desk.deputy.receive(result, desk.now)
    assert len(desk.beat(SUPERVISOR, seconds=600).sent) == 2


def test_the_notifier_leaves_the_deputys_alarm_to_the_deputy():
    bench = Bench()
    bench.hear(Condition(at=bench.now, source="deputy", chamber=SITE_WIDE, name=LOST, active=True, since=bench.now,
                         detail="lost"))  # fmt: skip
    assert bench.after(10).of(Alarm) == []


@pytest.mark.parametrize("state", [Wellness.LOST, Wellness.STOPPING])
def test_the_notifier_does_not_say_of_itself_that_it_is_lost(state):
    bench = Bench().health(NOTIFIER, state=state).after(10)
    assert bench.of(Alarm) == []
