"""Signing in: cookies that only this site sends, guessing that is held up, sessions that end when they should."""

import json
from datetime import timedelta
from pathlib import Path

import pytest

from services.console.accounts import Role
from services.console.sessions import LASTS
from tests.console.ground.bench import PASSWORD, Bench, bench_on

ME = "/api/v1/session"


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    made = bench_on(tmp_path)
    made.account("ann", Role.OPERATOR)
    return made


def sign_in(bench: Bench, name: str = "ann", password: str = PASSWORD, place: str = "10.0.0.7") -> int:
    answer = bench.call("POST", ME, json={"name": name, "password": password}, place=place)
    return answer.status_code


def whoami(bench: Bench, headers: dict[str, str]) -> str:
    return str(bench.call("GET", ME, headers=headers).json()["name"])


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites(bench: Bench) -> None:
    cookie = bench.call("POST", ME, json={"name": "ann", "password": PASSWORD}).headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "secure" not in cookie


def test_behind_tls_the_cookie_is_sent_over_tls_only(bench: Bench) -> None:
    answer = bench.call("POST", ME, json={"name": "ann", "password": PASSWORD}, headers={"X-Forwarded-Proto": "https"})
    assert "; secure" in answer.headers["set-cookie"].lower()


def test_name_and_role_are_told_to_whoever_signed_in(bench: Bench) -> None:
    assert bench.call("GET", ME, headers=bench.signed_in()).json() == {
        "name": "ann",
        "role": "operator",
        "by": "session",
    }


def test_a_wrong_password_and_a_wrong_name_get_the_same_answer(bench: Bench) -> None:
    answers = [
        bench.call("POST", ME, json={"name": name, "password": "not the right one"}) for name in ("ann", "nobody-here")
    ]
    assert [one.status_code for one in answers] == [401, 401]
    assert answers[0].json() == answers[1].json()


def test_after_five_failures_even_the_right_password_has_to_wait(bench: Bench) -> None:
    assert [sign_in(bench, password="guess number one") for _ in range(5)] == [401] * 5
    assert sign_in(bench) == 429
    bench.clock.advance(timedelta(minutes=14))
    assert sign_in(bench) == 429
    bench.clock.advance(timedelta(minutes=2))
    assert sign_in(bench) == 200


def test_guessing_from_elsewhere_locks_nobody_out_at_home(bench: Bench) -> None:
    for _ in range(6):
        sign_in(bench, password="guess number one", place="10.9.9.9")
    assert sign_in(bench, place="10.0.0.7") == 200


def test_one_place_cannot_go_through_many_names(bench: Bench) -> None:
    statuses = [sign_in(bench, name=f"name-{number}", password="the same guess") for number in range(12)]
    assert statuses == [401] * 10 + [429] * 2


def test_the_wait_is_told_in_words_and_to_programs(bench: Bench) -> None:
    for _ in range(5):
        sign_in(bench, password="guess number one")
    answer = bench.call("POST", ME, json={"name": "ann", "password": PASSWORD}, place="10.0.0.7")
    assert "15 min" in answer.json()["detail"]
    assert answer.headers["retry-after"] == "900"


def test_signing_in_well_forgets_the_failures_before(bench: Bench) -> None:
    for _ in range(3):
        assert [sign_in(bench, password="guess number one") for _ in range(3)] == [401] * 3
        assert sign_in(bench) == 200


def test_a_session_outlives_a_restart_of_the_console(bench: Bench, tmp_path: Path) -> None:
    headers = bench.signed_in()
    assert whoami(bench_on(tmp_path), headers) == "ann"


def test_a_session_ends_after_two_weeks(bench: Bench) -> None:
    headers = bench.signed_in()
    bench.clock.advance(LASTS - timedelta(seconds=1))
    assert whoami(bench, headers) == "ann"
    bench.clock.advance(timedelta(seconds=1))
    assert bench.call("GET", "/api/v1/site", headers=headers).status_code == 401


def test_a_session_ends_with_its_account(bench: Bench) -> None:
    bench.account("bea", Role.OPERATOR)
    headers = bench.signed_in("bea")
    bench.desk.accounts.remove("bea")
    assert bench.call("GET", "/api/v1/site", headers=headers).status_code == 401


def test_whoever_reads_the_state_folder_cannot_sign_in_with_what_is_there(bench: Bench, tmp_path: Path) -> None:
    secret = bench.signed_in()["Cookie"].partition("=")[2]
    kept = "".join(path.read_text() for path in tmp_path.glob("*.json"))
    assert secret not in kept
    assert PASSWORD not in kept
    assert "$argon2id$" in kept
    for digest in json.loads((tmp_path / "sessions.json").read_text())["sessions"]:
        assert bench.call("GET", "/api/v1/site", headers={"Cookie": f"coldside_session={digest}"}).status_code == 401


def test_files_with_secrets_are_their_owners_alone(bench: Bench, tmp_path: Path) -> None:
    bench.signed_in()
    bench.desk.accounts.secret()
    modes = {
        name: (tmp_path / name).stat().st_mode & 0o777 for name in ("accounts.json", "sessions.json", "page-secret")
    }
    assert set(modes.values()) == {0o600}


def form(bench: Bench, to: str, password: str = PASSWORD) -> str:
    answer = bench.call("POST", "/sign-in", data={"name": "ann", "password": password, "to": to})
    assert answer.status_code == 303
    return str(answer.headers["location"])


def test_a_form_leads_on_to_the_page_that_was_wanted(bench: Bench) -> None:
    assert form(bench, "/chamber/bath") == "/chamber/bath"


@pytest.mark.parametrize(
    "to", ["https://elsewhere.example/", "//elsewhere.example", "/\\elsewhere.example", "javascript:1"]
)
def test_a_form_never_leads_elsewhere(bench: Bench, to: str) -> None:
    assert form(bench, to) == "/"


def test_a_form_with_a_wrong_password_leads_back_with_words(bench: Bench) -> None:
    location = form(bench, "/batch", "not the right one")
    assert location.startswith("/sign-in?to=%2Fbatch&trouble=")


def test_signing_out_ends_the_session_and_takes_the_cookie_back(bench: Bench) -> None:
    headers = bench.signed_in()
    answer = bench.call("POST", "/sign-out", headers=headers)
    assert answer.headers["location"] == "/sign-in"
    assert "max-age=0" in answer.headers["set-cookie"].lower()
    assert bench.call("GET", "/api/v1/site", headers=headers).status_code == 401


def test_a_page_without_login_leads_to_signing_in(bench: Bench) -> None:
    answer = bench.call("GET", "/chamber/bath")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in?to=/chamber/bath")


def test_a_damaged_file_of_accounts_lets_nobody_in(bench: Bench, tmp_path: Path) -> None:
    headers = bench.signed_in()
    (tmp_path / "accounts.json").write_text("{")
    assert bench.call("GET", "/api/v1/site", headers=headers).status_code == 401
    assert sign_in(bench) in (401, 409)
