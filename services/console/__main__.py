"""`python -m services.console --plant FILE`: the console alone, beside services that run already."""

import sys
from importlib import import_module


def main() -> int:
    """Found by name: the composition knows every service that lends something, and nothing here imports one."""
    status: int = import_module("services.commands.console").main()
    return status


if __name__ == "__main__":
    sys.exit(main())
