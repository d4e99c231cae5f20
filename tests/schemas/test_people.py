"""Who is told, where and when, as the plant file says."""

from typing import Any

import pytest
from pydantic import TypeAdapter, ValidationError

from schemas.alarms import Priority
from schemas.people import WEEK, AlarmChange, Heartbeat, Mail, Relay, Route, Way, Webhook, Weighed, minutes_of, span_of

WAY: TypeAdapter[Any] = TypeAdapter(Way)


@pytest.mark.parametrize(("clock", "minutes"), [("00:00", 0), ("7:30", 450), ("07:30", 450), ("23:59", 1439)])
def test_clock_time_is_minutes_since_midnight(clock: str, minutes: int) -> None:
    assert minutes_of(clock) == minutes


@pytest.mark.parametrize(
    ("written", "span"), [("22:30-07:00", (1350, 420)), ("8:00 - 9:00", (480, 540)), (" 00:00-23:59 ", (0, 1439))]
)
def test_span_of_the_day_may_go_over_midnight(written: str, span: tuple[int, int]) -> None:
    assert span_of(written) == span


@pytest.mark.parametrize("written", ["", "22:30", "22:30-", "24:00-07:00", "22:60-07:00", "7-8", "08:00-08:00"])
def test_what_is_no_span_is_refused_with_an_example(written: str) -> None:
    with pytest.raises(ValueError, match="write it like '22:30-07:00'"):
        span_of(written)


@pytest.mark.parametrize(
    ("way", "kind"),
    [
        ({"mail": "ann@example.org"}, Mail),
        ({"webhook": "https://example.org/a"}, Webhook),
        ({"webhook": "file", "file": "hook.txt"}, Webhook),
        ({"apprise": "env", "env": "ANN_PHONE"}, Relay),
    ],
)
def test_way_to_a_person_is_told_by_its_key(way: dict[str, str], kind: type) -> None:
    assert isinstance(WAY.validate_python(way), kind)


@pytest.mark.parametrize(
    ("way", "words"),
    [
        ({"pigeon": "grey"}, "names no way known here"),
        ({"webhook": "file"}, "says 'file' and names none"),
        ({"webhook": "env", "file": "hook.txt"}, "says 'env' and names none"),
        ({"apprise": "env"}, "says 'env' and names none"),
        ({"webhook": "ftp://example.org"}, "webhook"),
        ({"mail": "ann at example"}, "mail"),
        ({"mail": "a@b.org, c@d.org"}, "mail"),
        ({"apprise": "tgram://secret/chat"}, "apprise"),
    ],
)
def test_way_that_leads_nowhere_or_shows_a_secret_is_refused(way: dict[str, str], words: str) -> None:
    with pytest.raises(ValidationError, match=words):
        WAY.validate_python(way)


def test_route_without_conditions_takes_every_alarm_on_every_day() -> None:
    route = Route(to=("ann.phone",))
    assert (route.priorities, route.days, route.after_s) == (tuple(Priority), WEEK, 0.0)


def test_route_to_nobody_is_refused() -> None:
    with pytest.raises(ValidationError):
        Route(to=())


def test_route_for_an_alarm_that_does_not_exist_names_the_nearest() -> None:
    with pytest.raises(ValidationError, match="did you mean 'probe-silent'"):
        Route(to=("ann.phone",), alarms=("probe-silence",))


def test_route_may_name_one_probes_alarm() -> None:
    assert Route(to=("ann.phone",), alarms=("probe-silent-beer",)).alarms == ("probe-silent-beer",)


def test_route_cannot_repeat_more_often_than_each_minute() -> None:
    with pytest.raises(ValidationError):
        Route.model_validate({"to": ["ann.phone"], "again": 59})


def test_change_to_an_alarm_says_only_what_the_file_names() -> None:
    assert AlarmChange(latching=False, on_delay_s=0.0).said == {"latching": False, "on_delay_s": 0.0}


def test_heartbeat_without_an_address_is_refused() -> None:
    with pytest.raises(ValidationError, match="names no address"):
        Heartbeat()


@pytest.mark.parametrize(("what", "low_kg"), [("keg", 2.0), ("cylinder", 0.4)])
def test_scale_has_its_own_low_mark_unless_the_file_says(what: Any, low_kg: float) -> None:
    assert Weighed(what=what, empty_kg=5.0).low_at_kg == low_kg
    assert Weighed(what=what, empty_kg=5.0, low_kg=0.0).low_at_kg == 0.0
