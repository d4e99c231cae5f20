"""Who is let in, what each may say and hear: every account against both brokers, with everything that is forbidden."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from schemas.topics import matches
from services.runtime.credentials import FOLDER, admitted
from services.secure.rights import CHECK, Account, Holder, accounts
from tests.secure.site import Door, plant_in, secured, stranger
from tests.secure.visitor import Visitor
from tests.tables import note
from tests.waiting import wait_until

SITE = "coldside/shed"
SAMPLES = (
    f"{SITE}/reading/keg/beer",
    f"{SITE}/report/keg/cool",
    f"{SITE}/command/ale-fridge/heat",
    f"{SITE}/setpoint/keg",
    f"{SITE}/status/keg",
    f"{SITE}/batch/41-oat-pale",
    f"{SITE}/condition/keg/door-open",
    f"{SITE}/alarm/keg/door-open",
    f"{SITE}/delivery/ann/mail",
    f"{SITE}/journal/scheduler",
    f"{SITE}/health/bridge",
    f"{SITE}/health/supervisor",
    f"{SITE}/request/scheduler/start-batch",
    f"{SITE}/request/supervisor/lock-chamber",
    f"{SITE}/reply/cli-1/42",
    "garage/node3/probes",
    "garage/node3/state/2",
    "garage/node3/relay/1",
    "garage/node3/relay/2",
    "kegs/temperature",
    "kegs/relay",
    "simulated/shed/keg/beer",
    "simulated/shed/keg/cool/set",
)
"""One topic of each kind, and every topic of every device."""
STRANGE = ("coldside/barn/command/ale-fridge/heat", "coldside/shed", "coldside/shed/command", "garage/node4/probes")
"""Another site, topics that are none, and a device that nobody named: nobody's."""
FORGED = (f"{SITE}/command/keg/cool", f"{SITE}/reading/keg/air")
"""Said once more at QoS 1, which brokers answer otherwise: the second by the supervisor."""
LOGIN = "Who is let in (account, with the right password, a wrong one, none, another CA's broker, certificates)"
RIGHTS = "What each account is let say and hear (account, topics tried, said, refused, heard, kept from it)"


@pytest.fixture(scope="module")
def people(tmp_path_factory: pytest.TempPathFactory) -> tuple[Account, ...]:
    """Every account of the shed."""
    return accounts(plant_in(tmp_path_factory.mktemp("plant")))


@pytest.fixture(scope="module")
def other_authority(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Secrets that somebody else made, for the same accounts."""
    folder = tmp_path_factory.mktemp("elsewhere")
    secured(folder / "secure", plant_in(folder), now=datetime.now(UTC))
    return folder / "secure"


def known(door: Door, people: tuple[Account, ...]) -> tuple[Account, ...]:
    """The container's own check exists only where there is a container."""
    return tuple(one for one in people if door.name == "mosquitto" or one.name != CHECK)


def allowed(filters: tuple[str, ...], topic: str) -> bool:
    """By the topic rules of MQTT."""
    return any(matches(one, topic) for one in filters)


def test_each_account_enters_with_its_own_password_and_with_no_other(door: Door, people: tuple[Account, ...]) -> None:
    for account in known(door, people):
        own = door.key(account.name, account.holder)
        tried = {"right": own, "wrong": stranger(own, password="guessed"), "none": stranger(own, password="")}
        verdicts = {}
        for what, address in tried.items():
            with Visitor(address) as visitor:
                verdicts[what] = visitor.verdict
        note(LOGIN, door.name, account.name, *verdicts.values())
        assert verdicts["right"] == "in", account.name
        assert verdicts["wrong"] != "in"
        assert verdicts["none"] != "in"


def test_nobody_enters_without_a_name_or_with_anothers_password(door: Door) -> None:
    bridge, supervisor = door.key("bridge"), door.key("supervisor")
    nameless = stranger(bridge, username="", password="")
    swapped = stranger(supervisor, password=bridge.password)
    for what, address in (("nobody", nameless), ("supervisor, bridge's password", swapped)):
        with Visitor(address, "somebody") as visitor:
            note(LOGIN, door.name, what, visitor.verdict)
            assert visitor.verdict != "in"


def test_wrong_certificates_are_refused_on_either_side(
    doors: dict[str, Door], people: tuple[Account, ...], other_authority: Path
) -> None:
    door = doors["mosquitto"]
    for account in people:
        own = door.key(account.name, account.holder)
        theirs = admitted(
            own.__class__(port=own.port, tls=True), account.name, {FOLDER: str(other_authority / "accounts")}
        )
        tried = {"broker of another authority": stranger(own, ca_file=theirs.ca_file)}
        if own.certificate_file is not None:
            tried["no certificate"] = stranger(own, certificate_file=None, key_file=None)
            files = {"certificate_file": theirs.certificate_file, "key_file": theirs.key_file}
            tried["certificate of another authority"] = stranger(own, **files)
        verdicts = {}
        for what, address in tried.items():
            with Visitor(address) as visitor:
                verdicts[what] = visitor.verdict
        note(LOGIN, "mosquitto", account.name, *(f"{what}: {said}" for what, said in verdicts.items()))
        assert "in" not in verdicts.values(), (account.name, verdicts)


def test_each_account_says_and_hears_what_the_table_gives_it_and_nothing_else(
    door: Door, people: tuple[Account, ...]
) -> None:
    """Everything is said as a retained message, so whoever comes later finds what was forged, if anything was."""
    with Visitor(door.key("operator", Holder.PERSON)) as observer:
        observer.listen("#")
        for account in known(door, people):
            with Visitor(door.key(account.name, account.holder), "speaker") as speaker:
                speaker.try_all((*SAMPLES, *STRANGE), f"by {account.name}".encode())
                speaker.say(FORGED[account.name == "supervisor"], f"by {account.name}".encode(), retain=True)
        with Visitor(door.key("bridge")) as bridge:
            fence(bridge, observer)
        for account in known(door, people):
            check_said(door, account, observer)
    for account in known(door, people):
        with Visitor(door.key(account.name, account.holder), "listener") as listener:
            listener.listen("#", "coldside/#", *SAMPLES, *account.reads)
            check_heard(door, account, listener, people)
            forged = [topic for topic, body, _ in listener.got if not allowed(writer(people, body).writes, topic)]
            assert not forged, (account.name, forged)


def fence(bridge: Visitor, observer: Visitor) -> None:
    """When this has come, everything that was said before it has."""
    bridge.say(f"{SITE}/reading/fence/fence", b"by bridge", retain=True)
    wait_until(lambda: f"{SITE}/reading/fence/fence" in observer.topics, "the fence")


def writer(people: tuple[Account, ...], body: bytes) -> Account:
    """Who signed."""
    return next(one for one in people if body == f"by {one.name}".encode())


def check_said(door: Door, account: Account, observer: Visitor) -> None:
    """Exactly the allowed ones reached somebody who hears everything."""
    tried = {*SAMPLES, *STRANGE}
    heard = {topic for topic, body, _ in observer.got if body == f"by {account.name}".encode()} & tried
    rights = {topic for topic in tried if allowed(account.writes, topic)}
    assert heard == rights, (account.name, heard ^ rights)
    note(RIGHTS, door.name, account.name, f"tried {len(tried)}", f"said {len(heard)}", f"refused {len(tried - heard)}")


def check_heard(door: Door, account: Account, visitor: Visitor, people: tuple[Account, ...]) -> None:
    """Everything that somebody was let say and it may hear, and nothing that it may not."""
    said = {topic for topic in (*SAMPLES, *STRANGE) for one in people if allowed(one.writes, topic)}
    due = {topic for topic in said if allowed(account.reads, topic)}
    wait_until(lambda: due <= visitor.topics, f"{account.name} to hear {due - visitor.topics}")
    forbidden = {topic for topic in visitor.topics if not allowed(account.reads, topic)}
    assert not forbidden, (account.name, forbidden)
    note(RIGHTS, door.name, account.name, f"hears {len(due)}", f"kept from it {len(said - due)}")


def test_device_cannot_take_the_session_of_another_by_its_client_id(doors: dict[str, Door]) -> None:
    door = doors["mosquitto"]
    board, keg_board = (door.key(name, Holder.DEVICE) for name in ("device-garage-node3", "device-keg-board"))
    with Visitor(board) as honest, Visitor(keg_board, "device-garage-node3") as thief:
        thief.say("kegs/temperature", b"4.0")
        honest.say("garage/node3/probes", b"{}")
        assert (honest.verdict, thief.verdict) == ("in", "in")


def test_device_cannot_enter_by_the_door_of_the_services(doors: dict[str, Door]) -> None:
    door = doors["mosquitto"]
    board = door.key("device-keg-board", Holder.DEVICE)
    with Visitor(stranger(board, port=door.services.port)) as visitor:
        assert visitor.verdict != "in"


@pytest.mark.parametrize("will", [f"{SITE}/health/supervisor", f"{SITE}/command/keg/cool"])
def test_last_will_on_a_forbidden_topic_is_never_published(door: Door, will: str) -> None:
    with Visitor(door.key("operator", Holder.PERSON), "witness") as witness, Visitor(door.key("bridge")) as bridge:
        witness.listen("coldside/shed/#")
        dying = Visitor(door.key("simulator"), "dying", will=will)
        dying.vanish()
        wait_until(lambda: dying.gone, "it to be gone")
        bridge.say(f"{SITE}/reading/keg/after", b"")
        wait_until(lambda: f"{SITE}/reading/keg/after" in witness.topics, "what came after")
        assert (will, b"will", False) not in witness.got
