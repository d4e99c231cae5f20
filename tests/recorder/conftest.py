"""Every kind of store, each behind the one contract suite."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from services.recorder.sqlite_store import IN_MEMORY, SqliteStore
from services.recorder.store import Store


@pytest.fixture(params=["file", "memory"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    made = SqliteStore(IN_MEMORY if request.param == "memory" else tmp_path / "history.sqlite")
    yield made
    made.close()
