"""Waiting for real processes and brokers: on a condition, never for a length of time."""

import threading
from collections.abc import Callable, Sequence

from services.runtime.clock import machine_seconds
from services.runtime.link import Link

PATIENCE_S = 60.0
LOOK_EVERY_S = 0.02
_NEVER = threading.Event()


def wait_until(condition: Callable[[], bool], what: str, patience_s: float = PATIENCE_S) -> None:
    """Returns as soon as the condition holds; fails with `what` when it does not in time."""
    deadline_s = machine_seconds() + patience_s
    while not condition():
        if machine_seconds() > deadline_s:
            raise AssertionError(f"waited {patience_s:g} s for {what}")
        _NEVER.wait(LOOK_EVERY_S)


def turn_until(links: Sequence[Link], condition: Callable[[], bool], what: str, patience_s: float = PATIENCE_S) -> None:
    """Turns the links until the condition holds; fails with `what` when it does not in time."""
    deadline_s = machine_seconds() + patience_s
    while not condition():
        if machine_seconds() > deadline_s:
            raise AssertionError(f"turned for {patience_s:g} s, waiting for {what}; {[link.trouble for link in links]}")
        for link in links:
            link.turn(0.01)
