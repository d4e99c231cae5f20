"""What the supervisor is made of."""

from services.supervisor.core import build

__all__ = ["build"]
