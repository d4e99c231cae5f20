"""Who can reach the console at all: this machine, until an operator has a password."""

from pathlib import Path

import pytest

from services.console.accounts import Role
from services.console.gate import MOST_BYTES, too_much
from services.console.headers import POLICY, comes_from_elsewhere, names_this_machine
from services.console.serve import NotSafe, check_reach
from services.console.settings import is_loopback
from tests.commands.live import coldside
from tests.console.ground.bench import Bench, bench_on


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return bench_on(tmp_path)


def status(bench: Bench, **visit: str) -> int:
    headers = {name: visit.pop(name) for name in ("forwarded", "via", "x_forwarded_for") if name in visit}
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return bench.call("GET", "/api/v1/site", headers=named, **visit).status_code


@pytest.mark.parametrize("host", ["127.0.0.1:8765", "localhost:8765", "[::1]:8765", "127.0.0.1"])
def test_without_accounts_whoever_sits_at_this_machine_is_let_in(bench: Bench, host: str) -> None:
    assert status(bench, host=host) == 200


def test_without_accounts_nobody_comes_in_over_the_network(bench: Bench) -> None:
    assert status(bench, place="192.168.1.20") == 401


def test_a_name_elsewhere_that_was_made_to_point_here_opens_nothing(bench: Bench) -> None:
    assert status(bench, host="elsewhere.example:8765") == 401


@pytest.mark.parametrize("header", ["forwarded", "via", "x_forwarded_for"])
def test_what_a_proxy_passes_on_does_not_come_from_this_machine(bench: Bench, header: str) -> None:
    assert status(bench, **{header: "for=192.168.1.20"}) == 401


def test_once_there_is_an_operator_this_machine_has_to_sign_in_too(bench: Bench) -> None:
    bench.account("vic", Role.VIEWER)
    assert status(bench) == 200
    bench.account("ann", Role.OPERATOR)
    assert status(bench) == 401


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.5"])
def test_it_is_not_served_beyond_this_machine_before_an_operator_has_a_password(bench: Bench, host: str) -> None:
    bench.account("vic", Role.VIEWER)
    with pytest.raises(NotSafe, match="coldside accounts add"):
        check_reach(bench.desk, host)
    bench.account("ann", Role.OPERATOR)
    check_reach(bench.desk, host)


def test_up_refuses_another_address_before_anything_is_started(tmp_path: Path) -> None:
    done = coldside("up", "--no-past", "--console-host", "0.0.0.0", "--console-port", "0", state=tmp_path)
    assert done.returncode == 2
    assert "before an operator has a password" in done.stderr
    assert not (tmp_path / "broker.json").exists()


def test_run_refuses_another_address_too(tmp_path: Path) -> None:
    words = ("run", "console", "--plant", "services/simulator/barn.yaml", "--broker", "mqtt://127.0.0.1:1")
    done = coldside(*words, "--console-host", "0.0.0.0", "--console-port", "0", state=tmp_path)
    assert done.returncode == 1
    assert "before an operator has a password" in done.stderr


@pytest.mark.parametrize(
    ("host", "inside"),
    [("127.0.0.1", True), ("127.8.8.8", True), ("::1", True), ("localhost", True), ("0.0.0.0", False),
     ("192.168.0.2", False), ("localhost.elsewhere.example", False), ("", False)],
)  # fmt: skip
def test_loopback_is_known(host: str, inside: bool) -> None:
    assert is_loopback(host) is inside


@pytest.mark.parametrize(
    ("headers", "elsewhere"),
    [
        ({}, False),
        ({"host": "shed:8765", "origin": "http://shed:8765"}, False),
        ({"host": "shed", "origin": "https://shed"}, False),
        ({"host": "shed:8765", "origin": "http://shed.elsewhere.example:8765"}, True),
        ({"host": "shed:8765", "origin": "null"}, True),
        ({"host": "shed:8765", "origin": "http://shed:1"}, True),
        ({"host": "shed:8765", "sec-fetch-site": "same-origin"}, False),
        ({"host": "shed:8765", "sec-fetch-site": "none"}, False),
        ({"host": "shed:8765", "origin": "null", "sec-fetch-site": "same-origin"}, False),
        ({"host": "shed:8765", "sec-fetch-site": "cross-site"}, True),
        ({"host": "shed:8765", "origin": "http://shed:8765", "sec-fetch-site": "cross-site"}, True),
    ],
)
def test_what_another_sites_page_asks_is_told_apart(headers: dict[str, str], elsewhere: bool) -> None:
    assert comes_from_elsewhere(headers) is elsewhere


def test_a_host_without_a_port_is_read_whole() -> None:
    assert names_this_machine({"host": "[::1]"})
    assert not names_this_machine({})


def test_every_answer_carries_the_secure_headers_refusals_too(bench: Bench) -> None:
    for answer in (bench.call("GET", "/api/v1/site"), bench.call("GET", "/api/v1/site", place="10.0.0.1")):
        assert answer.headers["content-security-policy"] == POLICY
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["x-frame-options"] == "DENY"
        assert answer.headers["cache-control"] == "no-store"
        assert "server" not in answer.headers


def test_a_page_may_load_from_and_talk_to_this_server_only() -> None:
    sources = [part.split()[1:] for part in POLICY.split("; ")]
    assert all("*" not in source and "//" not in source for part in sources for source in part)


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, None),
        ({"content-length": str(MOST_BYTES)}, None),
        ({"content-length": str(MOST_BYTES + 1)}, 413),
        ({"content-length": "9" * 5000}, 413),
        ({"content-length": "-1"}, 413),
        ({"transfer-encoding": "chunked"}, 411),
    ],
)
def test_a_body_without_end_is_not_taken_in(headers: dict[str, str], status: int | None) -> None:
    refusal = too_much(headers)
    assert (refusal.status if refusal else None) == status


def test_somebody_who_sends_too_much_is_told(bench: Bench) -> None:
    answer = bench.call("POST", "/api/v1/session", content=b"x" * (MOST_BYTES + 1))
    assert answer.status_code == 413
    assert str(MOST_BYTES) in answer.json()["detail"]
