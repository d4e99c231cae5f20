"""Who is told when: routes, quiet hours, escalation, digest, floods. Nothing is sent; what would be is looked at."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from schemas.alarms import Alarm
from schemas.deliveries import Deliveries, DeliveryState
from schemas.requests import Accepted, AcknowledgeAlarm, Refused, SendTestMessage
from services.notifier.outbox import LONGEST_RETRY_S
from tests.notifier.bench import NOON, Bench, site_with

WELDED, WARM, LATE, DOOR = "relay-welded", "beer-too-warm", "step-late", "door-open"
PEOPLE = {
    "ann": {"ways": {"phone": {"webhook": "http://a/x"}, "mail": {"mail": "ann@x.org"}}, "quiet": "22:00-07:00"},
    "ben": {"ways": {"phone": {"webhook": "http://b/x"}}},
}
SERVER = {"server": "mail.example.org:587", "sender": "shed@example.org"}


def staffed(*routes: dict[str, Any], start: datetime = NOON, **notifier: Any) -> Bench:
    bench = Bench(site_with(PEOPLE, {"mail": SERVER, "routes": list(routes), **notifier}))
    bench.now = start
    return bench


def to(*members: str, **rules: Any) -> dict[str, Any]:
    return {"to": list(members), **rules}


def told(bench: Bench) -> list[tuple[str, str]]:
    return [(one.member, one.alarms[0].name) for one in bench.sent]


def test_those_to_be_told_at_once_are_told_at_once_and_once():
    bench = staffed(to("ann.phone", "ann.mail")).condition(WELDED).deliver(600)
    assert told(bench) == [("ann.phone", WELDED), ("ann.mail", WELDED)]


def test_a_route_is_for_its_priorities():
    bench = staffed(to("ann.phone", priorities=["critical"])).condition(WARM).deliver(60).condition(WELDED).deliver(5)
    assert told(bench) == [("ann.phone", WELDED)]


def test_a_route_is_for_its_chambers():
    bench = staffed(to("ann.phone", chambers=["right"])).condition(WELDED).condition(WELDED, chamber="right").deliver(5)
    assert [one.alarms[0].chamber for one in bench.sent] == ["right"]


def test_a_route_is_for_its_alarms():
    bench = staffed(to("ann.phone", alarms=["door-open"])).condition(WELDED).condition(DOOR).deliver(10)
    assert told(bench) == [("ann.phone", DOOR)]


def test_the_next_is_told_when_nobody_acknowledges_in_time():
    bench = staffed(to("ann.phone"), to("ben.phone", after="15 min")).condition(WELDED).deliver(14)
    assert told(bench) == [("ann.phone", WELDED)]
    assert told(bench.deliver(2))[1:] == [("ben.phone", WELDED)]


def test_the_next_is_not_told_when_somebody_has_acknowledged():
    bench = staffed(to("ann.phone"), to("ben.phone", after="15 min")).condition(WELDED).deliver(5)
    bench.ask(AcknowledgeAlarm, WELDED)
    assert told(bench.deliver(14)) == [("ann.phone", WELDED)]


def test_what_has_gone_by_itself_wakes_nobody_else():
    bench = staffed(to("ann.phone"), to("ben.phone", after="2 h")).condition(WARM).deliver(40)
    bench.condition(WARM, active=False).deliver(300)
    assert told(bench) == [("ann.phone", WARM)]


def test_a_route_repeats_until_somebody_acknowledges():
    bench = staffed(to("ann.phone", again="30 min")).condition(WELDED).deliver(95)
    assert len(bench.sent) == 4
    bench.ask(AcknowledgeAlarm, WELDED)
    assert len(bench.deliver(14).sent) == 4


def test_of_missed_repetitions_only_the_last_is_told():
    bench = staffed(to("ann.phone", again="30 min")).condition(WELDED).deliver(1)
    bench.now += timedelta(hours=5)
    assert told(bench.restart().deliver(5)).count(("ann.phone", WELDED)) == 2


@pytest.mark.parametrize(("name", "at_night"), [(WELDED, True), (WARM, False)])
def test_quiet_hours_hold_back_everything_but_the_critical(name, at_night):
    night = datetime(2026, 3, 4, 23, 0, tzinfo=UTC)
    bench = staffed(to("ann.phone"), start=night).condition(name).deliver(120)
    assert bool(bench.sent) is at_night


def test_what_quiet_hours_held_back_is_told_when_they_end_even_if_it_has_gone_by_itself():
    night = datetime(2026, 3, 4, 23, 0, tzinfo=UTC)
    bench = staffed(to("ann.phone"), start=night).condition(WARM).deliver(60).condition(WARM, active=False)
    bench.deliver(8 * 60, step=5)
    assert told(bench) == [("ann.phone", WARM)]
    assert "gone by itself" in bench.sent[0].text


def test_a_route_that_is_closed_speaks_when_it_opens_if_nobody_has_acknowledged():
    bench = staffed(to("ben.phone", between="14:00-20:00")).condition(WELDED).deliver(60)
    assert bench.sent == []
    assert told(bench.deliver(65)) == [("ben.phone", WELDED)]


def test_a_route_of_weekdays_is_closed_on_others():
    wednesday = staffed(to("ben.phone", days=["sat", "sun"])).condition(WELDED).deliver(60)
    assert wednesday.sent == []


def test_the_low_waits_for_the_daily_digest_and_comes_as_one_message():
    bench = staffed(to("ann.phone")).condition(LATE).condition(LATE, chamber="right").deliver(350, step=10)
    assert bench.sent == []
    (digest,) = bench.deliver(20, step=10).sent
    assert {alarm.chamber for alarm in digest.alarms} == {"left", "right"}


def test_a_flood_is_one_message():
    bench = staffed(to("ben.phone"), flood_at=5)
    for number in range(30):
        bench.condition(f"probe-silent-p{number}")
    bench.deliver(30)
    assert len(bench.sent) == 1
    assert len(bench.sent[0].alarms) == 30


def test_a_flood_of_a_large_site_is_one_message_too():
    bench = staffed(to("ben.phone"), flood_at=5)
    for number in range(150):
        bench.condition(f"output-not-following-long-name-{number}")
    bench.deliver(30)
    assert len(bench.sent) == 1
    assert "and 90 more" in bench.sent[0].text


def test_a_flood_that_trickles_is_gathered_after_the_first_few():
    bench = staffed(to("ben.phone"), flood_at=3)
    for number in range(20):
        bench.condition(f"output-not-following-o{number}").deliver(0.5, step=0.5)
    bench.deliver(30)
    assert sum(len(one.alarms) for one in bench.sent) == 20
    assert len(bench.sent) <= 6


def test_in_a_flood_the_critical_is_told_at_once_and_first():
    bench = staffed(to("ben.phone"), flood_at=2)
    for number in range(4):
        bench.condition(f"output-not-following-o{number}").deliver(0.5, step=0.5)
    bench.deliver(1).condition(WELDED).deliver(0.5, step=0.5)
    assert "relay" in bench.sent[-1].subject
    assert bench.sent[-1].priority == "critical"


def test_an_alarm_that_chatters_is_told_once_an_hour_and_marked():
    bench = staffed(to("ben.phone"))
    for _ in range(12):
        bench.condition(DOOR).deliver(6).condition(DOOR, active=False).deliver(1)
    assert bench.raised(DOOR) >= 3
    assert len(bench.sent) <= 3
    assert any("chattering" in alarm.nuisance for alarm in bench.of(Alarm))


def test_an_alarm_that_stands_for_a_day_is_marked_stale():
    bench = Bench().condition(WARM).after(31).after(24 * 60 + 1)
    assert bench.of(Alarm)[-1].nuisance == ("stale",)
    assert bench.journal[-1].event == "alarm-stale"


def test_a_message_that_fails_is_tried_again_ever_more_rarely_with_the_same_id():
    bench = staffed(to("ben.phone")).condition(WELDED)
    for _ in range(240):
        if bench.sent:
            bench.settle(bench.sent[-1], "no route to host")
        bench.after(1)
    assert {one.id for one in bench.sent} == {bench.sent[0].id}
    assert 240 * 60 / LONGEST_RETRY_S < len(bench.sent) < 30


def test_what_comes_while_an_address_does_not_answer_is_one_message_when_it_does():
    bench = staffed(to("ben.phone")).condition("not-heating").after(6)
    bench.settle(bench.sent[-1], "down")
    for number in range(6):
        bench.condition(f"output-not-following-o{number}").after(2)
    first = {one.id for one in bench.sent}
    assert len(first) == 1
    bench.settle(bench.sent[-1]).deliver(5)
    assert len({one.id for one in bench.sent}) == 2
    assert len(bench.sent[-1].alarms) == 6


def test_something_critical_has_an_address_tried_at_once():
    bench = staffed(to("ben.phone")).condition("not-heating").after(6)
    for _ in range(8):
        bench.settle(bench.sent[-1], "down").after(10)
    tries = len(bench.settle(bench.sent[-1], "down").sent)
    assert len(bench.condition(WELDED).sent) == tries + 1


def test_a_courier_that_never_comes_back_is_sent_again():
    bench = staffed(to("ben.phone")).condition(WELDED).after(4)
    assert len(bench.sent) == 1
    assert len(bench.after(2).sent) == 2


def test_the_state_of_each_address_is_published_and_retained():
    bench = staffed(to("ben.phone")).condition(WELDED)
    bench.settle(bench.sent[0], "no route to host").after(1)
    report = bench.of(Deliveries)[-1]
    assert (report.person, report.way, report.waiting) == ("ben", "phone", 1)
    assert report.recent[-1].error == "no route to host"
    bench.settle(bench.sent[-1])
    assert bench.of(Deliveries)[-1].recent[-1].state is DeliveryState.DELIVERED
    assert all(one.retain for one in bench.said if isinstance(one.body, Deliveries))


def test_a_test_message_goes_to_every_way_of_a_person():
    bench = staffed()
    asked = SendTestMessage(at=bench.now, source="cli", id="t1", client="cli", who="Ann", person="ann")
    bench.hear(asked, "notifier", asked.verb)
    assert isinstance(bench.replies[-1], Accepted)
    assert [one.member for one in bench.sent] == ["ann.phone", "ann.mail"]
    assert all("Nothing is wrong" in one.text for one in bench.sent)


def test_a_test_message_to_nobody_is_refused_by_name():
    bench = staffed()
    asked = SendTestMessage(at=bench.now, source="cli", id="t1", client="cli", who="Ann", person="cat")
    bench.hear(asked, "notifier", asked.verb)
    assert isinstance(bench.replies[-1], Refused)
    assert "cat" in bench.replies[-1].reason


def test_messages_of_people_who_left_the_plant_file_are_forgotten():
    bench = staffed(to("ben.phone")).condition(WELDED)
    bench.said += bench.notifier.plant_changed(site_with({}, {}), bench.now)
    bench.after(60)
    assert len(bench.sent) == 1
