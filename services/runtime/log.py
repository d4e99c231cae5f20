"""Structured logs: one JSON object a line, on standard error."""

import json
import logging
import sys
from datetime import UTC, datetime
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
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines(service))
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(level)
