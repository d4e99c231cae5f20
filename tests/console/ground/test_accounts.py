"""Accounts: kept in one file, written from two sides, with a password that nobody but its owner knows."""

import json
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Thread

import pytest

from services.console import tokens
from services.console.accounts import AccountRefused, Accounts, Role
from tests.commands.live import COLDSIDE, coldside
from tests.console.ground.bench import CHEAP, PASSWORD

NOW = datetime(2026, 3, 2, 12, tzinfo=UTC)


@pytest.fixture
def accounts(tmp_path: Path) -> Accounts:
    return Accounts(tmp_path, CHEAP)


def test_no_account_comes_along(accounts: Accounts) -> None:
    assert accounts.book.accounts == ()
    assert not accounts.book.has_operator


def test_a_password_opens_its_own_account_only(accounts: Accounts) -> None:
    accounts.add("ann", Role.OPERATOR, PASSWORD, NOW)
    accounts.add("bea", Role.VIEWER, PASSWORD + "!", NOW)
    assert accounts.check("ann", PASSWORD) is not None
    assert accounts.check("bea", PASSWORD) is None
    assert accounts.check("nobody", PASSWORD) is None


def test_the_same_password_is_kept_differently_each_time(accounts: Accounts) -> None:
    kept = {accounts.add(name, Role.VIEWER, PASSWORD, NOW).password for name in ("ann", "bea")}
    assert len(kept) == 2
    assert all(one.startswith("$argon2id$") for one in kept)


def test_the_costs_of_a_password_are_those_that_owasp_asks_for(tmp_path: Path) -> None:
    """OWASP Password Storage Cheat Sheet: Argon2id with at least 19 MiB, 2 iterations, 1 lane."""
    kept = Accounts(tmp_path).add("ann", Role.OPERATOR, PASSWORD, NOW).password
    costs = dict(part.split("=") for part in kept.split("$")[3].split(","))
    assert int(costs["m"]) >= 19 * 1024
    assert int(costs["t"]) >= 2
    assert int(costs["p"]) >= 1


@pytest.mark.parametrize("password", ["", "short", "123456789", "x" * 501])
def test_a_password_that_is_too_short_or_endless_is_refused(accounts: Accounts, password: str) -> None:
    with pytest.raises(AccountRefused, match="10 to 500"):
        accounts.add("ann", Role.OPERATOR, password, NOW)


@pytest.mark.parametrize("name", ["", "Ann", "ann smith", "../ann", "a" * 41])
def test_a_name_that_could_be_taken_for_something_else_is_refused(accounts: Accounts, name: str) -> None:
    with pytest.raises(AccountRefused, match="cannot be a name"):
        accounts.add(name, Role.OPERATOR, PASSWORD, NOW)


def test_a_name_is_given_once(accounts: Accounts) -> None:
    accounts.add("ann", Role.VIEWER, PASSWORD, NOW)
    with pytest.raises(AccountRefused, match="already"):
        accounts.add("ann", Role.OPERATOR, PASSWORD, NOW)


def test_the_last_operator_stays_while_others_look(accounts: Accounts) -> None:
    accounts.add("ann", Role.OPERATOR, PASSWORD, NOW)
    accounts.add("vic", Role.VIEWER, PASSWORD, NOW)
    with pytest.raises(AccountRefused, match="only operator"):
        accounts.remove("ann")
    accounts.remove("vic")
    accounts.remove("ann")
    assert accounts.book.accounts == ()


def test_what_another_process_writes_is_seen_at_once(accounts: Accounts, tmp_path: Path) -> None:
    assert accounts.book.find("ann") is None
    Accounts(tmp_path, CHEAP).add("ann", Role.OPERATOR, PASSWORD, NOW)
    assert accounts.book.find("ann") is not None


def test_two_who_write_at_once_lose_nothing(tmp_path: Path) -> None:
    def add(first: int) -> None:
        for number in range(first, first + 10):
            Accounts(tmp_path, CHEAP).add(f"n-{number}", Role.VIEWER, PASSWORD, NOW)

    threads = [Thread(target=add, args=(first,)) for first in (0, 10, 20)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(Accounts(tmp_path).book.accounts) == 30


def test_a_damaged_file_is_told_and_not_overwritten(accounts: Accounts, tmp_path: Path) -> None:
    (tmp_path / "accounts.json").write_text('{"accounts": [{"name": "ann"')
    with pytest.raises(AccountRefused, match="cannot be read"):
        accounts.add("bea", Role.OPERATOR, PASSWORD, NOW)
    assert (tmp_path / "accounts.json").read_text() == '{"accounts": [{"name": "ann"'


def test_a_token_is_seen_once_and_kept_as_a_digest(accounts: Accounts, tmp_path: Path) -> None:
    accounts.add("ann", Role.OPERATOR, PASSWORD, NOW)
    shown = tokens.make(accounts, "ann", "a script", NOW)
    assert shown.secret not in (tmp_path / "accounts.json").read_text()
    assert tokens.owner(accounts.book, shown.secret, NOW) == accounts.book.find("ann")


def test_a_token_opens_until_its_date_and_not_at_it(accounts: Accounts) -> None:
    accounts.add("ann", Role.OPERATOR, PASSWORD, NOW)
    shown = tokens.make(accounts, "ann", "a script", NOW, NOW + timedelta(days=1))
    late = NOW + timedelta(days=1)
    assert tokens.owner(accounts.book, shown.secret, late - timedelta(seconds=1)) is not None
    assert tokens.owner(accounts.book, shown.secret, late) is None


@pytest.mark.parametrize(
    ("label", "expires", "why"),
    [("", None, "label"), ("x" * 81, None, "label"), ("a script", NOW, "past")],
)
def test_a_token_without_a_purpose_or_out_of_date_is_refused(
    accounts: Accounts, label: str, expires: datetime | None, why: str
) -> None:
    accounts.add("ann", Role.OPERATOR, PASSWORD, NOW)
    with pytest.raises(AccountRefused, match=why):
        tokens.make(accounts, "ann", label, NOW, expires)


def test_an_account_has_no_more_than_twenty_tokens(accounts: Accounts) -> None:
    accounts.add("ann", Role.OPERATOR, PASSWORD, NOW)
    for number in range(tokens.MOST_TOKENS):
        tokens.make(accounts, "ann", f"script {number}", NOW)
    with pytest.raises(AccountRefused, match="take one back"):
        tokens.make(accounts, "ann", "one more", NOW)


def typed(state: Path, *words: str, says: str = "") -> subprocess.CompletedProcess[str]:
    command = [*COLDSIDE, "accounts", *words, "--state", str(state)]
    return subprocess.run(command, input=says, capture_output=True, text=True, timeout=60)


def test_the_command_line_keeps_accounts_and_never_takes_a_password_on_the_line(tmp_path: Path) -> None:
    assert typed(tmp_path, "add", "ann", "--role", "operator", says=PASSWORD + "\n").returncode == 0
    assert Accounts(tmp_path).check("ann", PASSWORD) is not None
    assert typed(tmp_path, "password", "ann", says=PASSWORD + "!\n").returncode == 0
    assert Accounts(tmp_path).check("ann", PASSWORD + "!") is not None
    assert typed(tmp_path, "password", "ann", PASSWORD).returncode == 2


def test_the_command_line_makes_and_takes_back_tokens(tmp_path: Path) -> None:
    Accounts(tmp_path, CHEAP).add("ann", Role.OPERATOR, PASSWORD, NOW)
    secret = typed(tmp_path, "token", "add", "ann", "--label", "a script", "--for", "90 d").stdout.strip()
    now = datetime.now(UTC)
    assert tokens.owner(Accounts(tmp_path).book, secret, now) is not None
    assert tokens.owner(Accounts(tmp_path).book, secret, now + timedelta(days=91)) is None
    (account,) = json.loads(coldside("accounts", "list", "--json", state=tmp_path).stdout)
    assert secret not in json.dumps(account)
    assert typed(tmp_path, "token", "remove", "ann", account["tokens"][0]["id"]).returncode == 0
    assert tokens.owner(Accounts(tmp_path).book, secret, now) is None


def test_the_command_line_refuses_with_words(tmp_path: Path) -> None:
    done = typed(tmp_path, "remove", "nobody")
    assert done.returncode == 2
    assert "there is no account 'nobody'" in done.stderr
