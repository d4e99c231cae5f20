"""Watches the plant file."""

from collections.abc import Callable
from pathlib import Path

from schemas.plant import Plant
from schemas.plant_file import PlantFileError, load

_Stamp = tuple[int, int, int] | None


class PlantWatch:
    """Notices a change by the file's time, size and inode; the file as it is now counts as known."""

    def __init__(self, path: Path, read: Callable[[Path], Plant] = load) -> None:
        self._path = path
        self._read = read
        self._known = _stamp(path)

    def look(self) -> Plant | str | None:
        """The new plant, or what is wrong with the changed file, or None when it has not changed."""
        stamp = _stamp(self._path)
        if stamp == self._known:
            return None
        self._known = stamp
        try:
            return self._read(self._path)
        except (PlantFileError, OSError) as error:
            return str(error)


def _stamp(path: Path) -> _Stamp:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_size, status.st_ino
