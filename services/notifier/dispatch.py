"""What passes between the notifier's core and its shell, on topics that never leave the process."""

from schemas.alarms import Alarm, Priority
from schemas.base import Instant, Model, Text
from schemas.people import Heartbeat, MailServer, Way

LOCAL = "local/notifier/"
DISPATCH, RESULT, HEARTBEAT, FOLLOWED, ANSWER = (
    f"{LOCAL}{what}/" for what in ("dispatch", "result", "heartbeat", "followed", "answer")
)
"""Each is followed by an id: send this; what became of it; beat; a link was followed; what to show to who did."""


class Dispatch(Model):
    """One attempt to send one message. Secrets are named, not held: the shell looks them up."""

    id: Text
    member: Text
    way: Way
    server: MailServer | None = None
    site: Text
    subject: Text
    text: str
    priority: Priority
    written: Instant
    alarms: tuple[Alarm, ...] = ()
    link: str = ""


class Result(Model):
    """What became of an attempt; no `error` means that the other side has taken it."""

    error: str = ""


class Beat(Model):
    """A sign of life for the outside."""

    heartbeat: Heartbeat


class Answer(Model):
    """What to show to somebody who acknowledged by a link."""

    accepted: bool
    text: str
