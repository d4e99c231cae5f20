"""One's own tokens over the interface: made with a password, never with another token."""

from pathlib import Path
from typing import Any

import pytest

from services.console.accounts import Role
from tests.console.ground.bench import Bench, bench_on
from tests.console.ground.test_acts import bearer

TOKENS = "/api/v1/tokens"


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = bench_on(tmp_path)
    made.account("ann", Role.OPERATOR)
    made.account("vic", Role.VIEWER)
    return made


def made(bench: Bench, name: str = "ann", **more: Any) -> Any:
    answer = bench.call("POST", TOKENS, json={"label": "a script", **more}, headers=bench.signed_in(name))
    assert answer.status_code == 201, answer.text
    return answer.json()


def test_a_new_token_opens_at_once_with_the_rights_of_its_account(bench: Bench) -> None:
    me = bench.call("GET", "/api/v1/session", headers=bearer(made(bench)["secret"])).json()
    assert me == {"name": "ann", "role": "operator", "by": "token"}


def test_a_viewers_token_looks_and_does_not_act(bench: Bench) -> None:
    headers = bearer(made(bench, "vic")["secret"])
    assert bench.call("GET", "/api/v1/site", headers=headers).status_code == 200
    answer = bench.call("POST", "/api/v1/requests/lock-out", json={"chamber": "bath"}, headers=headers)
    assert answer.status_code == 403


def test_the_list_shows_ones_own_without_their_secrets(bench: Bench) -> None:
    mine, others = made(bench), made(bench, "vic")
    listed = bench.call("GET", TOKENS, headers=bench.signed_in()).json()
    assert [one["id"] for one in listed] == [mine["id"]]
    assert "secret" not in listed[0]
    assert others["id"] not in str(listed)


def test_a_token_that_is_taken_back_opens_nothing(bench: Bench) -> None:
    one = made(bench)
    assert bench.call("DELETE", f"{TOKENS}/{one['id']}", headers=bench.signed_in()).status_code == 204
    assert bench.call("GET", "/api/v1/site", headers=bearer(one["secret"])).status_code == 401


def test_nobody_takes_back_anothers_token(bench: Bench) -> None:
    one = made(bench)
    assert bench.call("DELETE", f"{TOKENS}/{one['id']}", headers=bench.signed_in("vic")).status_code == 409
    assert bench.call("GET", "/api/v1/site", headers=bearer(one["secret"])).status_code == 200


def test_a_token_makes_no_other_token(bench: Bench) -> None:
    headers = bearer(made(bench)["secret"])
    assert bench.call("POST", TOKENS, json={"label": "a heir"}, headers=headers).status_code == 409


def test_a_date_without_a_zone_is_refused(bench: Bench) -> None:
    body = {"label": "a script", "expires": "2027-01-01T00:00:00"}
    assert bench.call("POST", TOKENS, json=body, headers=bench.signed_in()).status_code == 422


def test_without_accounts_there_are_no_tokens_to_make(tmp_path: Path) -> None:
    answer = bench_on(tmp_path).call("POST", TOKENS, json={"label": "a script"})
    assert answer.status_code == 409
    assert "coldside accounts add" in answer.json()["detail"]
