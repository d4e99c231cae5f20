"""The scheduler as a process of its own: `python -m tests.scheduler.living BROKER STATE`."""

import sys
from pathlib import Path

from services.runtime.address import BrokerAddress
from services.runtime.compose import Surroundings, run_services
from services.scheduler.__main__ import part
from tests.scheduler.bench import PLANT


def main() -> int:
    """Runs until it is told to stop, or killed."""
    state = Path(sys.argv[2])
    surroundings = Surroundings(site="barn", broker=BrokerAddress.from_url(sys.argv[1]), state_folder=state)
    return run_services([part(PLANT, state)], surroundings)


if __name__ == "__main__":
    sys.exit(main())
