"""How a service tells how it is, and for how much it may bother the log."""

import json
import logging
import sys
from datetime import UTC, datetime, timedelta

import pytest

from schemas.base import ServiceName
from schemas.journal import Health, Wellness
from services.runtime.broker import free_port
from services.runtime.health import HealthBook, last_will
from services.runtime.log import JsonLines
from services.runtime.metrics import serve_metrics

START = datetime(2026, 11, 25, 10, tzinfo=UTC)


def book() -> HealthBook:
    return HealthBook(ServiceName.BRIDGE, "barn", "1.2", START)


def said(one: HealthBook, elapsed_s: float) -> Health:
    outgoing = one.message(Wellness.RUNNING, START + timedelta(seconds=elapsed_s), elapsed_s, 3)
    assert isinstance(outgoing.body, Health)
    return outgoing.body


def test_new_kind_of_error_is_told_within_a_second() -> None:
    one = book()
    said(one, 0.0)
    one.trouble("link_lost", "no broker", 0.1)
    assert [one.due(s) for s in (0.9, 1.0)] == [False, True]


def test_error_that_was_told_is_not_told_again_at_once() -> None:
    one = book()
    one.trouble("link_lost", "no broker", 0.0)
    said(one, 0.1)
    one.trouble("link_lost", "no broker", 0.2)
    assert not one.due(5.0)


def test_health_has_counts_last_error_and_time_since_the_start() -> None:
    one = book()
    one.trouble("garbled", "first", 1.0)
    one.trouble("garbled", "second", 1.1)
    told = said(one, 60.0)
    assert (told.counts, told.last_error, told.uptime_s, told.queue_depth) == ({"garbled": 2}, "second", 60.0, 3)


def test_clock_set_back_before_the_start_gives_no_negative_uptime() -> None:
    outgoing = book().message(Wellness.RUNNING, START - timedelta(hours=1), 5.0, 0)
    assert isinstance(outgoing.body, Health)
    assert outgoing.body.uptime_s == 0.0


def test_same_trouble_is_counted_always_and_logged_every_ten_seconds(caplog: pytest.LogCaptureFixture) -> None:
    one = book()
    for elapsed_s in (0.0, 1.0, 9.9, 10.0):
        one.trouble("garbled", "again", elapsed_s)
    assert one.counts["garbled"] == 4
    assert [record.facts["count"] for record in caplog.records] == [1, 4]  # type: ignore[attr-defined]


def test_another_kind_of_trouble_is_logged_though_one_was_just_now(caplog: pytest.LogCaptureFixture) -> None:
    one = book()
    one.trouble("garbled", "a", 0.0)
    one.trouble("link_lost", "b", 0.1)
    assert [record.message for record in caplog.records] == ["garbled", "link_lost"]


def test_last_will_is_kept_and_says_that_the_service_is_lost() -> None:
    will = last_will(ServiceName.RECORDER, "barn", START)
    assert isinstance(will.body, Health)
    assert (will.topic, will.retain, will.body.state) == ("coldside/barn/health/recorder", True, Wellness.LOST)


def record(message: str, **extra: object) -> logging.LogRecord:
    made = logging.LogRecord("coldside", logging.WARNING, __file__, 1, message, None, None)
    made.__dict__.update(extra)
    return made


def test_log_line_of_an_error_carries_its_trace() -> None:
    try:
        raise ValueError("17 is no relay")
    except ValueError:
        line = JsonLines("bridge").format(record("a", exc_info=sys.exc_info()))
    assert json.loads(line)["trace"].endswith("ValueError: 17 is no relay")


def test_metrics_on_a_port_that_is_taken_are_refused() -> None:
    port = free_port(0)
    with serve_metrics([book()], port), pytest.raises(OSError, match="in use"), serve_metrics([book()], port):
        pytest.fail("two servers on one port")


def test_no_port_means_no_server() -> None:
    with serve_metrics([book()], 0) as nothing:
        assert nothing is None
