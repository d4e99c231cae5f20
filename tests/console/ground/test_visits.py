"""The console's process comes with a visitor and goes when nobody looks; the others never notice."""

import json
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from http.client import HTTPConnection, HTTPException
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from schemas.journal import Health
from schemas.topics import TopicKind, topic
from services.commands.client import Unreachable, Visit, where
from services.commands.running import barn_file
from services.runtime.doorway import listen, url_of
from services.runtime.family import Plan
from tests.commands.live import COLDSIDE
from tests.console.site import Site
from tests.waiting import wait_until

NO_ANSWER = (0, None)


def ask(site: Site, path: str, timeout: float = 60) -> tuple[int, Any]:
    """What is answered; (0, None) when nothing is."""
    connection = HTTPConnection(urlsplit(site.address).netloc, timeout=timeout)
    with suppress(OSError, HTTPException, ValueError):
        connection.request("GET", path)
        answer = connection.getresponse()
        return answer.status, json.load(answer)
    return NO_ANSWER


def answered(site: Site, path: str = "/api/v1/site") -> Any:
    wait_until(lambda: ask(site, path)[0] == 200, f"{path} is answered", 180)
    return ask(site, path)[1]


def others(site: Site) -> dict[str, int | None]:
    return {name: site.process_of(name) for name in ("bridge", "supervisor", "scheduler")}


def test_the_address_is_in_the_greeting(spoilt: Site) -> None:
    assert f"console: {spoilt.address}" in (spoilt.state / "up.log").read_text()


def test_after_a_crash_the_next_visit_starts_it_again_and_nobody_else_is_disturbed(spoilt: Site) -> None:
    answered(spoilt)
    before, killed = others(spoilt), spoilt.process_of("console")
    spoilt.kill("console")
    wait_until(lambda: console_health(spoilt) == "stopping", "the broker has said that it is gone", 180)
    answered(spoilt)
    assert spoilt.process_of("console") not in (None, killed)
    assert others(spoilt) == before
    assert None not in before.values()


def console_health(site: Site) -> str:
    """What the broker keeps of it: gone, but missed by nobody, since it comes with its next visitor."""
    wanted = topic("barn", TopicKind.HEALTH, "console")
    with suppress(Unreachable), Visit(where("", site.state)) as visit:
        said = visit.retained([wanted]).get(wanted)
        return said.state if isinstance(said, Health) else "nothing"
    return "no broker"


def test_without_a_store_history_says_so_and_heals_by_itself(spoilt: Site) -> None:
    answered(spoilt, "/api/v1/history/series")
    aside, store = spoilt.state / "aside", spoilt.state / "history.sqlite"
    store.rename(aside)
    status, said = ask(spoilt, "/api/v1/history/series")
    live = ask(spoilt, "/api/v1/readings")[0]
    aside.rename(store)
    assert (status, live) == (503, 200)
    assert "live goes on" in said["detail"]
    answered(spoilt, "/api/v1/history/series")


def test_it_comes_with_its_first_visitor_and_goes_when_nobody_looks(spoilt: Site, tmp_path: Path) -> None:
    with idle_console(spoilt, tmp_path, idle_s=1.0) as lonely:
        assert not children_of(tmp_path)
        assert ask(lonely, "/api/v1/site", timeout=200)[1]["site"] == "shed"
        wait_until(lambda: not children_of(tmp_path), "it has ended by itself", 180)
        answered(lonely)


@contextmanager
def idle_console(site: Site, folder: Path, idle_s: float) -> Iterator[Site]:
    """A keeper of nothing but the console of another site, with a folder of its own, on the barn's broker."""
    plant = folder / "shed.yaml"
    plant.write_text(barn_file().read_text().replace("name: barn", "name: shed"))
    listening = listen("127.0.0.1", 0)
    broker = json.loads((site.state / "broker.json").read_text())["url"]
    command = [*MODULE, "--fd", "{socket}", "--plant", str(plant), "--state", str(folder)]
    plan = Plan({}, str(folder), False, visited={"console": [*command, "--broker", broker, "--idle", str(idle_s)]})
    written = json.dumps(vars_of(replace(plan, socket_fd=listening.fileno())))
    keeper = subprocess.Popen([*FAMILY, written], pass_fds=[listening.fileno()])
    try:
        yield Site(folder, url_of(listening))
    finally:
        keeper.terminate()
        keeper.wait(60)
        listening.close()


MODULE = (COLDSIDE[0], "-m", "services.commands.console")
FAMILY = (COLDSIDE[0], "-m", "services.runtime.family")


def vars_of(plan: Plan) -> dict[str, Any]:
    return {name: getattr(plan, name) for name in plan.__dataclass_fields__}


def children_of(folder: Path) -> list[str]:
    """Command lines of processes that keep their state there, the keeper aside."""
    found = []
    for process in Path("/proc").iterdir():
        with suppress(OSError):
            words = (process / "cmdline").read_bytes().decode().split("\0") if process.name.isdigit() else []
            if str(folder) in words and "services.runtime.family" not in words:
                found.append(" ".join(words))
    return found
