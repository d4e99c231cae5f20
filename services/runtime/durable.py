"""Files that are replaced as a whole or not at all.

Imports nothing beyond the standard library, so that the processes that keep others stay small.
"""

import os
from pathlib import Path

PRIVATE, READABLE = 0o600, 0o644
"""Modes: for whoever wrote it, and for everybody on this machine."""


def write_durably(path: Path, content: bytes, mode: int = PRIVATE) -> None:
    """Puts content in a file's place: the old or the new is there afterwards, never a part.

    Raises OSError when the disk refuses; the old content is then untouched.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f".{path.name}.new")
    descriptor = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Sees that names in it outlive a power cut. Raises OSError."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
