"""Signed, expiring tokens that stand in a message's link, so that it can be acknowledged from a phone.

A token is `payload.signature`, both base64url (RFC 4648, section 5) without padding; the signature is HMAC-SHA256
(RFC 2104, FIPS 198-1) over the payload. Whoever shows a page for it acknowledges on POST alone: GET is safe (RFC 9110,
section 9.2.1), and robots that preview links send nothing else.
"""

import base64
import binascii
import hashlib
import hmac
from datetime import UTC, datetime, timedelta

from schemas.base import Instant, Model, Name

SHORTEST_KEY = 32
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class BadToken(ValueError):
    """A token that cannot be used; the text says why, for the person who followed the link."""


class Claim(Model):
    """What a token says: this person may acknowledge this occurrence of this alarm until then."""

    chamber: Name
    name: Name
    raised: Instant
    person: Name
    expires: Instant


def sign(claim: Claim, key: bytes) -> str:
    """The token for a claim. Raises ValueError for a key shorter than 32 bytes."""
    if len(key) < SHORTEST_KEY:
        raise ValueError(f"the key has {len(key)} bytes; it must have {SHORTEST_KEY} or more")
    fields = (claim.chamber, claim.name, _ms(claim.raised), claim.person, _ms(claim.expires))
    payload = _encoded("|".join(map(str, fields)).encode())
    return f"{payload}.{_signature(payload, key)}"


def verify(token: str, key: bytes, now: datetime) -> Claim:
    """The claim of a token that was signed with this key and has not expired. Raises BadToken."""
    payload, _, signature = token.partition(".")
    if not hmac.compare_digest(signature.encode(), _signature(payload, key).encode()):
        raise BadToken("this link was not made here, or is not whole")
    claim = read(token)
    if now >= claim.expires:
        raise BadToken("this link has expired; look at the alarm where alarms are listed")
    return claim


def read(token: str) -> Claim:
    """What a token claims, believed by nobody before `verify`: to show what a link is about. Raises BadToken."""
    try:
        chamber, name, raised, person, expires = _decoded(token.partition(".")[0]).decode().split("|")
        return Claim(chamber=chamber, name=name, raised=_moment(raised), person=person, expires=_moment(expires))
    except (ValueError, binascii.Error, OverflowError) as error:
        raise BadToken("this link is not whole") from error


def _ms(moment: datetime) -> int:
    return round((moment - EPOCH) / timedelta(milliseconds=1))


def _moment(written: str) -> datetime:
    return EPOCH + timedelta(milliseconds=int(written))


def _signature(payload: str, key: bytes) -> str:
    return _encoded(hmac.digest(key, payload.encode(), hashlib.sha256))


def _encoded(raw: bytes) -> str:
    return base64.urlsafe_b64encode(raw).rstrip(b"=").decode()


def _decoded(text: str) -> bytes:
    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
