"""Messages to real servers that fail: each arrives, once by its id, whatever is refused, hangs or is killed."""

from collections import Counter
from datetime import timedelta
from random import Random

import pytest

from schemas.people import Heartbeat, Relay
from services.notifier.couriers import NotTaken, beat, carry, json_of, mail_of, secret
from services.notifier.dispatch import Dispatch
from services.notifier.post_room import PostRoom
from services.runtime.broker import free_port
from tests.notifier.bench import NOON
from tests.notifier.courier_bench import PATIENT_S, Carried, plant_with
from tests.notifier.outside import mailbox, receiver
from tests.waiting import wait_until

ALARMS = [f"output-not-following-o{number}" for number in range(6)]
FAULTS = ["refuse", "500", "hang", "slow", "lost", "500", "refuse"]
MINUTES = timedelta(minutes=1)


def by_webhook(url, **rules):
    people = {"ben": {"ways": {"phone": {"webhook": url}}}}
    return plant_with(people, routes=[{"to": ["ben.phone"]}], **rules)


def by_mail(address, **rules):
    server = {"server": address, "security": "none", "sender": "shed@example.org"}
    people = {"ann": {"ways": {"mail": {"mail": "ann@example.org"}}}}
    return plant_with(people, mail=server, routes=[{"to": ["ann.mail"]}], **rules)


def alarms_told(taken):
    """How often each alarm was told, a message that came twice counted once."""
    once = {one["id"]: one for one in taken}
    return Counter(alarm["name"] for one in once.values() for alarm in one["alarms"])


def test_each_alarm_reaches_a_web_server_that_fails_in_every_way(tmp_path):
    with receiver(FAULTS) as server:
        bench = Carried(by_webhook(server.url), tmp_path)
        for name in ALARMS:
            bench.condition(name)
            bench.pass_time(2 * MINUTES)
        bench.pass_time(90 * MINUTES, step=MINUTES)
    assert alarms_told(server.taken) == Counter(ALARMS)
    assert server.attempts > len(FAULTS)


def test_each_alarm_reaches_a_mail_server_that_fails_in_every_way(tmp_path):
    with mailbox(["refuse", "hang", "lost", "refuse"]) as server:
        bench = Carried(by_mail(server.address, flood_at=50), tmp_path)
        for name in ALARMS:
            bench.condition(name)
            bench.pass_time(2 * MINUTES)
        bench.pass_time(60 * MINUTES, step=MINUTES)
    texts = {mail["Message-ID"]: mail["Subject"] + mail.get_payload() for mail in server.mails}
    for number in range(6):
        assert sum(f"(o{number})" in text for text in texts.values()) == 1


@pytest.mark.parametrize("seed", range(3))
def test_no_alarm_is_lost_and_none_comes_under_two_ids_over_kills_of_the_notifier(tmp_path, seed):
    random = Random(seed)
    with receiver([random.choice([*FAULTS, "take"]) for _ in range(8)]) as server:
        bench = Carried(by_webhook(server.url, flood_at=50), tmp_path, random, kill_share=0.25)
        for name in ALARMS:
            bench.condition(name)
            bench.pass_time(2 * MINUTES)
        bench.pass_time(120 * MINUTES, step=MINUTES)
    assert bench.kills > 3
    assert alarms_told(server.taken) == Counter(ALARMS)


@pytest.mark.parametrize("seed", range(3))
def test_nothing_comes_twice_over_kills_at_any_moment_where_no_answer_was_lost(tmp_path, seed):
    random = Random(seed)
    with receiver([random.choice(["refuse", "500", "take"]) for _ in range(8)]) as server:
        bench = Carried(by_webhook(server.url, flood_at=50), tmp_path, random, kill_share=0.25, timeout_s=PATIENT_S)
        for name in ALARMS:
            bench.condition(name)
            bench.pass_time(2 * MINUTES)
        bench.pass_time(120 * MINUTES, step=MINUTES)
    assert bench.kills > 3
    assert Counter(alarm["name"] for one in server.taken for alarm in one["alarms"]) == Counter(ALARMS)


def test_a_mail_that_was_taken_before_a_kill_does_not_come_again(tmp_path):
    with mailbox() as server:
        bench = Carried(by_mail(server.address, flood_at=50), tmp_path, Random(5), kill_share=0.4, timeout_s=PATIENT_S)
        for name in ALARMS:
            bench.condition(name)
            bench.pass_time(2 * MINUTES)
        bench.pass_time(60 * MINUTES, step=MINUTES)
    assert bench.kills
    assert len(server.ids) == len(set(server.ids))
    assert len(set(server.ids)) == len(ALARMS)


def test_nothing_is_lost_in_two_days_without_internet(tmp_path):
    port = free_port(0)
    url = f"http://127.0.0.1:{port}/hook"
    bench = Carried(by_webhook(url, flood_at=3), tmp_path, Random(1), kill_share=0.02, timeout_s=PATIENT_S)
    for name in ALARMS:
        bench.condition(name)
        bench.pass_time(timedelta(hours=8), step=timedelta(minutes=5))
    with receiver(port=port) as server:
        bench.pass_time(timedelta(minutes=40), step=MINUTES)
    assert alarms_told(server.taken) == Counter(ALARMS)
    assert len(server.ids) == len(set(server.ids)) == 2


def test_each_escalation_step_arrives_once_though_the_first_address_is_down(tmp_path):
    with receiver() as server:
        people = {
            "ann": {"ways": {"phone": {"webhook": f"http://127.0.0.1:{free_port(0)}/x"}}},
            "ben": {"ways": {"phone": {"webhook": server.url}}},
        }
        steps = [{"to": ["ann.phone"]}, {"to": ["ben.phone"], "after": "5 min"}, {"to": ["ben.phone"], "after": "1 h"}]
        bench = Carried(plant_with(people, routes=steps), tmp_path, Random(3), kill_share=0.05, timeout_s=PATIENT_S)
        bench.condition("output-not-following-o1")
        bench.pass_time(timedelta(minutes=59))
        assert len(server.ids) == 1
        bench.pass_time(timedelta(minutes=5))
    assert len(server.ids) == len(set(server.ids)) == 2


def test_each_step_of_each_route_arrives_once_after_two_days_of_outage_and_kills(tmp_path):
    """One alarm that nobody acknowledges: at once to two addresses, after an hour to one, and again every 12 h."""
    port = free_port(0)
    way = {"webhook": f"http://127.0.0.1:{port}/hook"}
    people = {name: {"ways": {"phone": way}} for name in ("ann", "ben")}
    steps = [{"to": ["ann.phone", "ben.phone"]}, {"to": ["ben.phone"], "after": "1 h", "again": "12 h"}]
    bench = Carried(
        plant_with(people, routes=steps, flood_at=50), tmp_path, Random(4), kill_share=0.05, timeout_s=PATIENT_S
    )
    bench.condition("output-not-following-o1")
    bench.pass_time(timedelta(hours=48), step=timedelta(minutes=5))
    with receiver(port=port) as server:
        bench.pass_time(timedelta(minutes=40), step=MINUTES)
    assert bench.kills > 3
    assert len(server.ids) == len(set(server.ids))
    assert {one["to"] for one in server.taken} == {"ann.phone", "ben.phone"}
    assert sum(one["to"] == "ann.phone" for one in server.taken) == 1
    assert 2 <= sum(one["to"] == "ben.phone" for one in server.taken) <= 5


def test_a_mail_is_whole_and_says_its_words_in_plain_text():
    with mailbox() as server:
        carry(dispatch(mail="ann@example.org", server=server.address), 5)
    (mail,) = server.mails
    assert mail["To"] == "ann@example.org"
    assert mail["Message-ID"] == "<abc@example.org>"
    assert mail["Auto-Submitted"] == "auto-generated"
    assert mail.get_payload(decode=True).decode().strip() == "Tür zu: 5 °C"


def dispatch(mail="", webhook="", server="127.0.0.1:1"):
    way = {"mail": mail} if mail else {"webhook": webhook}
    post = {"server": server, "security": "none", "sender": "shed@example.org"}
    return Dispatch(
        id="abc", member="ann.mail", way=way, server=post, site="shed", subject="[high] left: beer too warm",
        text="Tür zu: 5 °C", priority="high", written=NOON,
    )  # fmt: skip


def test_a_refusal_is_told_in_the_servers_words():
    with mailbox(["refuse"]) as server, pytest.raises(NotTaken, match="451 come back later"):
        carry(dispatch(mail="ann@example.org", server=server.address), 5)
    with receiver(["500"]) as web, pytest.raises(NotTaken, match="500"):
        carry(dispatch(webhook=web.url), 5)


def test_a_server_that_is_not_there_is_told_without_its_address():
    with pytest.raises(NotTaken, match="Connection refused") as told:
        carry(dispatch(webhook=f"http://127.0.0.1:{free_port(0)}/secret-token"), 5)
    assert "secret-token" not in str(told.value)


def test_a_secret_comes_from_a_file_or_the_environment(tmp_path, monkeypatch):
    (tmp_path / "url").write_text("https://example.org/token\n")
    monkeypatch.setenv("HOOK", "https://example.org/other")
    assert secret(str(tmp_path / "url"), None) == "https://example.org/token"
    assert secret(None, "HOOK") == "https://example.org/other"
    with pytest.raises(ValueError, match="NO_SUCH"):
        secret(None, "NO_SUCH")


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_the_library_for_other_services_delivers_to_a_real_server(tmp_path):
    with receiver() as server:
        (tmp_path / "address").write_text(server.url.replace("http://", "json://"))
        way = Relay(apprise="file", file=str(tmp_path / "address"))
        carry(dispatch(webhook="http://x").model_copy(update={"way": way}), 5)
    assert [(one["title"], one["message"]) for one in server.taken] == [("[high] left: beer too warm", "Tür zu: 5 °C")]


def test_an_address_that_the_library_does_not_know_is_told(tmp_path):
    (tmp_path / "address").write_text("nonsense")
    way = Relay(apprise="file", file=str(tmp_path / "address"))
    with pytest.raises(NotTaken, match="none that the library"):
        carry(dispatch(webhook="http://x").model_copy(update={"way": way}), 5)


def test_a_webhook_gets_the_alarms_as_data():
    body = json_of(dispatch(webhook="http://x"))
    assert b'"priority": "high"' in body
    assert b'"alarms": []' in body


def test_what_is_urgent_is_a_mail_of_high_importance():
    one = dispatch(mail="ann@example.org")
    assert mail_of(one, one.way, one.server)["Importance"] == "high"


def test_the_heartbeat_calls_the_outside():
    with receiver() as server:
        beat(Heartbeat(url=server.url), 5)
    assert server.attempts == 1


def test_one_address_that_hangs_keeps_no_other_waiting():
    room = PostRoom()
    with receiver(["hang"]) as slow, receiver() as quick:
        room.run("slow", "s", lambda: carry(dispatch(webhook=slow.url), 5))
        room.run("quick", "q", lambda: carry(dispatch(webhook=quick.url), 5))
        over = []
        wait_until(lambda: bool(over.extend(room.done()) or over), "the quick one")
        assert over == [("q", "")]
    room.close()


def test_the_heartbeat_stops_when_something_urgent_reaches_nobody(tmp_path):
    with receiver() as outside:
        rules = {"heartbeat": {"url": outside.url, "every": "5 min"}}
        bench = Carried(by_webhook(f"http://127.0.0.1:{free_port(0)}/x", **rules), tmp_path)
        bench.pass_time(timedelta(minutes=31))
        bench.condition("output-not-following-o1")
        bench.pass_time(timedelta(minutes=40))
        beats = bench.beats
        bench.pass_time(timedelta(minutes=60))
        wait_until(lambda: outside.attempts >= beats, "the beats")
    assert outside.attempts == bench.beats == beats
    assert 6 <= beats <= 15
