"""History as the console asks for it, from a real store: buckets, gaps, runs, and what is not there."""

import asyncio
from collections.abc import Coroutine
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
import pytest

from schemas.plant_file import load
from services.commands.recorded import Recorded
from services.commands.running import barn_file
from services.console.sources import Unavailable
from services.recorder.rows import Annotation, Origin, Sample, Series, milliseconds
from services.recorder.sqlite_store import SqliteStore
from services.runtime.clock import VirtualClock

T = TypeVar("T")
START = datetime(2026, 3, 2, tzinfo=UTC)
PLANT = load(barn_file())
MINUTE = timedelta(minutes=1)


def series(kind: str, name: str, unit: str = "degC", origin: str = Origin.LIFE.value) -> Series:
    return Series("barn", "bath", kind, name, unit, origin)


def sample(of: Series, minutes: float, value: float | None) -> Sample:
    return Sample(of, milliseconds(START + minutes * MINUTE), value)


def batch(name: str, minutes: float, phase: str) -> Annotation:
    at = milliseconds(START + minutes * MINUTE)
    return Annotation(f"batch/{name}/{at}", at, "barn", "batch", phase, "bath", name, facts={"phase": phase})


def recorded(folder: Path, samples: list[Sample], said: tuple[Annotation, ...] = (), now: float = 600) -> Recorded:
    store = SqliteStore(folder / "history.sqlite")
    store.write(samples, said)
    store.close()
    return Recorded(lambda: PLANT, folder, VirtualClock(START + now * MINUTE))


def of(work: Coroutine[Any, Any, T]) -> T:
    return asyncio.run(work)


def span(minutes: float) -> tuple[datetime, datetime]:
    return START, START + minutes * MINUTE


def test_a_readings_gap_stays_a_gap_and_its_extremes_are_kept(tmp_path: Path) -> None:
    beer = series("reading", "bath")
    history = recorded(tmp_path, [sample(beer, at, value) for at, value in ((0, 1), (3, 5), (6, 3), (25, 7))])
    found = of(history.series("bath", "bath", *span(30), 3))
    assert np.array_equal(found.min, [1, np.nan, 7], equal_nan=True)
    assert np.array_equal(found.max, [5, np.nan, 7], equal_nan=True)
    assert np.array_equal(found.mean, [3, np.nan, 7], equal_nan=True)
    assert found.unit == "degC"


def test_a_setpoint_holds_until_the_next_but_not_into_the_future(tmp_path: Path) -> None:
    wanted = series("setpoint", "setpoint")
    history = recorded(tmp_path, [sample(wanted, -5, 4.0), sample(wanted, 25, 6.0)], now=35)
    found = of(history.series("bath", "setpoint", *span(60), 6))
    assert np.array_equal(found.last, [4, 4, 6, 6, np.nan, np.nan], equal_nan=True)


def test_what_was_rehearsed_as_a_past_is_shown_where_nothing_was_lived(tmp_path: Path) -> None:
    before, after = series("reading", "bath", origin=Origin.SIMULATED.value), series("reading", "bath")
    history = recorded(tmp_path, [sample(before, 5, 1.0), sample(before, 15, 2.0), sample(after, 15, 9.0)])
    found = of(history.series("bath", "bath", *span(20), 2))
    assert found.last.tolist() == [1.0, 9.0]


def test_of_an_output_what_it_did_counts_not_what_it_was_asked(tmp_path: Path) -> None:
    asked, did = series("command", "chill", "level"), series("report", "chill", "level")
    history = recorded(tmp_path, [sample(asked, 0, 1.0), sample(did, 0, 0.0)])
    assert of(history.series("bath", "chill", *span(10), 1)).last.tolist() == [0.0]


def test_what_there_is_nothing_of_is_one_long_gap(tmp_path: Path) -> None:
    found = of(recorded(tmp_path, []).series("bath", "none-such", *span(10), 5))
    assert len(found.edges_ms) == 6
    assert np.isnan(found.mean).all()


def test_runs_begin_and_end_with_reports_and_the_last_goes_on_to_now(tmp_path: Path) -> None:
    did = series("report", "chill", "level")
    steps = ((-3, 1.0), (5, 0.0), (20, 1.0), (22, 1.0))
    history = recorded(tmp_path, [sample(did, at, level) for at, level in steps], now=40)
    runs = of(history.runs("bath", "chill", *span(60)))
    minutes = [((on - milliseconds(START)) / 60_000, (off - milliseconds(START)) / 60_000) for on, off in runs]
    assert minutes == [(0, 5), (20, 40)]


def test_a_stretch_that_is_yet_to_come_has_no_runs(tmp_path: Path) -> None:
    history = recorded(tmp_path, [sample(series("report", "chill", "level"), 0, 1.0)], now=0)
    assert of(history.runs("bath", "chill", START + MINUTE, START + 2 * MINUTE)) == []


def test_of_each_batch_the_last_word_counts_newest_first(tmp_path: Path) -> None:
    said = (batch("a", 0, "running"), batch("b", 5, "running"), batch("a", 9, "complete"))
    history = recorded(tmp_path, [], said)
    assert [(one.batch, one.facts["phase"]) for one in of(history.earlier_batches())] == [
        ("a", "complete"), ("b", "running"),
    ]  # fmt: skip
    assert of(history.knows_batch("b"))
    assert not of(history.knows_batch("c"))


def test_annotations_are_of_one_chamber_or_kind_if_so_wished(tmp_path: Path) -> None:
    history = recorded(tmp_path, [], (batch("a", 0, "running"),))
    assert len(of(history.annotations(*span(10)))) == 1
    assert len(of(history.annotations(*span(10), chamber="bath", kind="batch"))) == 1
    assert of(history.annotations(*span(10), chamber="conical")) == []


def test_before_anything_was_recorded_it_says_so_and_finds_the_store_when_it_comes(tmp_path: Path) -> None:
    history = Recorded(lambda: PLANT, tmp_path, VirtualClock(START))
    with pytest.raises(Unavailable, match="live goes on"):
        of(history.names())
    recorded(tmp_path, [sample(series("reading", "bath"), 0, 1.0)])
    assert [one.name for one in of(history.names())] == ["bath"]


def test_a_damaged_store_is_told_in_words(tmp_path: Path) -> None:
    (tmp_path / "history.sqlite").write_bytes(b"no database at all, but some bytes of another thing" * 100)
    history = Recorded(lambda: PLANT, tmp_path, VirtualClock(START))
    with pytest.raises(Unavailable, match="cannot be read now"):
        of(history.names())
