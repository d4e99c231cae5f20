"""History out to files and old records in: units, zones, round trips, refusals."""

import csv
import io
import json
from zoneinfo import ZoneInfo

import pytest

from services.recorder.exports import Range, to_csv, to_json_lines, to_parquet
from services.recorder.imports import ImportRefused, Layout, samples_in
from services.recorder.rows import Sample, milliseconds
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.store import Match
from tests.recorder.history import BEER, COOL, DAY, FOR_EVER, a_day_of, after, sample

DUBLIN = ZoneInfo("Europe/Dublin")
EVERYTHING = Range(*FOR_EVER, DUBLIN)


@pytest.fixture
def store():
    made = SqliteStore(IN_MEMORY)
    made.write([sample(0, 18.0625), sample(1, None, grade=2), sample(2, 19.0, grade=1), sample(0, 1.0, series=COOL)])
    return made


def as_csv(store, wanted=EVERYTHING):
    out = io.StringIO()
    count = to_csv(store, wanted, out)
    found = list(csv.DictReader(io.StringIO(out.getvalue())))
    assert len(found) == count
    return found


def test_csv_states_unit_and_zone_in_every_row(store):
    first = as_csv(store)[0]
    assert first == {
        "time_utc": "2026-03-02T00:00:00.000Z",
        "time Europe/Dublin": "2026-03-02T00:00:00.000+00:00",
        "site": "shed",
        "chamber": "left",
        "kind": "reading",
        "name": "beer",
        "value": "18.0625",
        "unit": "degC",
        "quality": "good",
        "origin": "life",
    }


def test_local_times_carry_the_offset_of_their_day(store):
    july = Sample(BEER, milliseconds(DAY.replace(month=7)), 18.0, 0)
    store.write([july])
    assert as_csv(store)[3]["time Europe/Dublin"] == "2026-07-02T01:00:00.000+01:00"


def test_missing_values_are_empty_and_qualities_words(store):
    assert [(row["value"], row["quality"]) for row in as_csv(store)][1:3] == [("", "bad"), ("19.0", "uncertain")]


def test_only_what_was_asked_for_is_exported(store):
    assert len(as_csv(store, Range(*FOR_EVER, DUBLIN, Match(kind="report")))) == 1
    assert len(as_csv(store, Range(after(minutes=1), after(minutes=2), DUBLIN))) == 1


def test_json_lines_say_the_same(store):
    out = io.StringIO()
    assert to_json_lines(store, EVERYTHING, out) == 4
    lines = [json.loads(line) for line in out.getvalue().splitlines()]
    assert [line["value"] for line in lines] == [18.0625, None, 19.0, 1.0]
    assert lines[0]["unit"] == "degC"


def test_parquet_is_read_back_by_another_library(store, tmp_path):
    pandas = pytest.importorskip("pandas")
    pytest.importorskip("pyarrow")
    store.write(a_day_of(begins=after(hours=1)))
    assert to_parquet(store, EVERYTHING, tmp_path / "all.parquet") == 8644
    frame = pandas.read_parquet(tmp_path / "all.parquet")
    assert str(frame["time_utc"].dtype) == "datetime64[ms, UTC]"
    assert frame["value"].isna().sum() == 1
    assert set(frame["unit"]) == {"degC", "level"}


def imported(text, **layout):
    return samples_in(io.StringIO(text), Layout(site="shed", **layout))


def test_an_export_of_ours_comes_back_as_imported(store):
    out = io.StringIO()
    to_csv(store, Range(*FOR_EVER, DUBLIN, Match(kind="reading")), out)
    back = imported(out.getvalue())
    assert [(one.at_ms, one.value) for one in back] == [
        (one.at_ms, one.value) for one in map(sample, range(3), [18.0625, None, 19.0])
    ]
    assert {one.series.origin for one in back} == {"imported"}


@pytest.mark.parametrize(
    ("written", "unit", "value", "ours"),
    [
        ("68", "degF", 20.0, "degC"),
        ("14.5038", "psi", 1.0, "bar"),
        ("2200", "gram", 2.2, "kg"),
        ("1.050", "SG", 1.05, "SG"),
    ],
)
def test_other_units_are_converted(written, unit, value, ours):
    (one,) = imported(
        f"when,what\n2026-03-02T00:00:00Z,{written}\n", time="when", value="what", chamber="left", name="a", unit=unit
    )
    assert (one.value, one.series.unit) == (pytest.approx(value, abs=1e-5), ours)


def test_times_without_offset_are_in_the_zone_that_is_given():
    (one,) = imported("time_utc,value\n2026-07-02 01:00,18\n", chamber="left", name="a", unit="degC", zone=DUBLIN)
    assert one.at_ms == milliseconds(DAY.replace(month=7))


def test_importing_twice_changes_nothing():
    store = SqliteStore(IN_MEMORY)
    for _ in range(2):
        store.write(imported("time_utc,value\n2026-07-02T01:00Z,18\n", chamber="left", name="a", unit="degC"))
    assert len(store.raw(store.series()[0], *FOR_EVER)) == 1


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("when,value\n", r"line 1: no column \['time_utc'\]"),
        ("", "columns are: none"),
        ("time_utc,value,unit\nyesterday,1,degC\n", "line 2, column 'time_utc': 'yesterday' is no time"),
        ("time_utc,value,unit\n2026-01-01T00:00Z,1,degC\n2026-01-01T00:01Z,warm,degC\n", "line 3.*'warm' is no number"),
        ("time_utc,value,unit\n2026-01-01T00:00Z,nan,degC\n", "line 2.*not finite"),
        ("time_utc,value,unit\n2026-01-01T00:00Z,1,furlong\n", "line 2, unit 'furlong'"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_line_and_a_remedy(text, complaint):
    with pytest.raises(ImportRefused, match=complaint):
        imported(text)
