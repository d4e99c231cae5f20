"""A process that guards relays and hangs when told to: `python -m tests.runtime.guarding BROKER`."""

import sys
from random import Random

from services.runtime.address import BrokerAddress
from services.runtime.guard_link import Guard, GuardSet

GUARDS = tuple(Guard(f"guard-{name}", f"relay/{name}", b"off") for name in ("heat", "cool"))


def main(broker: str) -> None:
    """Serves the guards until a line on standard input; then hangs, sockets open."""
    guards = GuardSet(BrokerAddress.from_url(broker), Random(1))
    guards.want(GUARDS)
    while not all(guards.up(guard) for guard in GUARDS):
        guards.turn()
    print("up", flush=True)
    sys.stdin.readline()


if __name__ == "__main__":
    main(sys.argv[1])
