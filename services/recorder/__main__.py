"""What the recorder is made of: the embedded store, or a spool and a thread that forwards it to a server."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from schemas.history import Keep
from schemas.plant import Plant
from services.recorder.core import Recorder, RecorderState
from services.recorder.housekeeping import Retention
from services.recorder.rows import Origin
from services.recorder.sqlite_store import SqliteStore, open_or_set_aside
from services.recorder.steady import Steadiness
from services.recorder.store import Sink, Store
from services.runtime.clock import Clock, SystemClock

HISTORY = "history.sqlite"
"""The embedded store's file, in the state folder."""
DAY_S = 86400


def build(
    plant: Plant,
    restored: RecorderState | None = None,
    *,
    state_folder: Path,
    origin: Origin = Origin.LIFE,
    clock: Clock | None = None,
) -> Recorder:
    """A recorder on the store that the plant file names; a damaged embedded one is set aside and a new one begun."""
    policy = retention(plant.history.keep)
    if plant.history.influx is not None:
        from services.recorder.elsewhere import forwarding  # heavy, and only needed here

        steadiness = Steadiness(restored.seen, restored.steady_from) if restored else Steadiness()
        sink = forwarding(plant.history.influx, state_folder, policy, clock or SystemClock(), steadiness)
        return Recorder(plant, restored, sink=sink, origin=origin)
    store, trouble = open_or_set_aside(state_folder / HISTORY, policy)
    return Recorder(plant, restored, sink=store, origin=origin, trouble=trouble)


@contextmanager
def filling(plant: Plant, state_folder: Path) -> Iterator[Sink]:
    """Where a past goes that is made while no recorder runs: to the store that the plant file names.

    What a server does not take now stays in the spool, from which the recorder sends it when it runs.
    """
    policy = retention(plant.history.keep)
    if plant.history.influx is not None:
        from services.recorder.elsewhere import forwarder  # heavy, and only needed here

        by_way_of_spool = forwarder(plant.history.influx, state_folder, policy)
        yield by_way_of_spool
        while by_way_of_spool.step():
            pass
    else:
        store, _ = open_or_set_aside(state_folder / HISTORY, policy)
        yield store
        store.close()


def reading_store(plant: Plant, state_folder: Path) -> Store:
    """The same store for reading, from another process; raises StoreError when there is none yet."""
    if plant.history.influx is not None:
        from services.recorder.elsewhere import influx_store  # heavy, and only needed here

        return influx_store(plant.history.influx)
    return SqliteStore(state_folder / HISTORY, read_only=True)


def retention(keep: Keep) -> Retention:
    """In days, as the stores count."""
    return Retention(
        raw_days=keep.samples_s / DAY_S, minute_days=keep.minutes_s / DAY_S, quarter_days=keep.quarters_s / DAY_S
    )
