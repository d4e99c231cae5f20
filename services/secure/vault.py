"""The folder of secrets: every folder 0700, every file 0600, each replaced as a whole and only when it changes."""

import os
import shutil
from pathlib import Path

FOLDER_MODE, FILE_MODE = 0o700, 0o600


class Vault:
    """Files by their path below one folder. Every method raises OSError when the folder does not let it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def read(self, name: str) -> bytes:
        """What a file holds; nothing when there is none."""
        try:
            return (self.folder / name).read_bytes()
        except FileNotFoundError:
            return b""

    def write(self, name: str, content: bytes | str) -> bool:
        """Whether anything changed; the mode is put right in any case."""
        content = content.encode() if isinstance(content, str) else content
        path = self.folder / name
        for folder in (*reversed(path.relative_to(self.folder).parents[:-1]), Path()):
            _private_folder(self.folder / folder)
        if path.exists() and path.read_bytes() == content:
            path.chmod(FILE_MODE)
            return False
        part = path.with_name(f"{path.name}.part")
        part.unlink(missing_ok=True)
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, FILE_MODE)
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(descriptor)
        part.replace(path)
        return True

    def folders(self, name: str) -> tuple[str, ...]:
        """The folders in a folder."""
        place = self.folder / name
        return tuple(sorted(one.name for one in place.iterdir() if one.is_dir())) if place.is_dir() else ()

    def forget(self, name: str) -> None:
        """Deletes a folder with all that is in it, or nothing when there is none."""
        if (self.folder / name).exists():
            shutil.rmtree(self.folder / name)


def _private_folder(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True, mode=FOLDER_MODE)
    folder.chmod(FOLDER_MODE)
