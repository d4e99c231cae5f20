"""Annotations, loads, records on disk and the clock's trustworthiness at their edges."""

import json
from datetime import timedelta

import pytest

from schemas.alarms import Alarm, AlarmPhase, Condition, Priority
from schemas.base import SITE_WIDE, ServiceName
from schemas.journal import Health, JournalEntry, Wellness
from schemas.plant import Measure
from schemas.requests import WriteNote
from schemas.telemetry import Quality, TemperatureReading
from services.recorder.backlog import Waiting
from services.recorder.batches import Batch, to_bytes
from services.recorder.frames import damaged_bytes, framed, frames, torn_at
from services.recorder.housekeeping import Retention
from services.recorder.pages import HOUR_MS, LEVELS, MINUTE_MS, QUARTER_MS, RAW
from services.recorder.rows import milliseconds
from services.recorder.segments import (
    Happened,
    cursor_in,
    happened_in,
    keep_happened,
    readable,
    segments_in,
    waiting_in,
)
from services.recorder.steady import DOUBTED_FOR, JUMP, Steadiness
from services.recorder.translation import (
    UNIT_OF_MEASURE,
    entry_of,
    of_alarm,
    of_condition,
    of_health,
    of_journal,
    of_plant,
    of_quality,
)
from tests.recorder.history import DAY, after, note, sample
from tests.recorder.recorded import PLANT

AT_MS = milliseconds(DAY)


def written(**more):
    base = {"at": DAY, "source": "cli", "id": "r1", "client": "cli", "who": "Ann", "batch": "pale-7", "text": "Clear."}
    return entry_of(WriteNote(**{**base, **more}), "recorder")


def condition(**more):
    base = {"at": DAY, "source": "supervisor", "chamber": "left", "name": "beer-too-warm", "since": DAY, "detail": ""}
    return of_condition("shed", Condition(**{**base, "active": True, **more}))


def alarm(phase):
    return of_alarm(
        "shed",
        Alarm(
            at=DAY, source="notifier", chamber="left", name="beer-too-warm", phase=phase, since=DAY,
            priority=Priority.HIGH, detail="so", cause="", consequence="", response="", by="Ann",
        ),
    )  # fmt: skip


def reading(quality=Quality.BAD, reason="power-on value"):
    said = {"at": DAY, "source": "bridge", "chamber": "left", "probe": "beer", "temperature_c": 85.0}
    return TemperatureReading(**said, quality=quality, reason=reason)


def record(minute=0.0, body=None):
    return framed(to_bytes(Batch([sample(minute)], [note(minute)])) if body is None else body, AT_MS)


def test_note_with_scores_is_a_tasting_and_one_without_is_a_note():
    assert (written().event, written(scores={"aroma": 7.0}).event) == ("note-written", "beer-tasted")


def test_note_asked_for_twice_is_one_line():
    assert written().id == written().id == "recorder-r1"


def test_journal_line_without_a_chamber_or_batch_is_kept_without():
    entry = JournalEntry(at=DAY, source="cli", id="j1", event="plant-loaded", who="Ann", why="new")
    kept = of_journal("shed", entry)
    assert (kept.id, kept.chamber, kept.batch, kept.text) == ("journal/j1", "", "", "new")


def test_condition_that_begins_and_ends_at_one_moment_is_two_annotations():
    assert condition().id != condition(active=False).id


def test_condition_is_kept_with_its_value_and_its_limit():
    kept = condition(value=21.0, limit=20.0, unit="degC")
    assert kept.facts == {"active": True, "value": 21.0, "limit": 20.0, "unit": "degC"}


def test_each_phase_of_an_alarm_is_an_annotation_of_its_own():
    assert len({alarm(phase).id for phase in AlarmPhase}) == len(AlarmPhase)


def test_alarm_is_kept_with_who_saw_it_and_since_when():
    kept = alarm(AlarmPhase.UNACKNOWLEDGED)
    assert (kept.who, kept.facts["since"], kept.facts["priority"]) == ("Ann", AT_MS, Priority.HIGH.value)


def test_health_is_kept_for_the_whole_site():
    told = Health(at=DAY, source="bridge", service=ServiceName.BRIDGE, state=Wellness.RUNNING, last_error="no bus")
    assert (of_health("shed", told).chamber, of_health("shed", told).text) == (SITE_WIDE, "no bus")


def test_quality_is_kept_with_its_probe_and_its_reason():
    kept = of_quality("shed", reading())
    assert (kept.name, kept.text, kept.facts) == ("bad", "power-on value", {"probe": "beer"})


def test_plant_that_has_not_changed_has_the_same_mark():
    assert of_plant(PLANT, DAY).name == of_plant(PLANT, after(days=1)).name


def test_plant_with_a_chamber_less_has_another_mark():
    fewer = PLANT.model_copy(update={"chambers": {"left": PLANT.chambers["left"]}})
    assert of_plant(fewer, DAY).name != of_plant(PLANT, DAY).name


def test_every_measure_has_a_unit():
    assert set(UNIT_OF_MEASURE) == set(Measure)


def test_each_level_is_kept_longer_than_the_finer_ones():
    kept = [Retention().kept_days(level) or float("inf") for level in (RAW, MINUTE_MS, QUARTER_MS, HOUR_MS)]
    assert kept == sorted(set(kept))


def test_each_level_is_kept_as_long_as_its_own_setting_says():
    policy = Retention(raw_days=1, minute_days=2, quarter_days=3, hour_days=4)
    assert [policy.kept_days(level) for level in (RAW, *LEVELS)] == [1, 2, 3, 4]


def test_level_that_nobody_keeps_has_no_time():
    with pytest.raises(KeyError):
        Retention().kept_days(7)


def test_clock_that_nobody_looked_at_before_is_believed():
    assert Steadiness().believes(DAY)


@pytest.mark.parametrize("jump", [JUMP, -JUMP])
def test_clock_that_moves_by_an_hour_is_believed_and_by_more_is_not(jump):
    assert Steadiness(DAY).believes(DAY + jump)
    assert not Steadiness(DAY).believes(DAY + 1.01 * jump)


def test_clock_is_believed_again_a_day_after_it_jumped_and_not_before():
    clock = Steadiness(DAY + DOUBTED_FOR - timedelta(minutes=1), DAY + DOUBTED_FOR)
    assert not clock.believes(DAY + DOUBTED_FOR - timedelta(seconds=1))
    assert clock.believes(DAY + DOUBTED_FOR)


def test_file_without_records_is_neither_torn_nor_damaged():
    assert (list(frames(b"")), torn_at(b""), damaged_bytes(b"")) == ([], 0, 0)


def test_record_with_an_empty_body_is_found_again():
    (found,) = frames(record(body=b""))
    assert (found.body, found.at_ms) == (b"", AT_MS)


def test_records_before_a_place_are_not_read_again():
    one, two = record(1), record(2)
    assert [frame.begins for frame in frames(one + two, len(one))] == [len(one)]


def test_record_cut_at_any_byte_is_torn_where_it_begins():
    one, two = record(1), record(2, b"body")
    assert {torn_at(one + two[:cut]) for cut in range(1, len(two))} == {len(one)}


def test_every_changed_byte_of_a_record_is_found_out():
    whole = record(body=b"body")
    changed = [whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :] for at in range(len(whole))]
    assert not [found for one in changed for found in frames(one)]


def test_bytes_between_records_are_counted_as_damaged():
    assert damaged_bytes(record() + b"noise" + record()) == 5


def test_whole_record_that_is_no_batch_is_passed_over():
    assert [batch.rows for _, batch in readable(record(body=b"{}") + record())] == [2]


def test_segments_are_read_oldest_first_and_nothing_else_is(tmp_path):
    for name in ("2.whole", "1.thin", "3.refused", "cursor"):
        (tmp_path / name).touch()
    assert [path.name for path in segments_in(tmp_path)] == ["1.thin", "2.whole"]


@pytest.mark.parametrize("said", ["", "1.whole", "1.whole far"])
def test_cursor_that_cannot_be_read_sends_from_the_beginning(tmp_path, said):
    (tmp_path / "cursor").write_text(said)
    assert cursor_in(tmp_path) == ("", 0)


def test_what_became_of_rows_is_read_as_it_was_kept(tmp_path):
    happened = Happened(problem="no room")
    happened.counts["dropped-rows"] = 7
    keep_happened(tmp_path, happened)
    assert happened_in(tmp_path) == happened


@pytest.mark.parametrize("said", ["", "[]", "{}", json.dumps({"counts": {"a": "b"}, "problem": ""})])
def test_counts_that_cannot_be_read_are_none(tmp_path, said):
    (tmp_path / "counts.json").write_text(said)
    assert happened_in(tmp_path) == Happened()


def test_nothing_waits_where_no_spool_is(tmp_path):
    assert waiting_in(tmp_path / "none", DAY) == Waiting()


def test_what_was_sent_already_waits_no_more(tmp_path):
    one, two = record(1), record(2)
    (tmp_path / "1.whole").write_bytes(one + two)
    (tmp_path / "cursor").write_text(f"1.whole {len(one)}")
    assert waiting_in(tmp_path, after(days=1)) == Waiting(2, len(two), DAY)
