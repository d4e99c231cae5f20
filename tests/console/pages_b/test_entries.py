"""Lines of the journal: each once, sifted, and as files; and what people type beside them."""

import csv
import io
import json
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from schemas.journal import JournalEntry
from services.console.desk.entries import (
    Entry,
    Sieve,
    as_csv,
    as_json_lines,
    entries,
    gravities,
    local_moment,
    notes,
    number_in,
    scores,
)
from services.console.sources import Annotation

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)


def heard(event: str = "batch-held", minutes: int = 0, **more: object) -> JournalEntry:
    said = {"id": f"{event}-{minutes}", "who": "Ada", "why": "a pause", **more}
    return JournalEntry(at=NOON + timedelta(minutes=minutes), source="scheduler", event=event, **said)


def recorded(entry: JournalEntry) -> Annotation:
    at_ms = round(entry.at.timestamp() * 1000)
    return Annotation(
        f"journal/{entry.id}", at_ms, "journal", entry.event, who=entry.who, text=entry.why, facts=entry.facts
    )


def line(**more: object) -> Entry:
    return Entry(**{"id": "1", "at": NOON, "who": "Ada", "event": "batch-held", "why": "a pause", **more})


def test_a_line_heard_and_recorded_is_one_line() -> None:
    assert len(entries([recorded(heard())], [heard()])) == 1


def test_the_newest_line_comes_first_and_of_one_moment_the_last_written() -> None:
    lines = [heard("step-ended"), heard("step-begun"), heard("batch-held", 5)]
    assert [one.event for one in entries([], lines)] == ["batch-held", "step-begun", "step-ended"]


@pytest.mark.parametrize(
    ("sieve", "passes"),
    [
        (Sieve(), True),
        (Sieve(who="Ada"), True),
        (Sieve(who="ada"), False),
        (Sieve(event="batch-held"), True),
        (Sieve(chamber="conical"), False),
        (Sieve(batch="41-pale", text="PAUSE"), True),
        (Sieve(text="door open"), True),
        (Sieve(text="crash"), False),
    ],
)
def test_a_sieve_lets_through_what_is_wanted(sieve: Sieve, passes: bool) -> None:
    assert sieve.passes(line(batch="41-pale", facts={"alarm": "door-open"})) is passes


def test_a_struck_gravity_no_longer_counts() -> None:
    logged = [line(id=name, event="gravity-logged", facts={"entry": name}) for name in ("a", "b")]
    struck = line(id="c", event="gravity-struck", facts={"entry": "a"})
    assert [(one.id, counts) for one, counts in gravities([*logged, struck])] == [("a", False), ("b", True)]


def test_notes_are_what_was_said_of_a_beer() -> None:
    found = [line(event="note-written"), line(event="beer-tasted", facts={"aroma": 7.0}), line()]
    assert [scores(one) for one in notes(found)] == ["", "aroma 7"]


def test_a_file_of_commas_can_be_read_back() -> None:
    rows = list(csv.DictReader(io.StringIO(as_csv([line(why='so, "it" goes\non'), line(facts={"x": 1.5})]))))
    assert [row["why"] for row in rows] == ['so, "it" goes\non', "a pause"]
    assert json.loads(rows[1]["facts"]) == {"x": 1.5}
    assert rows[0]["at"] == "2026-03-02T12:00:00.000+00:00"


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\tx"])
def test_a_spreadsheet_finds_no_formula_in_it(text: str) -> None:
    assert f"'{text}" in as_csv([line(why=text)])


def test_json_lines_are_one_object_each() -> None:
    lines = as_json_lines([line(), line(why="zwei")]).splitlines()
    assert [json.loads(one)["why"] for one in lines] == ["a pause", "zwei"]


def test_a_number_may_have_a_comma() -> None:
    assert number_in(" 1,048 ", 0.98, 1.17) == 1.048


@pytest.mark.parametrize(
    ("written", "says"), [("", "no number"), ("high", "no number"), ("nan", "outside"), ("2", "outside")]
)
def test_a_number_that_cannot_be_is_refused_with_the_reason(written: str, says: str) -> None:
    with pytest.raises(ValueError, match=says):
        number_in(written, 0.98, 1.17)


def test_a_moment_is_meant_on_the_sites_clocks() -> None:
    zone = ZoneInfo("Europe/Dublin")
    assert local_moment("2026-07-01 18:00", zone) == datetime(2026, 7, 1, 17, tzinfo=UTC)
    assert local_moment("", zone) is None
    with pytest.raises(ValueError, match="no date"):
        local_moment("tomorrow", zone)
