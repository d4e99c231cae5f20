"""Keeps a family of processes: starts them, starts the dead again, and lets none outlive it.

Imports nothing beyond the standard library and runs in an interpreter of its own, because it stays for weeks:
`become_keeper` turns the calling process into it.
"""

import contextlib
import ctypes
import json
import os
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

from services.runtime.broker import EmbeddedBroker, prepare_broker
from services.runtime.clock import machine_seconds
from services.runtime.doorway import SOCKET_PLACE, somebody_waits

FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 30.0
STEADY_AFTER_S = 60.0
"""A process that lived so long died of something else: its next pause is the first again."""
LOOK_EVERY_S = 0.2
GOODBYE_S = 8.0
BROKER_READY_S = 30.0
BROKER_PLACE = "{broker}"
"""Stands in a command for the address of the embedded broker."""
SPARING = {"MALLOC_ARENA_MAX": "2", "GOMEMLIMIT": "48MiB"}
"""Small machines: what C and Go programs are told about memory, unless the environment says otherwise."""
_PR_SET_PDEATHSIG = 1


@dataclass(frozen=True, slots=True)
class Plan:
    """What to keep: `members` are commands by name, in the order they start; they stop in the opposite order.

    With `embedded_broker`, a broker is started before all and stopped after all, and its address put in the commands.
    """

    members: dict[str, list[str]]
    state_folder: str
    embedded_broker: bool = True
    preferred_port: int = 1883
    for_s: float | None = None
    secure_folder: str = ""
    """What `coldside secure` made for the embedded broker; empty lets in everybody of this machine."""
    visited: dict[str, list[str]] = field(default_factory=dict)
    """Members that are started when somebody connects to `socket_fd`, and may end when nobody comes any more."""
    socket_fd: int | None = None
    """A listening socket that this process has inherited; `{socket}` in a command becomes its number."""
    greeting: str = ""
    """Printed once everything was started; `{broker}` in it becomes the broker's address."""


class Member:
    """One process: running, or waiting to be started again."""

    longest_pause_s = LONGEST_PAUSE_S

    def __init__(
        self, name: str, command: Sequence[str], user: str | None = None, inherits: Sequence[int] = ()
    ) -> None:
        self.name = name
        self.starts = 0
        self._command = list(command)
        self._user = user
        self._inherits = tuple(inherits)
        self._process: subprocess.Popen[bytes] | None = None
        self._started_s = 0.0
        self._pause_s = FIRST_PAUSE_S
        self._due_s: float | None = None

    @property
    def alive(self) -> bool:
        """Whether its process runs."""
        return self._process is not None and self._process.poll() is None

    def start(self) -> None:
        """Starts the process, in a group of its own: a Ctrl-C reaches the keeper only, which stops all in order."""
        self._due_s = None
        self._started_s = machine_seconds()
        self.starts += 1
        try:
            self._process = self._spawn()
        except OSError as error:
            self._process = None
            say(f"{self.name} cannot be started: {error}")

    def look_after(self) -> None:
        """Starts it again when it died and its pause is over."""
        if self.alive:
            return
        now_s = machine_seconds()
        if self._due_s is None:
            self._due_s = now_s + self._next_pause_s(now_s - self._started_s)
            status = self._process.returncode if self._process else "not started"
            say(f"{self.name} ended ({status}); starting it again in {self._due_s - now_s:.0f} s")
        elif now_s >= self._due_s:
            self.start()

    def stop(self, patience_s: float = GOODBYE_S) -> None:
        """Asks it to end, and ends it when it does not."""
        process = self._process
        if process is None or process.poll() is not None:
            return
        process.terminate()
        try:
            process.wait(patience_s)
        except subprocess.TimeoutExpired:
            say(f"{self.name} did not stop within {patience_s:.0f} s and was killed")
            process.kill()
            process.wait()

    def _spawn(self) -> subprocess.Popen[bytes]:
        return subprocess.Popen(
            self._command,
            stdin=subprocess.DEVNULL,
            env={**SPARING, **os.environ},
            user=self._user,
            group=_group_of(self._user),
            extra_groups=[] if self._user else None,
            process_group=0,
            pass_fds=self._inherits,
            preexec_fn=_die_with_parent(os.getpid()),
        )

    def _next_pause_s(self, lived_s: float) -> float:
        if lived_s >= STEADY_AFTER_S:
            self._pause_s = FIRST_PAUSE_S
        pause_s, self._pause_s = self._pause_s, min(self._pause_s * 2, self.longest_pause_s)
        return pause_s


class Visited(Member):
    """Starts when somebody comes. One that ended well waits for the next visitor; one that died, for its pause, too."""

    longest_pause_s = 4.0

    def __init__(self, name: str, command: Sequence[str], listening: socket.socket) -> None:
        super().__init__(name, command, inherits=(listening.fileno(),))
        self._listening = listening

    def look_after(self) -> None:
        """Starts it for a visitor who waits."""
        if self.alive or not somebody_waits(self._listening):
            return
        if self._process is None or self._process.returncode == 0:
            self.start()
        else:
            super().look_after()


def become_keeper(plan: Plan) -> None:
    """Replaces this process by a keeper of the plan; does not return."""
    sys.stdout.flush()
    sys.stderr.flush()
    os.execv(sys.executable, [sys.executable, "-m", "services.runtime.family", json.dumps(asdict(plan))])


def keep(plan: Plan, stop: threading.Event) -> int:
    """Runs the plan until `stop` is set or its time is over; returns the exit status."""
    end_s = None if plan.for_s is None else machine_seconds() + plan.for_s
    family: list[Member] = []
    try:
        address = ""
        if plan.embedded_broker:
            broker = prepare_broker(
                Path(plan.state_folder), plan.preferred_port, Path(plan.secure_folder) if plan.secure_folder else None
            )
            address = broker.url
            family.append(Member("broker", broker.command, broker.user))
            family[0].start()
            if not _await_broker(broker, family[0], stop):
                return 0 if stop.is_set() else 1
        for name, command in plan.members.items():
            family.append(_member(name, command, plan, address))
            family[-1].start()
        family.extend(_visited(plan, address))
        if plan.greeting:
            print(plan.greeting.replace(BROKER_PLACE, address), flush=True)
        _look_after(family, stop, end_s)
        return 0
    finally:
        _stop_all(family)


def _member(name: str, command: Sequence[str], plan: Plan, address: str) -> Member:
    wants_socket = SOCKET_PLACE in command and plan.socket_fd is not None
    return Member(name, _filled(command, plan, address), inherits=[plan.socket_fd or 0] if wants_socket else ())


def _visited(plan: Plan, address: str) -> list[Visited]:
    if plan.socket_fd is None or not plan.visited:
        return []
    listening = socket.socket(fileno=plan.socket_fd)
    return [Visited(name, _filled(command, plan, address), listening) for name, command in plan.visited.items()]


def _filled(command: Sequence[str], plan: Plan, address: str) -> list[str]:
    return [part.replace(BROKER_PLACE, address).replace(SOCKET_PLACE, str(plan.socket_fd)) for part in command]


def say(text: str) -> None:
    """One structured line on standard error, as the services write them."""
    print(json.dumps({"service": "keeper", "event": text}), file=sys.stderr, flush=True)


def _look_after(family: Sequence[Member], stop: threading.Event, end_s: float | None) -> None:
    while not stop.wait(LOOK_EVERY_S):
        if end_s is not None and machine_seconds() >= end_s:
            return
        for member in family:
            member.look_after()


def _stop_all(family: Sequence[Member]) -> None:
    """The last started stops first, the broker last of all, so that every goodbye is still heard."""
    for member in reversed(family):
        member.stop()


def _await_broker(broker: EmbeddedBroker, member: Member, stop: threading.Event) -> bool:
    deadline_s = machine_seconds() + BROKER_READY_S
    while machine_seconds() < deadline_s and member.alive and not stop.is_set():
        if broker.answers():
            return True
        stop.wait(0.05)
    if not stop.is_set():
        say(f"the broker at {broker.url} does not answer; see broker/nats.log in the state folder")
    return False


def _group_of(user: str | None) -> int | None:
    if user is None:
        return None
    import pwd

    return pwd.getpwnam(user).pw_gid


def _die_with_parent(parent: int) -> Callable[[], None] | None:
    """On Linux the kernel kills the child when the keeper is gone, however it went; elsewhere nothing does."""
    if not sys.platform.startswith("linux"):
        return None
    libc = ctypes.CDLL(None, use_errno=True)

    def in_child() -> None:
        libc.prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)
        if os.getppid() != parent:
            os._exit(1)

    return in_child


def main() -> int:
    """Keeps the plan given as JSON in the only argument."""
    plan = Plan(**json.loads(sys.argv[1]))
    stop = threading.Event()
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP):
        signal.signal(number, lambda _number, _frame: stop.set())
    with contextlib.suppress(BrokenPipeError):
        return keep(plan, stop)
    return 1


if __name__ == "__main__":
    sys.exit(main())
