"""How history stands: where it is kept, what waits before the store, and what became of rows that it never got."""

from datetime import datetime
from pathlib import Path

from schemas.history import Influx
from schemas.plant import Plant
from services.recorder.__main__ import HISTORY, reading_store
from services.recorder.backlog import Waiting
from services.recorder.store import StoreError

NONE = "none"


def standing(plant: Plant, state_folder: Path, now: datetime) -> dict[str, str | int | float]:
    """Names and values for people and programs alike; ages in seconds. Raises StoreError when there is no store yet."""
    if plant.history.influx is not None:
        return _by_way_of_spool(plant, plant.history.influx, state_folder, now)
    file = state_folder / HISTORY
    return {
        "store": str(file),
        "store_answers": f"yes, with {len(reading_store(plant, state_folder).series())} series",
        "store_bytes": sum(one.stat().st_size for one in (file, *file.parent.glob(f"{file.name}-wal"))),
        "damaged_files": len(list(file.parent.glob(f"{file.name}.damaged-*"))),
        **_of(Waiting(), now),
    }


def _by_way_of_spool(plant: Plant, influx: Influx, state_folder: Path, now: datetime) -> dict[str, str | int | float]:
    from services.recorder.elsewhere import waiting_for_server  # heavy, and only needed here
    from services.recorder.segments import COUNTED

    waiting, happened = waiting_for_server(state_folder, now)
    counts = {name.replace("-", "_"): happened.counts[name] for name in COUNTED}
    try:
        answers = f"yes, with {len(reading_store(plant, state_folder).series())} series"
    except StoreError as error:
        answers = f"no: {error}"
    return {"store": influx.address, "store_answers": answers, **_of(waiting, now), **counts}


def _of(waiting: Waiting, now: datetime) -> dict[str, str | int | float]:
    age_s = (now - waiting.oldest).total_seconds() if waiting.oldest else 0.0
    return {
        "waiting_rows": waiting.rows,
        "waiting_bytes": waiting.size_bytes,
        "oldest_age_s": age_s,
        "last_problem": waiting.problem or NONE,
    }
