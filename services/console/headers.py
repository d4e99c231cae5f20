"""Headers of every response, and how an origin is judged."""

from collections.abc import Iterable, Mapping

from services.console.settings import is_loopback

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
"""RFC 9110, section 9.2.1."""
POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self' 'unsafe-inline' 'unsafe-eval'",  # the page's templates are compiled in the browser
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "font-src 'self' data:",
        "connect-src 'self'",
        "worker-src 'self'",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)
"""What a page may load and whom it may talk to: this server, and nobody else."""
SECURE = (
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"),
    (b"referrer-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"permissions-policy", b"camera=(), microphone=(), geolocation=(), payment=(), usb=()"),
)
Headers = Mapping[str, str]


def plain(raw: Iterable[tuple[bytes, bytes]]) -> dict[str, str]:
    """An ASGI scope's headers; of one that comes twice, the last."""
    return {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in raw}


def comes_from_elsewhere(headers: Headers) -> bool:
    """Whether a browser says that another site's page made it ask (Fetch Metadata, else `Origin` of RFC 6454).

    Programs send neither, and are known by their tokens. Browsers send the first to this machine and over TLS only.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is not None and origin.partition("://")[2].lower() != headers.get("host", "").lower()


def names_this_machine(headers: Headers) -> bool:
    """Whether the host that was asked for is loopback, and nobody passed the request on.

    A page elsewhere whose name was made to point here asks for its own name.
    """
    if any(name in headers for name in ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")):
        return False
    host = headers.get("host", "")
    return is_loopback(host.rpartition(":")[0] if not host.endswith("]") and ":" in host else host)
