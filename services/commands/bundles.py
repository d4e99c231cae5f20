"""Files that people take away from the console: the history, and a bundle for whoever is asked for help."""

import asyncio
import importlib.metadata
import io
import json
import os
import platform
import re
import tempfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path
from typing import Any

from schemas.plant import Plant
from services.console.live import Live
from services.console.redacted import HIDDEN, redacted
from services.console.sources import Unavailable
from services.recorder.__main__ import HISTORY
from services.recorder.backup import back_up
from services.recorder.store import StoreError
from services.runtime.clock import Clock

COPY = ".backup-"
"""Beside the history itself: where that has room, a copy has; what is for passing things may be memory."""
COPY_KEPT = timedelta(hours=6)
LOG_BYTES = 200_000
"""Of each log the end."""
SHORTEST_SECRET = 4
_IN_ADDRESSES = re.compile(r"(?<=://)[^/\s@\"']+@|([?&](?:token|key|secret|password)[\w-]*=)[^&\s\"']+", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class FilesToTake:
    """Made when asked for, in a thread."""

    live: Live
    state_folder: Path
    clock: Clock

    async def backup(self) -> Path:
        """A checked copy, made while the recorder writes. Raises Unavailable."""
        if self.live.plant.history.influx is not None:
            raise Unavailable("The history is kept on a server of its own; back it up there.")
        self._sweep()
        descriptor, name = tempfile.mkstemp(suffix=".sqlite", prefix=COPY, dir=self.state_folder)
        os.close(descriptor)
        target = Path(name)
        try:
            await asyncio.to_thread(back_up, self.state_folder / HISTORY, target)
        except (StoreError, OSError) as error:
            target.unlink(missing_ok=True)
            raise Unavailable(f"The history cannot be copied now: {error}") from error
        return target

    def _sweep(self) -> None:
        """Copies that a console left behind when it died."""
        oldest_s = (self.clock.now() - COPY_KEPT).timestamp()
        for left in self.state_folder.glob(f"{COPY}*"):
            if left.stat().st_mtime < oldest_s:
                left.unlink(missing_ok=True)

    async def support(self) -> bytes:
        """What helps to understand a trouble, and no secret."""
        facts = {
            "about.json": self._about(),
            "plant.json": redacted(self.live.plant),
            "health.json": [one.model_dump(mode="json") for one in self.live.healths.values()],
            "alarms.json": [one.model_dump(mode="json") for one in self.live.alarms.values()],
        }
        return await asyncio.to_thread(_zipped, facts, self.state_folder, secrets_of(self.live.plant))

    def _about(self) -> dict[str, Any]:
        return {
            "made": self.clock.now().isoformat(),
            "python": platform.python_version(),
            "system": platform.platform(),
            "plant_trouble": self.live.plant_trouble,
            "versions": {one.name: one.version for one in importlib.metadata.distributions()},
        }


def secrets_of(plant: Plant) -> tuple[str, ...]:
    """Every secret that the plant file leads to, the longest first, so that none is left because a part of it was."""
    found = {secret.strip() for secret in _secrets(plant.model_dump(mode="json"))}
    return tuple(sorted((one for one in found if len(one) >= SHORTEST_SECRET), key=len, reverse=True))


def without(text: str, secrets: tuple[str, ...]) -> str:
    """The text with every secret, and whatever stands before the host or as a key in an address, hidden."""
    for secret in secrets:
        text = text.replace(secret, HIDDEN)
    return _IN_ADDRESSES.sub(lambda found: f"{found.group(1) or ''}{HIDDEN}{'' if found.group(1) else '@'}", text)


def _secrets(value: Any) -> Iterator[str]:
    if isinstance(value, list):
        for one in value:
            yield from _secrets(one)
    if not isinstance(value, dict):
        return
    for name, one in value.items():
        if isinstance(one, str) and (name == "file" or name.endswith("_file")):
            yield _content(Path(one))
        elif isinstance(one, str) and (name == "env" or name.endswith("_env")):
            yield os.environ.get(one, "")
        elif isinstance(one, str) and name in ("webhook", "url") and "://" in one:
            yield one
        else:
            yield from _secrets(one)


def _content(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        return ""


def _zipped(facts: dict[str, Any], folder: Path, secrets: tuple[str, ...]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bundle:
        for name, value in facts.items():
            bundle.writestr(name, without(json.dumps(value, indent=1, ensure_ascii=False), secrets))
        bundle.writestr("state-folder.txt", "\n".join(_listing(folder)))
        for log in sorted((folder / "log").glob("*.jsonl")):
            bundle.writestr(f"log/{log.name}", without(_end_of(log), secrets))
    return out.getvalue()


def _listing(folder: Path) -> Iterator[str]:
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            yield f"{path.stat().st_size:>12} {path.relative_to(folder)}"


def _end_of(path: Path) -> str:
    with path.open("rb") as file:
        file.seek(max(0, path.stat().st_size - LOG_BYTES))
        return file.read().decode("utf-8", "replace")
