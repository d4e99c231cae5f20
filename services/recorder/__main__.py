"""What the recorder is made of."""

from pathlib import Path

from schemas.plant import Plant
from services.recorder.core import Recorder, RecorderState
from services.recorder.rows import Origin
from services.recorder.sqlite_store import open_or_set_aside

HISTORY = "history.sqlite"
"""The embedded store's file, in the state folder."""


def build(
    plant: Plant, restored: RecorderState | None = None, *, state_folder: Path, origin: Origin = Origin.LIFE
) -> Recorder:
    """A recorder on the embedded store in the state folder; a damaged one is set aside and a new one begun."""
    store, trouble = open_or_set_aside(state_folder / HISTORY)
    return Recorder(plant, restored, sink=store, origin=origin, trouble=trouble)
