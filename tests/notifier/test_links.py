"""Links in messages: signed, expiring, for one occurrence; looking at one acknowledges nothing."""

import base64
import hashlib
import hmac
import urllib.error
import urllib.request
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from schemas.alarms import AlarmPhase
from schemas.requests import Accepted, AcknowledgeAlarm, Refused
from services.notifier.dispatch import ANSWER, FOLLOWED, Answer
from services.notifier.links import BadToken, Claim, read, sign, verify
from services.notifier.page import Page
from services.notifier.shell import link_key
from services.runtime.service import Incoming
from tests.notifier.bench import NOON, Bench, site_with

KEY = bytes(range(32))
CLAIM = Claim(chamber="left", name="relay-welded", raised=NOON, person="ann", expires=NOON + timedelta(hours=1))
WELDED = "relay-welded"


def linked() -> Bench:
    people = {"ann": {"title": "Ann B.", "ways": {"phone": {"webhook": "http://a/x"}}}}
    rules = {"routes": [{"to": ["ann.phone"]}], "link": {"base": "https://shed.example.org/"}}
    return Bench(site_with(people, rules), key=KEY).condition(WELDED)


def token_in(bench: Bench) -> str:
    return bench.sent[-1].link.rpartition("/")[2]


def test_a_token_says_what_was_signed():
    assert verify(sign(CLAIM, KEY), KEY, NOON) == CLAIM


def test_the_signature_is_the_standard_hmac_of_the_payload():
    """RFC 2104 written out by hand, over SHA-256 of the standard library."""
    payload, signature = sign(CLAIM, KEY).encode().split(b".")
    block = KEY.ljust(64, b"\0")
    inner = hashlib.sha256(bytes(b ^ 0x36 for b in block) + payload).digest()
    outer = hashlib.sha256(bytes(b ^ 0x5C for b in block) + inner).digest()
    assert base64.urlsafe_b64decode(signature + b"=") == outer


def test_the_signing_agrees_with_the_published_test_vector():
    """RFC 4231, section 4.3, test case 2."""
    expected = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
    assert hmac.digest(b"Jefe", b"what do ya want for nothing?", hashlib.sha256).hex() == expected


def test_a_token_expires():
    verify(sign(CLAIM, KEY), KEY, CLAIM.expires - timedelta(seconds=1))
    with pytest.raises(BadToken, match="expired"):
        verify(sign(CLAIM, KEY), KEY, CLAIM.expires)


def test_a_token_of_another_key_is_refused():
    with pytest.raises(BadToken, match="not made here"):
        verify(sign(CLAIM, bytes(32)), KEY, NOON)


def test_a_short_key_signs_nothing():
    with pytest.raises(ValueError, match="32"):
        sign(CLAIM, b"short")


@given(st.data())
def test_a_token_changed_anywhere_is_refused(data):
    token = sign(CLAIM, KEY)
    place = data.draw(st.integers(0, len(token) - 1))
    sign_there = data.draw(st.sampled_from("ABCxyz019-_.").filter(lambda one: one != token[place]))
    changed = token[:place] + sign_there + token[place + 1 :]
    with pytest.raises(BadToken):
        verify(changed, KEY, NOON)


@given(st.text(max_size=80))
def test_rubbish_is_refused_and_never_breaks_anything(text):
    with pytest.raises(BadToken):
        verify(text, KEY, NOON)


def test_what_a_token_claims_can_be_read_without_the_key():
    assert read(sign(CLAIM, bytes(32))) == CLAIM


def test_a_message_carries_a_link_by_which_its_alarm_is_acknowledged():
    bench = linked()
    assert bench.sent[-1].link in bench.sent[-1].text
    answer = bench.ask(AcknowledgeAlarm, WELDED, token=token_in(bench))
    assert isinstance(answer, Accepted)
    assert bench.phase(WELDED) is AlarmPhase.ACKNOWLEDGED
    assert bench.journal[-1].who == "Ann B."


def test_a_link_acknowledges_no_other_alarm():
    bench = linked().condition(WELDED, chamber="right")
    token = next(one for one in bench.sent if one.alarms[0].chamber == "left").link.rpartition("/")[2]
    assert isinstance(bench.ask(AcknowledgeAlarm, WELDED, chamber="right", token=token), Refused)
    assert bench.phase(WELDED, "right") is AlarmPhase.UNACKNOWLEDGED


def test_an_old_link_does_not_acknowledge_a_new_occurrence():
    bench = linked()
    token = token_in(bench)
    bench.ask(AcknowledgeAlarm, WELDED)
    bench.after(16)
    assert bench.raised(WELDED) == 2
    refused = bench.ask(AcknowledgeAlarm, WELDED, token=token)
    assert "earlier occurrence" in refused.reason


def test_a_link_that_was_followed_acknowledges_and_says_so_once_and_again():
    bench = linked()
    for number in ("1", "2"):
        bench.said += bench.notifier.receive(Incoming(f"{FOLLOWED}{number}", token_in(bench).encode()), bench.now)
        answer = next(one.body for one in bench.said if one.topic == f"{ANSWER}{number}")
        assert Answer.model_validate_json(answer).accepted
    assert [one.event for one in bench.journal].count("alarm-acknowledged") == 1


def test_a_broken_link_that_was_followed_changes_nothing_and_says_why():
    bench = linked()
    bench.said += bench.notifier.receive(Incoming(f"{FOLLOWED}1", b"rubbish\xff"), bench.now)
    assert b"not made here" in bench.said[-1].body
    assert bench.phase(WELDED) is AlarmPhase.UNACKNOWLEDGED


@pytest.fixture
def asked():
    return []


@pytest.fixture
def page(asked):
    def acknowledge(token: str) -> Answer:
        asked.append(token)
        return Answer(accepted=token != "old", text="Thank <you>")

    served = Page("127.0.0.1:0", acknowledge)
    yield f"http://127.0.0.1:{served.port}"
    served.close()


def test_looking_at_the_page_acknowledges_nothing_and_shows_what_it_is_about(page, asked):
    """As a robot does that previews links."""
    with urllib.request.urlopen(f"{page}/acknowledge/{sign(CLAIM, KEY)}", timeout=5) as answer:
        shown = answer.read().decode()
        assert answer.headers["Cache-Control"] == "no-store"
    assert "relay-welded in left" in shown
    assert "<form method=post>" in shown
    assert asked == []


def test_the_button_acknowledges(page, asked):
    with urllib.request.urlopen(f"{page}/acknowledge/abc.def", data=b"", timeout=5) as answer:
        assert "Thank &lt;you&gt;" in answer.read().decode()
    assert asked == ["abc.def"]


@pytest.mark.parametrize(
    ("path", "data", "status"),
    [("/", None, 404), ("/acknowledge/xx", None, 404), ("/acknowledge/old", b"", 409), ("/other", b"", 404)],
)
def test_the_page_says_with_its_status_what_it_did_not_do(page, path, data, status):
    with pytest.raises(urllib.error.HTTPError) as refused:
        urllib.request.urlopen(f"{page}{path}", data=data, timeout=5)
    assert refused.value.code == status
    refused.value.close()


def test_a_key_is_made_once_and_is_for_its_owner_only(tmp_path):
    key = link_key(tmp_path / "state" / "link.key")
    assert len(key) == 32
    assert link_key(tmp_path / "state" / "link.key") == key
    assert (tmp_path / "state" / "link.key").stat().st_mode & 0o077 == 0


def test_a_key_file_that_is_too_short_gives_no_links(tmp_path):
    (tmp_path / "short").write_bytes(b"x")
    assert link_key(tmp_path / "short") == b""
