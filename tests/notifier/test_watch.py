"""Lost services, the lost broker, and the one cause that explains many consequences."""

from datetime import timedelta

import pytest

from schemas.alarms import AlarmPhase, Condition
from schemas.base import SITE_WIDE, ServiceName
from schemas.journal import Wellness
from tests.notifier.bench import Bench

BRIDGE, SUPERVISOR, CONSOLE = ServiceName.BRIDGE, ServiceName.SUPERVISOR, ServiceName.CONSOLE
LOST, BROKER = "service-lost-bridge", "broker-lost"
TEN_SECONDS = 1 / 6


def holds(bench, name):
    said = [one.active for one in bench.of(Condition) if one.name == name]
    return bool(said) and said[-1]


def beating(*alive, seconds, bench=None):
    bench = bench or Bench()
    for _ in range(seconds // 10):
        bench.health(*alive).after(TEN_SECONDS)
    return bench


def test_a_service_whose_last_will_says_lost_is_lost_at_once():
    bench = beating(BRIDGE, SUPERVISOR, seconds=30).health(BRIDGE, state=Wellness.LOST)
    assert holds(bench, LOST)


def test_a_service_silent_for_more_than_three_periods_is_lost():
    bench = beating(BRIDGE, SUPERVISOR, seconds=60)
    beating(SUPERVISOR, seconds=20, bench=bench)
    assert not holds(bench, LOST)
    assert holds(beating(SUPERVISOR, seconds=20, bench=bench), LOST)


def test_a_service_that_is_expected_and_never_speaks_is_lost():
    assert holds(beating(SUPERVISOR, seconds=60, bench=Bench(expected=[BRIDGE])), LOST)


def test_a_lost_service_that_is_started_again_within_seconds_is_no_alarm():
    bench = beating(BRIDGE, SUPERVISOR, seconds=30).health(BRIDGE, state=Wellness.LOST)
    beating(BRIDGE, SUPERVISOR, seconds=300, bench=bench)
    assert bench.raised(LOST, SITE_WIDE) == 0
    assert not holds(bench, LOST)


def test_a_lost_service_that_stays_away_is_an_alarm_of_the_site():
    bench = beating(BRIDGE, SUPERVISOR, seconds=30).health(BRIDGE, state=Wellness.LOST)
    assert beating(SUPERVISOR, seconds=40, bench=bench).phase(LOST, SITE_WIDE) is AlarmPhase.UNACKNOWLEDGED


@pytest.mark.parametrize(("service", "missed"), [(BRIDGE, True), (CONSOLE, False)])
def test_a_goodbye_is_believed_for_five_minutes_and_for_good_where_a_site_can_do_without(service, missed):
    bench = beating(service, SUPERVISOR, seconds=30).health(service, state=Wellness.STOPPING)
    beating(SUPERVISOR, seconds=280, bench=bench)
    assert not holds(bench, f"service-lost-{service}")
    assert holds(beating(SUPERVISOR, seconds=60, bench=bench), f"service-lost-{service}") is missed


def test_all_silent_at_once_is_the_broker_and_not_the_services():
    bench = beating(BRIDGE, SUPERVISOR, seconds=60)
    for _ in range(20):
        bench.after(TEN_SECONDS)
    assert holds(bench, BROKER)
    assert bench.raised(BROKER, SITE_WIDE) == 1
    assert not any(holds(bench, f"service-lost-{service}") for service in (BRIDGE, SUPERVISOR))


def test_a_broker_that_is_back_blames_no_service_that_speaks_again():
    bench = beating(BRIDGE, SUPERVISOR, seconds=60)
    for _ in range(20):
        bench.after(TEN_SECONDS)
    beating(BRIDGE, SUPERVISOR, seconds=60, bench=bench)
    assert not holds(bench, BROKER)
    assert not holds(bench, LOST)


def test_the_watch_does_not_blame_others_for_its_own_sleep():
    bench = beating(BRIDGE, SUPERVISOR, seconds=60).after(600)
    assert not holds(bench, BROKER)


def test_a_clock_set_forward_makes_nobody_lost():
    bench = beating(BRIDGE, SUPERVISOR, seconds=60)
    bench.now += timedelta(hours=1)
    assert not holds(beating(BRIDGE, SUPERVISOR, seconds=60, bench=bench), LOST)


def test_the_watch_remembers_whom_it_watches_through_a_restart():
    bench = beating(BRIDGE, SUPERVISOR, seconds=60).restart()
    assert holds(beating(SUPERVISOR, seconds=60, bench=bench), LOST)


def test_its_own_conditions_are_said_again_on_rejoining():
    bench = beating(BRIDGE, SUPERVISOR, seconds=30).health(BRIDGE, state=Wellness.LOST)
    again = [one.body for one in bench.notifier.rejoin(bench.now) if isinstance(one.body, Condition)]
    assert [(one.name, one.active) for one in again] == [(LOST, True)]


def twelve_silent_probes(bench):
    for number in range(12):
        bench.condition(f"probe-silent-p{number}", chamber="left" if number < 6 else "right")
    return bench


def announced(bench):
    return [alarm for alarm in bench.notifier.alarms if alarm.phase is AlarmPhase.UNACKNOWLEDGED]


@pytest.mark.parametrize("cause", [BROKER, LOST])
def test_one_cause_is_announced_and_not_its_twelve_consequences(cause):
    bench = twelve_silent_probes(Bench().condition(cause, chamber=SITE_WIDE)).after(5)
    assert [alarm.name for alarm in announced(bench)] == [cause]


def test_consequences_announced_before_their_cause_was_known_are_withdrawn():
    bench = twelve_silent_probes(Bench()).after(2)
    assert len(announced(bench)) == 12
    bench.condition(BROKER, chamber=SITE_WIDE)
    assert [alarm.name for alarm in announced(bench)] == [BROKER]


def test_a_consequence_that_outlives_its_cause_is_announced_after_a_while():
    bench = twelve_silent_probes(Bench().condition(BROKER, chamber=SITE_WIDE)).after(5)
    bench.condition(BROKER, active=False, chamber=SITE_WIDE).after(1)
    assert bench.raised("probe-silent-p0") == 0
    assert bench.after(2).raised("probe-silent-p0") == 1


def test_a_consequence_that_ends_with_its_cause_is_never_announced():
    bench = Bench().condition(BROKER, chamber=SITE_WIDE).condition("probe-silent-beer").after(5)
    bench.condition(BROKER, active=False, chamber=SITE_WIDE).condition("probe-silent-beer", active=False).after(30)
    assert bench.raised("probe-silent-beer") == 0
    assert bench.phase("probe-silent-beer") is AlarmPhase.NORMAL


def test_a_cause_in_one_chamber_explains_nothing_in_another():
    bench = Bench().condition("door-open", chamber="right").condition("not-heating").after(6)
    assert bench.phase("not-heating") is AlarmPhase.UNACKNOWLEDGED


def test_warm_beer_behind_an_open_door_is_still_announced():
    bench = Bench().condition("door-open").condition("beer-too-warm").after(31)
    assert bench.phase("beer-too-warm") is AlarmPhase.UNACKNOWLEDGED


def test_a_clock_that_was_set_is_told_for_ten_minutes():
    bench = Bench()
    bench.said += bench.notifier.clock_stepped(timedelta(hours=-2), bench.now)
    assert bench.after(2).raised("clock-wrong", SITE_WIDE) == 1
    bench.after(9).after(2)
    assert not holds(bench, "clock-wrong")


def test_a_clock_that_was_nudged_is_not_told():
    bench = Bench()
    assert list(bench.notifier.clock_stepped(timedelta(seconds=2), bench.now)) == []


def test_a_refused_plant_file_is_told_with_its_place_until_it_is_mended():
    bench = Bench()
    bench.said += bench.notifier.plant_refused("barn.yaml, line 14: names 'bathh'", bench.now)
    assert "line 14" in bench.of(Condition)[-1].detail
    assert bench.phase("plant-file-refused", SITE_WIDE) is AlarmPhase.UNACKNOWLEDGED
    bench.said += bench.notifier.plant_changed(bench.notifier.plant, bench.now)
    assert not holds(bench, "plant-file-refused")


def test_another_mistake_in_the_plant_file_is_told_in_its_turn():
    bench = Bench()
    for text in ("line 14", "line 20"):
        bench.said += bench.notifier.plant_refused(text, bench.now)
    assert [one.detail for one in bench.of(Condition)] == ["line 14", "line 20"]


def test_a_door_opened_for_a_moment_neither_takes_an_alarm_back_nor_announces_it_again():
    bench = Bench().condition("not-heating").after(6)
    for _ in range(5):
        bench.condition("door-open").after(1).condition("door-open", active=False).after(10)
    assert bench.raised("not-heating") == 1
    assert bench.phase("not-heating") is AlarmPhase.UNACKNOWLEDGED


def test_a_door_left_open_takes_back_what_it_explains():
    bench = Bench().condition("not-heating").after(6).condition("door-open").after(6)
    assert bench.phase("not-heating") is AlarmPhase.SUPPRESSED
