"""Who is told of alarms, where they are reached, and when: the `people` and `notifier` sections of the plant file.

Secrets never stand in the plant file: an address that is one comes from a file or an environment variable.
"""

import difflib
import re
from typing import Annotated, Any, Literal, get_args

from pydantic import AfterValidator, Discriminator, Field, StringConstraints, Tag, model_validator

from schemas.alarms import Priority
from schemas.base import Model, Name, NotNegative, Text
from schemas.conditions import ConditionKind, kind_of
from schemas.quantities import Kilograms, Seconds

_CLOCK = r"(?:[01]?\d|2[0-3]):[0-5]\d"
_SPAN = re.compile(rf"^(?P<begins>{_CLOCK})\s*-\s*(?P<ends>{_CLOCK})$")
_URL = r"^https?://[^\s]+$"


def minutes_of(clock: str) -> int:
    """Minutes since midnight of `07:30`."""
    hour, _, minute = clock.partition(":")
    return int(hour) * 60 + int(minute)


def span_of(written: str) -> tuple[int, int]:
    """`22:30-07:00` as minutes since midnight; the second is smaller where midnight lies between. Raises ValueError."""
    found = _SPAN.match(written.strip())
    if not found or minutes_of(found["begins"]) == minutes_of(found["ends"]):
        raise ValueError(f"{written!r} is no span of the day; write it like '22:30-07:00'")
    return minutes_of(found["begins"]), minutes_of(found["ends"])


def _span(written: str) -> str:
    span_of(written)
    return written.strip()


DaySpan = Annotated[str, AfterValidator(_span)]
"""A part of the day on the site's clocks; it may go over midnight."""
ClockTime = Annotated[str, StringConstraints(pattern=rf"^{_CLOCK}$")]
Day = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEK: tuple[Day, ...] = get_args(Day)
WeekTime = Annotated[str, StringConstraints(pattern=rf"^(?:{'|'.join(WEEK)}) {_CLOCK}$")]
"""A day of the week and a time of it, on the site's clocks: `sun 18:00`."""
WebAddress = Annotated[str, StringConstraints(pattern=_URL, max_length=2000)]
MailAddress = Annotated[str, StringConstraints(pattern=r"^[^@\s,;<>]+@[^@\s,;<>]+$", max_length=254)]
Variable = Annotated[str, StringConstraints(pattern=r"^[A-Za-z_][A-Za-z0-9_]*$")]
SiteMember = Annotated[str, StringConstraints(pattern=r"^[a-z0-9-]{1,40}\.[a-z0-9-]{1,40}$")]
"""A person and one of their ways: `ann.phone`."""


def _alarm_name(written: str) -> str:
    if kind_of(written) is None:
        near = difflib.get_close_matches(written, list(ConditionKind), n=1)
        remedy = f"did you mean '{near[0]}'?" if near else "docs/alarms.md lists them, such as 'beer-too-warm'"
        raise ValueError(f"{written!r} is no alarm known here; {remedy}")
    return written


AlarmName = Annotated[Name, AfterValidator(_alarm_name)]
"""A kind of alarm, or one alarm of that kind: `probe-silent`, `probe-silent-beer`."""


class AlarmChange(Model):
    """What is otherwise than the catalogue says; what is not named stays."""

    priority: Priority | None = None
    on_delay_s: Seconds | None = Field(default=None, alias="on_delay", le=7 * 86400)
    off_delay_s: Seconds | None = Field(default=None, alias="off_delay", le=7 * 86400)
    respond_within_s: Seconds | None = Field(default=None, alias="respond_within", gt=0, le=30 * 86400)
    deadband: NotNegative | None = Field(default=None, description="In the unit of the condition's value.")
    latching: bool | None = None
    response: Annotated[Text, Field(min_length=1, max_length=300)] | None = None

    @property
    def said(self) -> dict[str, Any]:
        """Only what the file names."""
        return self.model_dump(exclude_none=True)


AlarmChanges = dict[AlarmName, AlarmChange]


class Mail(Model):
    """A mail address; the plant's `notifier.mail` says by which server."""

    mail: MailAddress


class Webhook(Model):
    """An HTTP address that takes each message as JSON by POST. One that is secret stands in a file or variable."""

    webhook: WebAddress | Literal["file", "env"]
    file: str | None = Field(default=None, description="A file whose only line is the address.")
    env: Variable | None = Field(default=None, description="An environment variable that holds the address.")

    @model_validator(mode="after")
    def _has_its_place(self) -> "Webhook":
        _require_place(self, self.webhook)
        return self


class Relay(Model):
    """An address as the library `apprise` writes them, for the services that it knows; always from file or variable."""

    apprise: Literal["file", "env"]
    file: str | None = Field(default=None, description="A file whose only line is the address.")
    env: Variable | None = Field(default=None, description="An environment variable that holds the address.")

    @model_validator(mode="after")
    def _has_its_place(self) -> "Relay":
        _require_place(self, self.apprise)
        return self


def _require_place(way: Model, where: str) -> None:
    if where in ("file", "env") and getattr(way, where) is None:
        raise ValueError(f"says '{where}' and names none; add '{where}: ...'")


WAYS: dict[str, type[Model]] = {"mail": Mail, "webhook": Webhook, "apprise": Relay}


def _way_of(value: Any) -> str | None:
    names = value if isinstance(value, dict) else getattr(type(value), "model_fields", {})
    return next((way for way in WAYS if way in names), None)


Way = Annotated[
    Annotated[Mail, Tag("mail")] | Annotated[Webhook, Tag("webhook")] | Annotated[Relay, Tag("apprise")],
    Discriminator(
        _way_of,
        custom_error_type="driver",
        custom_error_message="names no way known here; write one of 'mail: ADDRESS', 'webhook: URL', 'apprise: file'",
    ),
]


class Person(Model):
    """Somebody who is told; `quiet` never holds back what is critical."""

    title: Text = ""
    ways: dict[Name, Way] = Field(min_length=1)
    quiet: DaySpan | None = None


class Route(Model):
    """Whom to tell of what. Several routes with different `after` make an escalation."""

    to: tuple[SiteMember, ...] = Field(min_length=1)
    priorities: tuple[Priority, ...] = tuple(Priority)
    chambers: tuple[Name, ...] = Field(default=(), description="None named: all, and what concerns the whole site.")
    alarms: tuple[AlarmName, ...] = Field(default=(), description="None named: all.")
    between: DaySpan | None = Field(default=None, description="Outside it, the route waits.")
    days: tuple[Day, ...] = WEEK
    after_s: Seconds = Field(default=0.0, alias="after", le=7 * 86400, description="If nobody has acknowledged.")
    again_s: Seconds | None = Field(
        default=None, alias="again", ge=60, le=7 * 86400, description="Repeats so often until somebody acknowledges."
    )


class MailServer(Model):
    """An SMTP server that takes our mail."""

    server: Annotated[str, StringConstraints(pattern=r"^[^\s:]+:\d{1,5}$")]
    security: Literal["none", "starttls", "tls"] = "starttls"
    user: str | None = None
    password_file: str | None = None
    password_env: Variable | None = None
    sender: MailAddress


class AcknowledgeLink(Model):
    """Lets a message carry a link by which it is acknowledged; `base` is what a phone can reach."""

    base: WebAddress
    valid_s: Seconds = Field(default=86400.0, alias="valid", ge=300, le=14 * 86400)
    key_file: str | None = Field(default=None, description="32 bytes or more; made in the state folder when not named.")
    serve: Annotated[str, StringConstraints(pattern=r"^[^\s:]+:\d{1,5}$")] | None = Field(
        default=None, description="Address and port of a small page of the notifier's own, where no console runs."
    )
    certificate_file: str | None = Field(
        default=None, description="PEM, with what stands between it and its authority: the page then speaks TLS only."
    )
    certificate_key_file: str | None = Field(default=None, description="The certificate's key: PEM, no pass phrase.")

    @model_validator(mode="after")
    def _can_be_served(self) -> "AcknowledgeLink":
        if (self.certificate_file is None) != (self.certificate_key_file is None):
            raise ValueError("needs both 'certificate_file' and 'certificate_key_file', or neither")
        if self.certificate_file is not None and self.serve is None:
            raise ValueError("has a certificate and no page to serve; add 'serve: \"0.0.0.0:8443\"'")
        if self.serve is not None and self.certificate_file is not None and self.base.startswith("http:"):
            raise ValueError("has a certificate, and its 'base' begins with 'http:'; write 'https:'")
        return self


class Heartbeat(Model):
    """An outside address that raises the alarm elsewhere when it is no longer called."""

    url: WebAddress | None = None
    file: str | None = None
    env: Variable | None = None
    every_s: Seconds = Field(default=300.0, alias="every", ge=10, le=86400)

    @model_validator(mode="after")
    def _has_its_place(self) -> "Heartbeat":
        if not (self.url or self.file or self.env):
            raise ValueError("names no address; add 'url:', 'file:' or 'env:'")
        return self


class NotifierRules(Model):
    """How alarms reach people."""

    routes: tuple[Route, ...] = ()
    mail: MailServer | None = None
    digest: ClockTime = Field(
        default="18:00", description="When what is low is told, once a day, on the site's clocks."
    )
    weekly: WeekTime | Literal["never"] = Field(
        default="sun 18:00", description="When whoever is told what is low is told of the week's alarms, if any."
    )
    flood_at: Annotated[int, Field(ge=2, le=100)] = Field(
        default=5, description="Messages to one address within ten minutes; what is more comes as one."
    )
    link: AcknowledgeLink | None = None
    heartbeat: Heartbeat | None = None
    power_off_told_after_s: Seconds = Field(default=300.0, alias="power_off_told_after", ge=60, le=86400)
    alarms: AlarmChanges = Field(default={}, description="For the whole site; a chamber's own come on top.")


class Weighed(Model):
    """What stands on a scale, and what it weighs when nothing is in it."""

    what: Literal["keg", "cylinder"]
    empty_kg: Kilograms = Field(alias="empty", description="With what belongs to it, such as a regulator.")
    low_kg: Kilograms | None = Field(
        default=None, alias="low", description="What is left when it is time for the next; 2 kg of beer, 0.4 kg of gas."
    )

    @property
    def low_at_kg(self) -> float:
        """What is left when it is low."""
        return self.low_kg if self.low_kg is not None else LOW_KG[self.what]


LOW_KG = {"keg": 2.0, "cylinder": 0.4}
"""Four pints; a seventh of the smallest common cylinder (common practice, no source)."""
