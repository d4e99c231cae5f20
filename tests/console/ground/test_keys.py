"""Who somebody is, worked out from what they bring along."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from services.console.access import LOCAL, NOBODY, visitor
from services.console.accounts import Accounts, Role
from services.console.keys import Keys, session_of
from services.console.sessions import MOST_KEPT, Sessions
from services.runtime.clock import VirtualClock
from tests.console.ground.bench import CHEAP, PASSWORD

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)
HERE = {"host": "127.0.0.1:8765"}


@pytest.fixture
def keys(tmp_path: Path) -> Keys:
    return Keys(Accounts(tmp_path, CHEAP), Sessions(tmp_path), VirtualClock(NOW))


def signed_in(keys: Keys, name: str = "ann", role: Role = Role.OPERATOR) -> dict[str, str]:
    account = keys.accounts.add(name, role, PASSWORD, NOW)
    return HERE | {"cookie": f"coldside_session={keys.sessions.begin(account, NOW)}"}


def test_outside_of_any_request_it_is_nobody() -> None:
    assert visitor() == NOBODY


def test_nobody_may_neither_look_nor_act() -> None:
    assert not NOBODY.may_look
    assert not NOBODY.may_act


def test_whoever_sits_here_may_do_both_while_nobody_has_a_password(keys: Keys) -> None:
    assert keys.who(HERE, "127.0.0.1") == LOCAL
    assert LOCAL.may_look
    assert LOCAL.may_act


def test_a_session_says_who_it_is_wherever_they_are(keys: Keys) -> None:
    who = keys.who(signed_in(keys), "192.168.1.20")
    assert (who.name, who.role, who.by) == ("ann", Role.OPERATOR, "session")


def test_a_viewer_who_signed_in_here_is_no_more_than_a_viewer(keys: Keys) -> None:
    who = keys.who(signed_in(keys, "vic", Role.VIEWER), "127.0.0.1")
    assert (who.name, who.may_look, who.may_act) == ("vic", True, False)


def test_a_token_that_is_no_good_is_nobodys_even_here(keys: Keys) -> None:
    assert keys.who(HERE | {"authorization": "Bearer coldside-none"}, "127.0.0.1") == NOBODY


@pytest.mark.parametrize("written", ["", "Bearer", "Bearer ", "bearer  ", "Token x", "Bearer x y"])
def test_what_is_no_token_is_nobodys(keys: Keys, written: str) -> None:
    signed_in(keys)
    assert keys.who({"authorization": written}, "10.0.0.1") == NOBODY


@pytest.mark.parametrize(
    ("cookie", "secret"),
    [
        ("", ""),
        ("coldside_session=abc", "abc"),
        ("other=1; coldside_session=abc; more=2", "abc"),
        ("coldside_session", ""),
        ("=;;=", ""),
        ('coldside_session="a b"', "a b"),
    ],
)
def test_the_sessions_secret_is_found_among_other_cookies(cookie: str, secret: str) -> None:
    assert session_of({"cookie": cookie}) == secret


def test_two_sessions_of_one_account_end_apart(keys: Keys) -> None:
    account = keys.accounts.add("ann", Role.OPERATOR, PASSWORD, NOW)
    first, second = keys.sessions.begin(account, NOW), keys.sessions.begin(account, NOW)
    keys.sessions.end(first)
    assert keys.sessions.account(first, keys.accounts.book, NOW) is None
    assert keys.sessions.account(second, keys.accounts.book, NOW) == account


def test_ending_what_never_began_changes_nothing(keys: Keys) -> None:
    headers = signed_in(keys)
    keys.sessions.end("none-such")
    assert keys.who(headers, "10.0.0.1").name == "ann"


def test_sessions_that_are_over_are_forgotten_and_never_too_many_kept(tmp_path: Path, keys: Keys) -> None:
    account = keys.accounts.add("ann", Role.OPERATOR, PASSWORD, NOW)
    for number in range(MOST_KEPT + 5):
        keys.sessions.begin(account, NOW + timedelta(seconds=number))
    assert (tmp_path / "sessions.json").read_text().count('"name"') == MOST_KEPT
    keys.sessions.begin(account, NOW + timedelta(days=30))
    assert (tmp_path / "sessions.json").read_text().count('"name"') == 1


def test_a_damaged_file_of_sessions_is_set_aside_and_all_sign_in_again(tmp_path: Path) -> None:
    (tmp_path / "sessions.json").write_text("{")
    assert Sessions(tmp_path).account("any", Accounts(tmp_path, CHEAP).book, NOW) is None
    assert (tmp_path / "sessions.json.unreadable-1").exists()
