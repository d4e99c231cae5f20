"""Couriers: each carries one message to the outside and says in words why it could not. They wait, so never on the
service's thread.

A message that is sent again has the same id: the `Message-ID` of a mail (RFC 5322, section 3.6.4), the
`Idempotency-Key` of a webhook.
"""

import json
import os
import smtplib
import ssl
import urllib.error
import urllib.request
from collections.abc import Callable
from email.message import EmailMessage
from email.utils import format_datetime
from pathlib import Path
from typing import Any

from schemas.alarms import Priority
from schemas.people import Heartbeat, Mail, MailServer, Relay, Webhook
from services.notifier.dispatch import Dispatch

TIMEOUT_S = 20.0
IMPORTANCE = {Priority.CRITICAL: "high", Priority.HIGH: "high", Priority.LOW: "low"}


class NotTaken(RuntimeError):
    """The other side did not take a message; the text says why."""


def carry(dispatch: Dispatch, timeout_s: float = TIMEOUT_S) -> None:
    """Carries a message by its way. Raises NotTaken."""
    try:
        COURIERS[type(dispatch.way)](dispatch, timeout_s)
    except (OSError, ValueError, smtplib.SMTPException) as error:
        raise NotTaken(_plainly(error)) from error


def beat(heartbeat: Heartbeat, timeout_s: float = TIMEOUT_S) -> None:
    """A sign of life to the outside. Raises NotTaken."""
    try:
        url = heartbeat.url or secret(heartbeat.file, heartbeat.env)
        _post(urllib.request.Request(url, data=b"", method="POST"), timeout_s)
    except (OSError, ValueError) as error:
        raise NotTaken(_plainly(error)) from error


def secret(file: str | None, env: str | None) -> str:
    """What a file's only line or an environment variable holds. Raises OSError or ValueError, naming which."""
    if file is not None:
        return Path(file).read_text(encoding="utf-8").strip()
    found = os.environ.get(env or "", "")
    if not found:
        raise ValueError(f"the environment variable {env} is not set")
    return found


def mail_of(dispatch: Dispatch, way: Mail, server: MailServer) -> EmailMessage:
    """The mail itself."""
    mail = EmailMessage()
    mail["Subject"] = dispatch.subject
    mail["From"] = f"coldside {dispatch.site} <{server.sender}>"
    mail["To"] = way.mail
    mail["Date"] = format_datetime(dispatch.written)
    mail["Message-ID"] = f"<{dispatch.id}@{server.sender.partition('@')[2]}>"
    mail["Auto-Submitted"] = "auto-generated"
    mail["Importance"] = IMPORTANCE.get(dispatch.priority, "normal")
    mail.set_content(dispatch.text)
    return mail


def json_of(dispatch: Dispatch) -> bytes:
    """What a webhook gets: the words, and the alarms themselves."""
    body = {
        "id": dispatch.id,
        "site": dispatch.site,
        "to": dispatch.member,
        "priority": dispatch.priority,
        "subject": dispatch.subject,
        "text": dispatch.text,
        "written": dispatch.written.isoformat(),
        "acknowledge": dispatch.link,
        "alarms": [one.model_dump(mode="json") for one in dispatch.alarms],
    }
    return json.dumps(body).encode()


def _by_mail(dispatch: Dispatch, timeout_s: float) -> None:
    way, server = dispatch.way, dispatch.server
    if not isinstance(way, Mail) or server is None:
        raise ValueError("the plant file names no server for mail")
    host, _, port = server.server.rpartition(":")
    context = ssl.create_default_context() if server.security != "none" else None
    with _connected(host, int(port), server, context, timeout_s) as connection:
        if server.user is not None:
            connection.login(server.user, secret(server.password_file, server.password_env))
        connection.send_message(mail_of(dispatch, way, server))


def _connected(
    host: str, port: int, server: MailServer, context: ssl.SSLContext | None, timeout_s: float
) -> smtplib.SMTP:
    if server.security == "tls":
        return smtplib.SMTP_SSL(host, port, timeout=timeout_s, context=context)
    connection = smtplib.SMTP(host, port, timeout=timeout_s)
    if context is not None:
        connection.starttls(context=context)
    return connection


def _by_webhook(dispatch: Dispatch, timeout_s: float) -> None:
    way = dispatch.way
    assert isinstance(way, Webhook)
    url = secret(way.file, way.env) if way.webhook in ("file", "env") else way.webhook
    headers = {"Content-Type": "application/json", "Idempotency-Key": dispatch.id}
    _post(urllib.request.Request(url, data=json_of(dispatch), headers=headers, method="POST"), timeout_s)


def _post(request: urllib.request.Request, timeout_s: float) -> None:
    if request.type not in ("http", "https"):
        raise ValueError(f"{request.type} is no kind of web address")
    with urllib.request.urlopen(request, timeout=timeout_s) as answer:
        if not 200 <= answer.status < 300:
            raise ValueError(f"the answer was {answer.status}")


def _by_relay(dispatch: Dispatch, timeout_s: float) -> None:
    """`apprise` says only whether it worked; it is imported when somebody uses it."""
    way = dispatch.way
    assert isinstance(way, Relay)
    try:
        import apprise
    except ImportError as error:
        raise ValueError("the library 'apprise' is not installed: install coldside[messages]") from error
    kind = apprise.NotifyType.FAILURE if dispatch.priority is Priority.CRITICAL else apprise.NotifyType.WARNING
    relay = apprise.Apprise()
    if not relay.add(secret(way.file, way.env)):
        raise ValueError("the address is none that the library 'apprise' knows")
    if not relay.notify(title=dispatch.subject, body=dispatch.text, notify_type=kind):
        raise ValueError("the library 'apprise' could not deliver it")


COURIERS: dict[type[Any], Callable[[Dispatch, float], None]] = {
    Mail: _by_mail,
    Webhook: _by_webhook,
    Relay: _by_relay,
}


def _plainly(error: Exception) -> str:
    """Words that show no secret: an address with a token in it stays out of logs and reports."""
    if isinstance(error, urllib.error.HTTPError):
        return f"the answer was {error.code} {error.reason}"
    if isinstance(error, urllib.error.URLError):
        return f"not reached: {error.reason}"
    if isinstance(error, smtplib.SMTPResponseException):
        said = error.smtp_error.decode(errors="replace") if isinstance(error.smtp_error, bytes) else error.smtp_error
        return f"the mail server said {error.smtp_code} {said}"
    if isinstance(error, smtplib.SMTPRecipientsRefused):
        return f"the mail server refused {', '.join(error.recipients)}"
    return f"{type(error).__name__}: {error}"
