"""Logs, metrics and locks: what a service tells of itself outside the bus."""

import json
import logging
import urllib.error
import urllib.request

import pytest

from schemas.base import ServiceName
from services.runtime.broker import free_port
from services.runtime.compose import AlreadyRunning, sole_owner
from services.runtime.health import HealthBook
from services.runtime.log import JsonLines, log_to_file
from services.runtime.metrics import as_text, serve_metrics
from tests.runtime.bench import START


@pytest.fixture
def book():
    made = HealthBook(ServiceName.BRIDGE, "barn", "1.2.3", START)
    made.counts["received"] = 41
    return made


@pytest.fixture
def root_log():
    """Gives the root logger its handlers back."""
    root = logging.getLogger()
    before, level = root.handlers[:], root.level
    yield root
    for handler in root.handlers:
        if handler not in before:
            handler.close()
    root.handlers[:] = before
    root.setLevel(level)


def line(**extra):
    record = logging.makeLogRecord({"msg": "lost the broker", "levelname": "ERROR", "created": 1777636800.25, **extra})
    return json.loads(JsonLines("bridge").format(record))


def test_log_line_says_when_who_and_what():
    assert line(facts={"after_s": 3}) == {
        "at": "2026-05-01T12:00:00.250Z",
        "level": "error",
        "service": "bridge",
        "event": "lost the broker",
        "after_s": 3,
    }


def test_log_line_is_one_line_whatever_is_in_it():
    record = logging.makeLogRecord({"msg": "two\nlines", "facts": {"odd": object(), "text": "a\nb"}})
    assert "\n" not in JsonLines("bridge").format(record)


def test_log_line_names_the_service_that_a_shared_process_speaks_for():
    assert line(service="notifier")["service"] == "notifier"


def test_log_goes_to_a_file_whose_folder_need_not_exist(tmp_path, root_log):
    log_to_file("bridge", tmp_path / "log" / "bridge.jsonl")
    root_log.info("started")
    assert json.loads((tmp_path / "log" / "bridge.jsonl").read_text())["event"] == "started"


def test_metrics_are_in_the_text_format_with_a_label_for_the_service(book):
    assert 'coldside_counted_total{service="bridge",name="received"} 41\n' in as_text([book])


def test_metrics_are_served_on_loopback_while_wanted(book):
    port = free_port(0)
    with serve_metrics([book], port), urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics", timeout=5) as answer:
        assert answer.headers["Content-Type"].startswith("text/plain; version=0.0.4")
        assert answer.read().decode() == as_text([book])
    with pytest.raises(urllib.error.URLError):
        urllib.request.urlopen(f"http://127.0.0.1:{port}/metrics", timeout=5)


def test_metrics_answer_nothing_else(book):
    port = free_port(0)
    with serve_metrics([book], port), pytest.raises(urllib.error.HTTPError, match="404"):
        urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5)


def test_state_has_one_owner_at_a_time(tmp_path):
    lock = tmp_path / "state" / "bridge.lock"
    with sole_owner([lock]), pytest.raises(AlreadyRunning, match="bridge already runs"), sole_owner([lock]):
        pass
    with sole_owner([lock]):
        assert lock.exists()


def test_a_name_counted_once_in_the_book_is_counted_on(book):
    for _ in range(3):
        book.trouble("failed-raw", "raw: it broke", elapsed_s=0.0)
    assert book.counts == {"received": 41, "failed-raw": 3}


def test_health_is_due_at_once_and_then_after_ten_seconds(book):
    assert book.due(100.0)
    book.message("running", START, 100.0, 0)
    assert [book.due(at) for at in (100.0, 109.9, 110.0)] == [False, False, True]


def test_long_error_is_cut_to_what_a_message_may_hold(book):
    book.trouble("failed-raw", "x" * 5000, elapsed_s=0.0)
    assert len(book.message("running", START, 0.0, 0).body.last_error) == 2000
