"""Structured logs: one JSON object a line."""

import json
import logging
import sys
from datetime import UTC, datetime
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Any

from schemas.base import iso


class JsonLines(logging.Formatter):
    """Time, level, service, what happened, and the facts handed in as `extra={"facts": {...}}`."""

    def __init__(self, service: str) -> None:
        super().__init__()
        self._service = service

    def format(self, record: logging.LogRecord) -> str:
        """One line, whatever is in the record."""
        line: dict[str, Any] = {
            "at": iso(datetime.fromtimestamp(record.created, UTC)),
            "level": record.levelname.lower(),
            "service": getattr(record, "service", self._service),
            "event": record.getMessage(),
            **getattr(record, "facts", {}),
        }
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line, default=str, ensure_ascii=False)


def log_to_stderr(service: str, level: int = logging.INFO) -> None:
    """Sends everything that this process logs to standard error; `service` names it where a record does not."""
    _log_to(logging.StreamHandler(sys.stderr), service, level)


def log_to_file(service: str, path: Path, level: int = logging.INFO) -> None:
    """The same into a file, of which the last 2 MB and the 2 MB before are kept. Raises OSError."""
    path.parent.mkdir(parents=True, exist_ok=True)
    _log_to(RotatingFileHandler(path, maxBytes=2_000_000, backupCount=1, encoding="utf-8"), service, level)


def _log_to(handler: logging.Handler, service: str, level: int) -> None:
    handler.setFormatter(JsonLines(service))
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level)
