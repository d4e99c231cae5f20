"""Heavy work that the console asks for, done in processes of their own: reports and rehearsals."""

import asyncio
import json
import os
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from schemas.profiles import Profile
from schemas.written import WrittenError
from services.commands.recorded import Recorded
from services.console.live import Live
from services.console.sources import Form, NotUsable, Unavailable, Unknown
from services.scheduler import profile_file

COMMAND = (sys.executable, "-m", "services.cli")
LONGEST_S = 180.0
NICE = 10
"""Control comes first on a small machine."""
USAGE = 2


@dataclass(slots=True)
class Children:
    """One at a time: each takes a core and some hundred megabytes for a while."""

    _one_at_a_time: asyncio.Lock = field(default_factory=asyncio.Lock)

    async def run(self, words: Sequence[str]) -> bytes:
        """What a `coldside` command prints. Raises NotUsable with its complaint, Unavailable when it takes too long."""
        async with self._one_at_a_time:
            process = await asyncio.create_subprocess_exec(
                *COMMAND,
                *words,
                stdin=asyncio.subprocess.DEVNULL,
                stdout=asyncio.subprocess.PIPE,
                stderr=asyncio.subprocess.PIPE,
                env=os.environ | {"NO_COLOR": "1", "COLUMNS": "400"},
                preexec_fn=_stand_back,
            )
            try:
                said, complaint = await asyncio.wait_for(process.communicate(), LONGEST_S)
            except TimeoutError:
                raise Unavailable(f"This took longer than {LONGEST_S:.0f} s and was given up.") from None
            finally:
                if process.returncode is None:
                    process.kill()
        if process.returncode:
            raise NotUsable(_last_words(complaint) or f"It ended with status {process.returncode}.")
        return said


@dataclass(frozen=True, slots=True)
class ReportsByChild:
    """Needs the `report` extra: without it, Unavailable says so."""

    children: Children
    recorded: Recorded
    plant_path: Path

    async def report(self, batch: str, form: Form) -> bytes:
        """A batch's report."""
        if not await self.recorded.knows_batch(batch):
            raise Unknown(f"History has nothing of a batch {batch!r}.")
        with tempfile.TemporaryDirectory() as folder:
            out = Path(folder) / f"report.{form}"
            place = ("--plant", str(self.plant_path), "--state", str(self.recorded.state_folder))
            try:
                await self.children.run(("history", "report", batch, "--out", str(out), *place))
            except NotUsable as error:
                raise Unavailable(f"The report could not be made: {error}") from error
            return out.read_bytes()


@dataclass(frozen=True, slots=True)
class RehearsalsByChild:
    """Once a minute of virtual time: a few weeks take some seconds."""

    children: Children
    live: Live
    plant_path: Path

    async def rehearse(
        self, profile_text: str, chamber: str, original_gravity_sg: float | None = None, days: float = 28
    ) -> dict[str, Any]:
        """What would happen."""
        Library().read(profile_text)
        if chamber not in self.live.plant.chambers:
            raise NotUsable(f"there is no chamber {chamber!r}; there are: {', '.join(self.live.plant.chambers)}")
        with tempfile.TemporaryDirectory() as folder:
            profile = Path(folder) / "profile.yaml"
            profile.write_text(profile_text, encoding="utf-8")
            options = [
                "--chamber",
                chamber,
                "--plant",
                str(self.plant_path),
                "--days",
                f"{days:g}",
                "--coarse",
                "--json",
            ]
            if original_gravity_sg is not None:
                options += ["--original-gravity", f"{original_gravity_sg:g}"]
            said = await self.children.run(("rehearse", str(profile), *options))
        answer: dict[str, Any] = json.loads(said)
        return answer


class Library:
    """The profiles that come along."""

    def names(self) -> list[str]:
        """All of them."""
        return profile_file.names()

    def text(self, name: str) -> str:
        """As it is written. Raises Unknown."""
        if name not in self.names():
            raise Unknown(f"there is no profile {name!r}; there are: {', '.join(self.names())}")
        return (profile_file.LIBRARY / f"{name}.yaml").read_text(encoding="utf-8")

    def read(self, text: str) -> Profile:
        """What is written. Raises NotUsable."""
        try:
            return profile_file.loads(text)
        except WrittenError as error:
            raise NotUsable(str(error)) from error


def _stand_back() -> None:
    os.nice(NICE)


def _last_words(complaint: bytes) -> str:
    return " ".join(complaint.decode("utf-8", "replace").split())[-1500:]
