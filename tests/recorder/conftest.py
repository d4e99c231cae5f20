"""Every kind of store, each behind the one contract suite."""

from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

import pytest

from services.recorder.housekeeping import Retention
from services.recorder.rows import Annotation, Sample
from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.store import Store

LATER = datetime(2101, 1, 1, tzinfo=UTC)
ALL_FOR_EVER = Retention(raw_days=None, minute_days=None, quarter_days=None)


class PackedStore(SqliteStore):
    """Packs whatever was written at once, as if the day were long over."""

    def write(self, samples: Sequence[Sample], annotations: Sequence[Annotation] = ()) -> None:
        super().write(samples, annotations)
        while self.maintain(LATER, ALL_FOR_EVER):
            pass


MAKERS: dict[str, Callable[[Path], Store]] = {
    "file": lambda folder: SqliteStore(folder / "history.sqlite"),
    "memory": lambda _: SqliteStore(IN_MEMORY),
    "packed": lambda folder: PackedStore(folder / "history.sqlite"),
}


@pytest.fixture(params=MAKERS)
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    made = MAKERS[request.param](tmp_path)
    yield made
    made.close()
