"""Conditions become alarms: delays, acknowledgement, shelving, latching, restarts, duplicates."""

import json
import logging
from datetime import timedelta

import pytest

from schemas.alarms import Alarm, AlarmPhase
from schemas.journal import JournalEntry
from schemas.requests import (
    Accepted,
    AcknowledgeAlarm,
    Refused,
    ResetAlarm,
    ReturnAlarmToService,
    ShelveAlarm,
    TakeAlarmOutOfService,
    UnshelveAlarm,
)
from services.notifier.__main__ import build
from services.notifier.log_courier import log_alarm
from services.runtime.service import Incoming
from tests.notifier.bench import NOON, Bench, plant

WARM, HOT, DOOR = "beer-too-warm", "air-too-hot", "door-open"


def warm_and_announced(**parts):
    return Bench(**parts).condition(WARM).after(31)


def test_a_condition_is_announced_only_after_its_on_delay():
    bench = Bench().condition(WARM).after(29)
    assert bench.phase(WARM) is None
    assert bench.after(1).phase(WARM) is AlarmPhase.UNACKNOWLEDGED


def test_a_condition_that_passes_within_its_on_delay_is_never_announced():
    bench = Bench().condition(WARM).after(20).condition(WARM, active=False).after(600)
    assert bench.of(Alarm) == []


def test_the_on_delay_counts_from_when_the_condition_began():
    bench = Bench().condition(WARM, since=NOON - timedelta(hours=1))
    assert bench.phase(WARM) is AlarmPhase.UNACKNOWLEDGED


def test_an_alarm_says_where_what_since_when_and_what_to_do():
    alarm = warm_and_announced().of(Alarm)[-1]
    assert (alarm.chamber, alarm.name, alarm.since, alarm.priority) == ("left", WARM, NOON, "high")
    assert alarm.detail == f"{WARM} in words"
    assert alarm.response


def test_the_alarm_topic_is_retained_and_the_journal_is_not():
    said = warm_and_announced().said
    assert {type(outgoing.body): outgoing.retain for outgoing in said} == {Alarm: True, JournalEntry: False}


def test_acknowledging_says_who_and_stops_nothing_else():
    bench = warm_and_announced()
    assert isinstance(bench.ask(AcknowledgeAlarm, WARM), Accepted)
    assert (bench.phase(WARM), bench.of(Alarm)[-1].by) == (AlarmPhase.ACKNOWLEDGED, "Ann")
    assert bench.journal[-1].who == "Ann"


def test_an_acknowledged_alarm_closes_when_its_condition_has_been_gone_for_the_off_delay():
    bench = warm_and_announced()
    bench.ask(AcknowledgeAlarm, WARM)
    bench.condition(WARM, active=False).after(14)
    assert bench.phase(WARM) is AlarmPhase.ACKNOWLEDGED
    assert bench.after(1).phase(WARM) is AlarmPhase.NORMAL


def test_an_unacknowledged_alarm_whose_condition_is_gone_waits_for_somebody():
    bench = warm_and_announced().condition(WARM, active=False).after(20)
    assert bench.phase(WARM) is AlarmPhase.RETURNED_UNACKNOWLEDGED
    bench.ask(AcknowledgeAlarm, WARM)
    assert bench.phase(WARM) is AlarmPhase.NORMAL


def test_a_condition_that_flickers_within_the_off_delay_is_one_alarm():
    bench = warm_and_announced()
    for _ in range(10):
        bench.condition(WARM, active=False).after(5).condition(WARM, since=NOON).after(5)
    assert bench.raised(WARM) == 1


def test_a_return_that_barely_crosses_the_limit_must_last_longer():
    bench = warm_and_announced().condition(WARM, active=False, value=20.45, limit=20.5).after(30)
    assert bench.phase(WARM) is AlarmPhase.UNACKNOWLEDGED
    assert bench.after(31).phase(WARM) is AlarmPhase.RETURNED_UNACKNOWLEDGED


def test_an_urgent_alarm_that_was_taken_and_not_mended_is_announced_again():
    bench = warm_and_announced()
    bench.ask(AcknowledgeAlarm, WARM)
    assert bench.after(239).raised(WARM) == 1
    assert bench.after(1).raised(WARM) == 2


def test_a_latching_alarm_stays_until_it_is_reset():
    bench = Bench().condition(HOT).condition(HOT, active=False).after(6)
    assert bench.phase(HOT) is AlarmPhase.LATCHED_UNACKNOWLEDGED
    bench.ask(AcknowledgeAlarm, HOT)
    assert isinstance(bench.ask(ResetAlarm, HOT), Accepted)
    assert bench.phase(HOT) is AlarmPhase.NORMAL


def test_a_latched_alarm_cannot_be_reset_before_somebody_acknowledges_it():
    bench = Bench().condition(HOT).condition(HOT, active=False).after(6)
    assert isinstance(bench.ask(ResetAlarm, HOT), Refused)


def test_a_shelved_alarm_comes_back_by_itself_and_is_announced_while_its_condition_holds():
    bench = warm_and_announced()
    bench.ask(ShelveAlarm, WARM, until=bench.now + timedelta(hours=2))
    assert bench.after(119).phase(WARM) is AlarmPhase.SHELVED
    assert bench.after(1).phase(WARM) is AlarmPhase.UNACKNOWLEDGED


def test_unshelving_after_the_condition_has_gone_closes_the_alarm():
    bench = warm_and_announced()
    bench.ask(ShelveAlarm, WARM, until=bench.now + timedelta(hours=2))
    bench.condition(WARM, active=False).after(20)
    bench.ask(UnshelveAlarm, WARM)
    assert bench.phase(WARM) is AlarmPhase.NORMAL


@pytest.mark.parametrize(
    "fields",
    [
        {"until": NOON - timedelta(hours=1)},
        {"until": NOON + timedelta(days=8)},
        {"until": NOON + timedelta(hours=2), "why": " "},
    ],
    ids=["in the past", "too long", "without a reason"],
)
def test_shelving_needs_a_time_limit_and_a_reason(fields):
    bench = warm_and_announced()
    assert isinstance(bench.ask(ShelveAlarm, WARM, **fields), Refused)
    assert bench.phase(WARM) is AlarmPhase.UNACKNOWLEDGED


def test_an_alarm_taken_out_of_service_stays_silent_until_it_is_returned():
    bench = Bench()
    assert isinstance(bench.ask(TakeAlarmOutOfService, WARM), Accepted)
    assert bench.condition(WARM).after(6000).raised(WARM) == 0
    bench.ask(ReturnAlarmToService, WARM)
    assert bench.raised(WARM) == 1


@pytest.mark.parametrize(("name", "chamber"), [(WARM, "nowhere"), ("ghost", "left")])
def test_a_request_for_what_is_no_alarm_is_refused_by_name(name, chamber):
    refused = Bench().ask(AcknowledgeAlarm, name, chamber=chamber)
    assert name in refused.reason
    assert chamber in refused.reason


def test_acknowledging_what_is_not_announced_is_refused():
    assert isinstance(Bench().ask(AcknowledgeAlarm, WARM), Refused)


def test_acknowledging_twice_is_accepted_and_happens_once():
    bench = warm_and_announced()
    bench.ask(AcknowledgeAlarm, WARM, id="one")
    assert isinstance(bench.ask(AcknowledgeAlarm, WARM, id="two"), Accepted)
    assert [entry.event for entry in bench.journal] == ["alarm-raised", "alarm-acknowledged"]


def test_a_repeated_request_gets_the_same_answer_even_after_a_restart():
    bench = warm_and_announced()
    first = bench.ask(AcknowledgeAlarm, WARM, id="once")
    lines = len(bench.journal)
    again = bench.restart().ask(AcknowledgeAlarm, WARM, id="once")
    assert again == first
    assert len(bench.journal) == lines


def test_only_the_last_few_hundred_answers_are_kept():
    bench = warm_and_announced()
    for number in range(400):
        bench.ask(AcknowledgeAlarm, WARM, id=f"n{number}")
    assert len(bench.notifier.snapshot().answers) == 300


def test_a_restart_neither_loses_nor_repeats_an_alarm():
    bench = warm_and_announced().restart().after(10)
    assert bench.raised(WARM) == 1
    assert bench.notifier.alarms[0].phase is AlarmPhase.UNACKNOWLEDGED


def test_a_delay_that_ran_out_while_the_notifier_was_down_counts_on_its_return():
    bench = Bench().condition(WARM)
    bench.now += timedelta(hours=3)
    assert bench.restart().phase(WARM) is AlarmPhase.UNACKNOWLEDGED


def test_journal_lines_have_ids_of_their_own_through_a_restart():
    bench = warm_and_announced().restart().condition(HOT)
    assert len({entry.id for entry in bench.journal}) == len(bench.journal) == 2


def test_a_duplicate_condition_changes_nothing():
    bench = warm_and_announced().condition(WARM, at=NOON, since=NOON).after(1)
    assert bench.raised(WARM) == 1


def test_a_condition_overtaken_by_its_own_end_does_not_come_back():
    bench = Bench().condition(HOT, active=False)
    bench.condition(HOT, at=NOON - timedelta(seconds=5)).after(1)
    assert bench.of(Alarm) == []


def test_a_clock_set_back_an_hour_does_not_silence_conditions():
    bench = Bench().condition(HOT, active=False)
    bench.now -= timedelta(hours=1)
    assert bench.condition(HOT).phase(HOT) is AlarmPhase.UNACKNOWLEDGED


def test_a_condition_of_no_known_kind_still_becomes_an_alarm():
    assert Bench().condition("ghost").after(2).phase("ghost") is AlarmPhase.UNACKNOWLEDGED


def test_rejoining_says_every_alarm_again_as_it_stands():
    bench = warm_and_announced()
    again = [outgoing for outgoing in bench.notifier.rejoin(bench.now) if isinstance(outgoing.body, Alarm)]
    assert [outgoing.body for outgoing in again] == bench.of(Alarm)
    assert all(outgoing.retain for outgoing in again)


def test_the_alarms_of_a_chamber_that_is_gone_are_closed():
    bench = warm_and_announced()
    bench.said += bench.notifier.plant_changed(plant("right"), bench.now)
    assert bench.phase(WARM) is AlarmPhase.NORMAL
    assert bench.notifier.alarms == ()


def test_what_is_no_business_of_the_notifier_is_let_pass():
    assert list(Bench().notifier.receive(Incoming("shed/raw", b"\xff\x00"), NOON)) == []


def test_an_alarm_reaches_the_log_at_the_level_of_its_priority(caplog):
    warm_and_announced(announce=log_alarm)
    assert [(record.levelno, record.name) for record in caplog.records] == [(logging.ERROR, "coldside.notifier")]
    assert "left: beer-too-warm" in caplog.text


def test_a_return_is_logged_without_alarm(caplog):
    caplog.set_level(logging.INFO)
    warm_and_announced(announce=log_alarm).condition(WARM, active=False).after(20)
    assert caplog.records[-1].levelno == logging.INFO


def test_the_composition_root_makes_a_notifier_that_survives_its_own_snapshot():
    notifier = build(plant())
    state = notifier.State.model_validate(json.loads(notifier.snapshot().model_dump_json()))
    assert build(plant(), state).snapshot() == notifier.snapshot()
