"""Who may act: every act, with every kind of credential that is none."""

import asyncio
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any, get_args

import pytest

from schemas.requests import AcknowledgeAlarm, LockOut, Refused, Request, RequestBase
from services.console import tokens
from services.console.accounts import Role
from services.console.api.acts import body_of
from services.notifier.links import Claim, sign
from services.scheduler import profile_file
from tests.console.ground.bench import PASSWORD, START, Bench, bench_on

BATCH = {"batch": "pale-1"}
CHAMBER = {"chamber": "ale-fridge"}
ALARM = {"chamber": "ale-fridge", "name": "door-open"}
SAID: dict[str, dict[str, Any]] = {
    "start-batch": {**BATCH, **CHAMBER, "title": "Pale", "profile": {"profile": "pale", "steps": [
        {"does": "hold", "name": "ferment", "hold": "18 degC", "for": "5 d"}]}},
    "hold-batch": BATCH,
    "resume-batch": BATCH,
    "skip-step": BATCH,
    "stop-batch": BATCH,
    "abort-batch": BATCH,
    "finish-batch": BATCH,
    "go-back": BATCH,
    "tell-programme": BATCH,
    "confirm-step": BATCH,
    "edit-steps": {**BATCH, "first": 0, "steps": [{"does": "hold", "name": "rest", "hold_c": 18, "for_s": 3600}]},
    "move-batch": {**BATCH, "chamber": "lager-fridge"},
    "log-gravity": {**BATCH, "hydrometer_sg": 1.02},
    "strike-gravity": {**BATCH, "entry": "an-entry"},
    "set-chore": {"chore": "clean-lines", "title": "Clean the lines", "when": "Sat 10:00"},
    "clear-chore": {"chore": "clean-lines"},
    "do-chore": {"chore": "clean-lines"},
    "set-quiet-hours": {"span": "22:30-07:00"},
    "set-temperature": {**CHAMBER, "temperature_c": 12},
    "clear-temperature": CHAMBER,
    "acknowledge-alarm": ALARM,
    "shelve-alarm": {**ALARM, "until": "2026-03-02T18:00:00Z"},
    "unshelve-alarm": ALARM,
    "reset-alarm": ALARM,
    "take-alarm-out-of-service": ALARM,
    "return-alarm-to-service": ALARM,
    "declare-task": {**CHAMBER, "until": "2026-03-02T15:00:00Z"},
    "end-task": CHAMBER,
    "send-test-message": {"person": "ann"},
    "write-note": {**BATCH, "text": "Bright."},
    "lock-out": CHAMBER,
    "clear-lock-out": CHAMBER,
    "reset-interlock": {**CHAMBER, "interlock": "freeze-guard"},
    "commission": CHAMBER,
    "stop-commissioning": CHAMBER,
}  # fmt: skip


PLAIN = {**BATCH, **ALARM, "chore": "clean-lines", "person": "ann", "until": "2026-03-02T15:00:00Z"}


def body(kind: type[RequestBase]) -> dict[str, Any]:
    """What a person says; of a request that is not in the table, its fields by their names."""
    needed = {name for name, field in body_of(kind).model_fields.items() if field.is_required()}
    return SAID.get(verb_of(kind)) or {name: PLAIN[name] for name in needed}


def verb_of(kind: type[RequestBase]) -> str:
    return str(kind.model_fields["verb"].default)


ACTS = {verb_of(kind): body(kind) for kind in get_args(Request)}


@dataclass
class House:
    """A console with an operator, a viewer, and every kind of spoilt credential."""

    bench: Bench
    headers: dict[str, dict[str, str]]

    def act(self, verb: str, headers: dict[str, str]) -> int:
        return self.bench.call("POST", f"/api/v1/requests/{verb}", json=ACTS[verb], headers=headers).status_code


def bearer(secret: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {secret}"}


def token(bench: Bench, name: str, lasting: timedelta | None = None) -> tokens.Shown:
    expires = None if lasting is None else bench.clock.now() + lasting
    return tokens.make(bench.desk.accounts, name, "a script", bench.clock.now(), expires)


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> House:
    bench = bench_on(tmp_path_factory.mktemp("acts"))
    for name, role in (("ann", Role.OPERATOR), ("vic", Role.VIEWER), ("old", Role.OPERATOR)):
        bench.account(name, role)
    left, changed = bench.signed_in("ann"), bench.signed_in("old")
    bench.call("DELETE", "/api/v1/session", headers=left)
    expired, revoked = token(bench, "ann", timedelta(minutes=1)), token(bench, "ann")
    tokens.take_back(bench.desk.accounts, "ann", revoked.kept.id)
    bench.live_on(timedelta(minutes=2))
    bench.desk.accounts.set_password("old", PASSWORD + "!", bench.clock.now())
    ann, script = bench.signed_in("ann"), bearer(token(bench, "ann").secret)
    bad = {
        "nothing at all": {},
        "the session of somebody who left": left,
        "a session from before the password was changed": changed,
        "a made-up session": {"Cookie": "coldside_session=" + "A" * 43},
        "a forged token": bearer(script["Authorization"].removeprefix("Bearer ")[:-1] + "~"),
        "an expired token": bearer(expired.secret),
        "a token that was taken back": bearer(revoked.secret),
        "a password in the place of a token": {"Authorization": "Basic YW5uOnBhc3N3b3Jk"},
        "a bad token beside a good session": bearer("coldside-none") | ann,
        "a viewer's session": bench.signed_in("vic"),
        "a viewer's token": bearer(token(bench, "vic").secret),
        "another site's origin": ann | {"Origin": "https://elsewhere.example"},
        "an origin that is hidden": ann | {"Origin": "null"},
        "another port's origin": ann | {"Origin": "http://127.0.0.1:9999"},
        "a browser that says cross-site": ann | {"Sec-Fetch-Site": "cross-site"},
        "a browser that says same-site": ann | {"Sec-Fetch-Site": "same-site"},
        "a token on another site's page": script | {"Origin": "https://elsewhere.example"},
    }
    return House(bench, {"ann": ann, "script": script, **bad})


BAD = (
    "nothing at all", "the session of somebody who left", "a session from before the password was changed",
    "a made-up session", "a forged token", "an expired token", "a token that was taken back",
    "a password in the place of a token", "a bad token beside a good session", "a viewer's session",
    "a viewer's token", "another site's origin", "an origin that is hidden", "another port's origin",
    "a browser that says cross-site", "a browser that says same-site", "a token on another site's page",
)  # fmt: skip


def test_every_request_of_the_contract_is_in_the_interface(house: House) -> None:
    paths = house.bench.call("GET", "/api/v1/openapi.json").json()["paths"]
    offered = {path.rpartition("/")[2] for path in paths if path.startswith("/api/v1/requests/")}
    assert set(ACTS) == offered


VIEWERS = ("a viewer's session", "a viewer's token")


@pytest.mark.parametrize("with_what", VIEWERS)
def test_whoever_may_look_may_ask_what_changes_nothing(house: House, with_what: str) -> None:
    questions = [verb for verb in ACTS if verb.startswith("tell-")]
    assert questions
    assert {house.act(verb, house.headers[with_what]) for verb in questions} <= {200, 409}


@pytest.mark.parametrize("with_what", BAD)
def test_no_act_is_taken_with(house: House, with_what: str) -> None:
    before = len(house.bench.bus.asked)
    tried = [verb for verb in ACTS if with_what not in VIEWERS or not verb.startswith("tell-")]
    answers = {verb: house.act(verb, house.headers[with_what]) for verb in tried}
    assert set(answers.values()) <= {401, 403}, answers
    assert len(house.bench.bus.asked) == before


@pytest.mark.parametrize("by", ["ann", "script"])
@pytest.mark.parametrize("verb", sorted(ACTS))
def test_every_act_is_asked_of_its_service_in_the_name_of_the_operator(house: House, verb: str, by: str) -> None:
    status = house.act(verb, house.headers[by])
    asked = house.bench.bus.asked[-1]
    assert status in (200, 409)
    assert (asked.who, type(asked).model_fields["verb"].default) == ("ann", verb)


def test_rehearsals_and_sums_need_a_login_but_no_operator(house: House) -> None:
    paths = ("/api/v1/rehearsals", "/api/v1/calculators/alcohol")
    assert [house.bench.call("POST", path, json={}).status_code for path in paths] == [401, 401]
    viewer = house.headers["a viewer's session"]
    assert [house.bench.call("POST", path, json={}, headers=viewer).status_code for path in paths] == [422, 422]


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = bench_on(tmp_path)
    made.account()
    return made


def act(bench: Bench, verb: str, **body: Any) -> Any:
    return bench.call("POST", f"/api/v1/requests/{verb}", json=ACTS[verb] | body, headers=bench.signed_in())


def test_a_batch_that_is_started_here_runs_and_can_be_held(bench: Bench) -> None:
    assert act(bench, "start-batch").status_code == 200
    assert act(bench, "hold-batch", why="a look").json()["outcome"] == "accepted"
    assert bench.desk.live.batches["pale-1"].phase == "held"


def test_the_same_id_again_is_done_once(bench: Bench) -> None:
    act(bench, "start-batch")
    first, second = (act(bench, "log-gravity", id="sample-1") for _ in range(2))
    gravities = [one for one in bench.desk.live.journal if "gravity" in one.event]
    assert first.json()["id"] == second.json()["id"] == "sample-1"
    assert len(gravities) == 1


def test_a_refusal_says_why_and_what_would_be_right(bench: Bench) -> None:
    answer = act(bench, "hold-batch", batch="none-such")
    assert answer.status_code == 409
    assert "none-such" in answer.json()["detail"]
    assert answer.json()["remedy"]


def test_what_cannot_be_asked_names_the_field(bench: Bench) -> None:
    answer = act(bench, "set-temperature", temperature_c="warm")
    assert answer.status_code == 422
    assert "temperature_c" in answer.json()["detail"]


def test_nobody_can_speak_for_another(bench: Bench) -> None:
    act(bench, "lock-out", who="somebody else", client="cli-1", source="bridge")
    asked = bench.bus.asked[-1]
    assert (asked.who, asked.client, asked.source) == ("ann", "console", "console")


def test_without_the_broker_an_act_is_answered_and_what_was_heard_stays(bench: Bench) -> None:
    bench.bus.connected = False
    answer = act(bench, "lock-out")
    shown = bench.call("GET", "/api/v1/readings", headers=bench.signed_in())
    assert (answer.status_code, shown.status_code) == (503, 200)
    assert "broker" in answer.json()["detail"]
    assert len(shown.json()) >= 10


def test_whoever_sits_at_the_machine_may_act_while_nobody_has_a_password(tmp_path: Path) -> None:
    bench = bench_on(tmp_path)
    answer = bench.call("POST", "/api/v1/requests/lock-out", json=CHAMBER)
    assert answer.status_code == 200
    assert bench.bus.asked[-1].who == "local"


def test_every_profile_that_comes_along_can_be_started_as_it_is_shown(bench: Bench) -> None:
    headers = bench.signed_in()
    for name in profile_file.names():
        shown = bench.call("GET", f"/api/v1/profiles/{name}", headers=headers).json()["profile"]
        body = {"batch": f"of-{name}", "chamber": "lager-fridge", "profile": shown, "original_gravity_sg": 1.05}
        answer = bench.call("POST", "/api/v1/requests/start-batch", json=body, headers=headers)
        assert answer.status_code == 200, (name, answer.text)
        bench.call("POST", "/api/v1/requests/abort-batch", json={"batch": f"of-{name}"}, headers=headers)


def test_a_messages_link_is_the_key_whoever_follows_it(bench: Bench) -> None:
    claim = Claim(chamber="bath", name="door-open", raised=START, person="bea", expires=START + timedelta(days=1))
    link = sign(claim, b"k" * 32)
    answer = asyncio.run(bench.desk.acknowledge(link))
    asked = bench.bus.asked[-1]
    assert isinstance(answer, Refused)
    assert isinstance(asked, AcknowledgeAlarm)
    assert (asked.who, asked.chamber, asked.name, asked.token) == ("bea", "bath", "door-open", link)


def test_nobody_acts_from_outside_of_any_request(bench: Bench) -> None:
    answer = asyncio.run(bench.desk.act(LockOut, chamber="bath"))
    assert isinstance(answer, Refused)
    assert bench.bus.asked == []
