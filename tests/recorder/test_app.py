"""The `history` commands, end to end on a store in a folder."""

import json

import pytest
from typer.testing import CliRunner

from services.recorder.__main__ import HISTORY
from services.recorder.app import app
from services.recorder.spool import Spool, SpoolLimits
from services.recorder.sqlite_store import SqliteStore
from services.recorder.store import Match
from services.runtime.clock import SystemClock
from tests.recorder.conftest import as_plant_file_says
from tests.recorder.history import BEER, FOR_EVER, a_day_of, after, note

PLANT = """
site: {name: shed, timezone: Europe/Dublin}
chambers:
  left: {kind: fridge, probes: {beer: {measures: temperature, from: {simulated: true}}}}
"""


@pytest.fixture
def state(tmp_path):
    (tmp_path / "shed.yaml").write_text(PLANT)
    store = SqliteStore(tmp_path / HISTORY)
    store.write(a_day_of(hours=2), [note(1)])
    store.close()
    return tmp_path


def call(state, *words, plant=True, code=0):
    options = ["--state", str(state), *(["--plant", str(state / "shed.yaml")] if plant else [])]
    result = CliRunner().invoke(app, [*map(str, words), *options])
    assert result.exit_code == code, result.output
    return result


def test_a_backup_is_made_and_brought_back(state, tmp_path):
    call(state, "back-up", tmp_path / "copy", plant=False)
    (state / HISTORY).unlink()
    SqliteStore(state / HISTORY).close()
    assert "all there" in call(state, "bring-back", tmp_path / "copy").output
    assert len(SqliteStore(state / HISTORY).raw(BEER, *FOR_EVER)) == 720


def test_an_export_goes_to_standard_output_in_the_range_of_the_sites_time(state):
    lines = call(state, "export", "--from", "2026-03-02T00:00:00", "--to", "2026-03-02T00:01:00").stdout.splitlines()
    assert lines[0].startswith("time_utc,time Europe/Dublin")
    assert len(lines) == 7


@pytest.mark.parametrize("form", ["csv", "jsonl", "parquet"])
def test_an_export_goes_to_a_file(state, form):
    call(state, "export", "--format", form, "--out", state / "out", "--from", "2026-03-01T00:00:00")
    assert (state / "out").stat().st_size > 1000


def test_an_import_is_kept_apart(state):
    (state / "old.csv").write_text("when,what\n2020-01-01 12:00,66\n")
    call(
        state,
        "import",
        state / "old.csv",
        "--time",
        "when",
        "--value",
        "what",
        "--chamber",
        "left",
        "--name",
        "beer",
        "--unit",
        "degF",
    )
    (series,) = SqliteStore(state / HISTORY).series(Match(origin="imported"))
    assert series.unit == "degC"


def test_a_bad_file_is_refused_with_its_line_and_nothing_is_imported(state):
    (state / "old.csv").write_text("time_utc,value,unit\nsoon,66,degF\n")
    assert "line 2" in call(state, "import", state / "old.csv", code=1).output
    assert SqliteStore(state / HISTORY).series(Match(origin="imported")) == []


def test_history_moves_to_the_server_and_back(state, database):
    with_server(state, **as_plant_file_says(database, state))
    assert "all there" in call(state, "move", "to-server").output
    (state / HISTORY).unlink()
    call(state, "move", "to-file")
    assert len(SqliteStore(state / HISTORY).raw(BEER, *FOR_EVER)) == 720


def with_server(state, **said):
    (state / "shed.yaml").write_text(PLANT + f"history: {json.dumps({'influx': said})}\n")


def test_how_the_embedded_store_stands_is_told(state):
    told = json.loads(call(state, "state", "--json").output)
    assert told["store_answers"] == "yes, with 1 series"
    assert told["store_bytes"] > 10_000
    assert (told["waiting_rows"], told["damaged_files"], told["last_problem"]) == (0, 0, "none")
    assert "waiting rows: 0" in call(state, "state").output


def test_what_waits_in_the_spool_what_became_of_rows_and_why_is_told_and_not_changed(state):
    with_server(state, address="http://127.0.0.1:9", writes="v1")
    spool = Spool(state / "spool", SpoolLimits(most_bytes=40_000, segment_bytes=10_000))
    for hour in range(6):
        spool.write(a_day_of(begins=after(hours=hour), hours=1), [note(hour)])
    spool.keep_within_limits(after(hours=6))
    spool.set_aside(spool.oldest(1))
    before = {path.name: path.read_bytes() for path in (state / "spool").iterdir()}
    told = json.loads(call(state, "state", "--json").output)
    waiting = spool.backlog(SystemClock().now())
    assert (told["waiting_rows"], told["waiting_bytes"]) == (waiting.rows, waiting.size_bytes)
    assert told["oldest_age_s"] > 86_400
    assert told["thinned_segments"] == spool.counts["thinned-segments"] > 0
    assert told["refused_rows"] == spool.counts["refused-rows"] > 0
    assert told["last_problem"] == spool.problem
    assert "127.0.0.1:9 does not answer" in told["store_answers"]
    assert {path.name: path.read_bytes() for path in (state / "spool").iterdir()} == before


def test_a_server_that_nothing_waits_for_is_told_as_well(state, database):
    with_server(state, **as_plant_file_says(database, state))
    told = json.loads(call(state, "state", "--json").output)
    assert (told["waiting_rows"], told["dropped_rows"], told["store"]) == (0, 0, database.url)
    assert told["store_answers"] == "yes, with 0 series"


def test_moving_without_a_server_says_what_to_add(state):
    assert "history: {influx:" in call(state, "move", "to-server", code=2).output


def test_a_plant_file_with_a_mistake_ends_the_command_with_its_place(state):
    (state / "shed.yaml").write_text(PLANT.replace("kind: fridge", "kind: attic"))
    assert "shed.yaml:4: chambers.left" in call(state, "export", code=2).output


def test_a_state_folder_without_history_is_told(state):
    (state / HISTORY).unlink()
    assert HISTORY in call(state, "export", code=1).output
