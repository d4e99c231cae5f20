"""An authority of the site's own, and the certificates it makes. Keys are of the curve P-256 (RFC 5480)."""

import ipaddress
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

AUTHORITY_LASTS = timedelta(days=7300)
LASTS = timedelta(days=825)
RENEWED_WITHIN = timedelta(days=90)
"""A certificate with less left is made anew, so that a look every month or two is enough."""
BACKDATED = timedelta(days=1)
"""A small computer's clock may be behind when it starts."""


class NoAuthority(ValueError):
    """The authority's files do not go together; the text says what to do."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A certificate and its private key, both PEM."""

    certificate: bytes
    key: bytes


class Authority:
    """Signs certificates. Raises NoAuthority for files that are none or do not belong to each other."""

    def __init__(self, pair: Pair) -> None:
        self.pair = pair
        try:
            self._certificate = x509.load_pem_x509_certificate(pair.certificate)
            key = serialization.load_pem_private_key(pair.key, None)
        except ValueError as error:
            raise NoAuthority("the authority's certificate or key is none; bring both back from a backup") from error
        if not isinstance(key, ec.EllipticCurvePrivateKey) or key.public_key() != self._certificate.public_key():
            raise NoAuthority("the authority's key is not that of its certificate; bring both back from one backup")
        self._key = key

    def issue(self, name: str, hosts: Iterable[str], now: datetime, *, server: bool) -> Pair:
        """A certificate for a server under these host names and addresses, or for a client called `name`."""
        key = ec.generate_private_key(ec.SECP256R1())
        usage = ExtendedKeyUsageOID.SERVER_AUTH if server else ExtendedKeyUsageOID.CLIENT_AUTH
        builder = _builder(name, self._certificate.subject, key, now, min(now + LASTS, self._end))
        builder = builder.add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        builder = builder.add_extension(_key_usage(signs_certificates=False), critical=True)
        builder = builder.add_extension(x509.ExtendedKeyUsage([usage]), critical=False)
        issuer = x509.AuthorityKeyIdentifier.from_issuer_public_key(self._key.public_key())
        builder = builder.add_extension(issuer, critical=False)
        names = [_general_name(host) for host in hosts]
        if names:
            builder = builder.add_extension(x509.SubjectAlternativeName(names), critical=False)
        return _pair(builder.sign(self._key, hashes.SHA256()), key)

    def vouches_for(self, certificate: bytes, now: datetime) -> bool:
        """Whether it signed this one, and there is time enough left."""
        try:
            found = x509.load_pem_x509_certificate(certificate)
            found.verify_directly_issued_by(self._certificate)
        except (ValueError, TypeError, InvalidSignature):
            return False
        return found.not_valid_after_utc - now > min(RENEWED_WITHIN, self._end - now - BACKDATED)

    @property
    def _end(self) -> datetime:
        return self._certificate.not_valid_after_utc


def new_authority(site: str, now: datetime) -> Pair:
    """A certificate that signs itself, for one site."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"coldside authority of {site}")])
    builder = _builder(f"coldside authority of {site}", name, key, now, now + AUTHORITY_LASTS)
    builder = builder.add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
    builder = builder.add_extension(_key_usage(signs_certificates=True), critical=True)
    return _pair(builder.sign(key, hashes.SHA256()), key)


def hosts_of(certificate: bytes) -> tuple[str, ...]:
    """The names and addresses that a server's certificate is for; none when it is no certificate."""
    try:
        found = x509.load_pem_x509_certificate(certificate)
        names = found.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, x509.ExtensionNotFound):
        return ()
    return tuple(str(one.value) for one in names)


def _builder(
    name: str, issuer: x509.Name, key: ec.EllipticCurvePrivateKey, now: datetime, end: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)]))
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACKDATED)
        .not_valid_after(end)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
    )


def _key_usage(*, signs_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not signs_certificates,
        key_cert_sign=signs_certificates,
        crl_sign=signs_certificates,
        content_commitment=False,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        encipher_only=False,
        decipher_only=False,
    )


def _pair(certificate: x509.Certificate, key: ec.EllipticCurvePrivateKey) -> Pair:
    pem = serialization.Encoding.PEM
    form, secret = serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
    return Pair(certificate.public_bytes(pem), key.private_bytes(pem, form, secret))


def _general_name(host: str) -> x509.GeneralName:
    try:
        return x509.IPAddress(ipaddress.ip_address(host))
    except ValueError:
        return x509.DNSName(host)
