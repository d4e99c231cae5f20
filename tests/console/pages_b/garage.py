"""A site of these tests' own: the demonstration plant, with somebody who is told of alarms by a webhook."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from schemas.topics import TopicKind, topic
from services.commands.running import barn_file
from tests.console.site import Site, open_site
from tests.waiting import wait_until

TOLD = """
people:
  ann: {{title: Ann, ways: {{hook: {{webhook: "http://127.0.0.1:{port}/told"}}}}}}
notifier:
  routes: [{{to: [ann.hook]}}]
  link: {{base: "http://console.invalid"}}
  alarms: {{hand-needed: {{priority: high}}}}
"""
"""A step that asks for a hand raises an alarm at once; a high one is told at once."""


@dataclass(frozen=True, slots=True)
class Garage:
    """The site, its plant file, and the messages that were sent to Ann."""

    site: Site
    plant: Path
    messages: list[dict[str, Any]] = field(default_factory=list)

    def begin(self, batch: str, chamber: str, *steps: str) -> None:
        """Starts a batch with steps in YAML's flow style, whatever was in the chamber before."""
        for one in self.batches():
            if one["chamber"] == chamber and one["phase"] in ("running", "held", "idle"):
                self.site.do("batch", "stop", one["batch"])
        profile = self.plant.with_name(f"{batch}.yaml")
        lines = ["profile: trial", "steps:", *(f"  - {{{step}}}" for step in steps)]
        profile.write_text("\n".join(lines), encoding="utf-8")
        self.site.do(
            "batch", "start", batch, "--chamber", chamber, "--profile", str(profile), "--title", f"Beer {batch}"
        )

    def batches(self) -> list[dict[str, Any]]:
        """All, as the scheduler tells of them."""
        found: list[dict[str, Any]] = self.site.says("batch", "list", "--all")
        return found

    def batch(self, name: str) -> dict[str, Any]:
        """One of them; empty while there is none."""
        return next((one for one in self.batches() if one["batch"] == name), {})

    def alarm(self, chamber: str, name: str) -> dict[str, Any]:
        """As the notifier tells of it; empty while nothing is known of it."""
        alarms = self.site.says("alarm", "list", "--all")
        return next((one for one in alarms if (one["chamber"], one["name"]) == (chamber, name)), {})

    def raise_alarm(self, batch: str, chamber: str) -> None:
        """A batch whose first step asks for a hand: an alarm that waits for a person."""
        self.begin(batch, chamber, "name: rest, hold: 12 degC, for: 9 d, instruction: Add the hops.")
        wait_until(
            lambda: self.alarm(chamber, "hand-needed").get("phase") == "unacknowledged", f"the alarm in {chamber} waits"
        )

    def link(self, chamber: str) -> str:
        """The path of the link in the newest message about a chamber's alarm."""
        wait_until(lambda: bool(self._links(chamber)), f"Ann is told of {chamber}")
        return self._links(chamber)[-1].partition("console.invalid")[2]

    def _links(self, chamber: str) -> list[str]:
        told = (one for one in self.messages if any(alarm["chamber"] == chamber for alarm in one.get("alarms", ())))
        return [str(one["link"]) for one in told if one.get("link")]


def raw(*names: str) -> str:
    """A topic under which one of our services speaks, to see that it is never taken for a device's."""
    return topic("barn", TopicKind.READING, *names)


@contextmanager
def open_garage(folder: Path) -> Iterator[Garage]:
    """The site, its console and the webhook, until the block ends."""
    messages: list[dict[str, Any]] = []
    with _webhook(messages) as port:
        plant = folder / "barn.yaml"
        plant.write_text(barn_file().read_text(encoding="utf-8") + TOLD.format(port=port), encoding="utf-8")
        with open_site(folder, "--plant", str(plant)) as site:
            yield Garage(site, plant, messages)


@contextmanager
def _webhook(messages: list[dict[str, Any]]) -> Iterator[int]:
    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            messages.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(204)
            self.end_headers()

        def log_message(self, format: str, *args: object) -> None:
            """Nothing: tests read what was sent."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield server.server_port
    finally:
        server.shutdown()
        server.server_close()
