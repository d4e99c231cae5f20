"""The catalogue is whole, and says what people need."""

from pathlib import Path

import pytest

from schemas.alarms import Condition, Priority
from schemas.conditions import ConditionKind, condition_name, kind_of
from services.notifier.catalogue import DOUBTFUL, UNKNOWN, definition_of, standard_catalogue
from services.notifier.review import rationalisation, span
from tests.notifier.bench import NOON

ALL = standard_catalogue()
PHONE_SCREEN = 300


def test_every_kind_of_condition_has_an_entry():
    assert set(ALL) == set(ConditionKind)


@pytest.mark.parametrize("kind", ALL)
def test_an_alarm_is_announced_well_before_its_time_to_respond_is_over(kind):
    assert ALL[kind].on_delay_s <= ALL[kind].respond_within_s / 2


@pytest.mark.parametrize("kind", ALL)
def test_cause_consequence_and_response_fit_on_a_phone(kind):
    entry = ALL[kind]
    assert 0 < len(entry.cause) + len(entry.consequence) + len(entry.response) <= PHONE_SCREEN


@pytest.mark.parametrize("kind", ALL)
def test_what_explains_an_alarm_away_is_a_condition_of_some_kind(kind):
    assert all(kind_of(cause) is not None for cause in ALL[kind].suppressed_by)


@pytest.mark.parametrize("kind", [kind for kind in ALL if ALL[kind].priority is Priority.CRITICAL])
def test_nothing_but_a_lost_link_explains_a_critical_alarm_away(kind):
    assert all(cause.startswith(("broker-lost", "service-lost")) for cause in ALL[kind].suppressed_by)


def test_explanations_run_in_no_circle():
    def causes(kind):
        return {found for cause in ALL[kind].suppressed_by if (found := kind_of(cause)) is not None}

    for kind in ALL:
        seen, ahead = set(), causes(kind)
        while ahead:
            assert kind not in ahead
            seen |= ahead
            ahead = {further for cause in ahead for further in causes(cause)} - seen


@pytest.mark.parametrize("kind", ALL)
@pytest.mark.parametrize("subject", ["a" * 40, "a-" * 19 + "b"])
def test_an_alarm_about_something_with_a_long_name_can_be_told(kind, subject):
    name = condition_name(kind, subject)
    said = Condition(at=NOON, since=NOON, source="test", chamber="left", name=name, active=True, detail="x")
    assert kind_of(said.name) is kind


def test_a_condition_of_unknown_kind_still_gets_an_alarm():
    assert definition_of("ghost-in-the-cellar", ALL) is UNKNOWN


def test_a_return_inside_the_deadband_must_last_longer():
    warm = ALL[ConditionKind.BEER_TOO_WARM]
    assert warm.off_delay(value=20.45, limit=20.5) == DOUBTFUL * warm.off_delay(value=20.0, limit=20.5)
    assert warm.off_delay(value=None, limit=None) == warm.off_delay_s


def test_the_printed_catalogue_is_not_stale():
    page = Path(__file__).parent.parent.parent / "docs" / "alarms.md"
    assert page.read_text(encoding="utf-8") == rationalisation(ALL)


@pytest.mark.parametrize(
    ("seconds", "words"), [(0, "0 s"), (90, "90 s"), (900, "15 min"), (7200, "2 h"), (86400, "1 d")]
)
def test_spans_read_as_people_say_them(seconds, words):
    assert span(seconds) == words
