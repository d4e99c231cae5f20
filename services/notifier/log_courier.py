"""The first courier: alarms go to the log, where they can be read when everything else is down."""

import logging

from schemas.alarms import Alarm, AlarmPhase, Priority

LOG = logging.getLogger("coldside.notifier")

LEVELS = {
    Priority.CRITICAL: logging.CRITICAL,
    Priority.HIGH: logging.ERROR,
    Priority.MEDIUM: logging.WARNING,
    Priority.LOW: logging.INFO,
}
LOUD = frozenset({AlarmPhase.UNACKNOWLEDGED})
"""Phases that are logged at the priority's level; the others only inform."""


def log_alarm(alarm: Alarm) -> None:
    """One line that says where, what, since when and what to do."""
    LOG.log(LEVELS[alarm.priority] if alarm.phase in LOUD else logging.INFO, "%s", line_of(alarm))


def line_of(alarm: Alarm) -> str:
    """The line."""
    what = f"{alarm.chamber}: {alarm.name} is {alarm.phase}"
    if alarm.phase not in LOUD:
        return f"{what}{f' by {alarm.by}' if alarm.by else ''}. {alarm.detail}"
    return f"{what} since {alarm.since:%Y-%m-%d %H:%M} UTC. {alarm.detail} {alarm.response}"
