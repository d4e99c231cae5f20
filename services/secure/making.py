"""All of a site's secrets, made once and brought up to date: what fits is kept, what does not is made anew."""

import base64
import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from schemas.plant import Plant
from services.secure import mosquitto, nats
from services.secure.authority import Authority, NoAuthority, Pair, hosts_of, new_authority
from services.secure.rights import CHECK, Account, Holder, accounts
from services.secure.vault import Vault

HOSTS = ("localhost", "127.0.0.1", "broker")
"""Under which a broker is always reached: on its own machine, and by its name among containers."""
PASSWORD_BYTES = 24
CERTIFIED = (Holder.SERVICE, Holder.PERSON)
STORE_SECRETS = ("influx-token", "influx-password", "grafana-password")
REVOKED = "revoked.json"
HASHES = "embedded/hashes.json"
Draw = Callable[[int], bytes]


class NoSuchAccount(ValueError):
    """A name that no account of this plant has; the text says which there are."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wishes:
    """What is to change besides what the plant file asks for."""

    hosts: tuple[str, ...] = ()
    rotate: frozenset[str] = frozenset()
    revoke: frozenset[str] = frozenset()
    readmit: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """Which accounts were made or changed, which stayed as they were, and which are let in no more."""

    accounts: tuple[Account, ...]
    made: tuple[str, ...]
    revoked: tuple[str, ...]
    gone: tuple[str, ...]
    changed: bool
    hosts: tuple[str, ...]


class Smith:
    """Makes and renews. Raises NoAuthority, NotSeparable, NoSuchAccount and OSError, before anything is half done."""

    def __init__(self, vault: Vault, now: datetime, draw: Draw) -> None:
        self._vault = vault
        self._now = now
        self._draw = draw
        self._changed = False
        self._made: list[str] = []

    def make(self, plant: Plant, wishes: Wishes) -> Outcome:
        """Everything, as the plant and the wishes have it."""
        every = accounts(plant)
        _refuse_unknown(every, wishes)
        revoked = self._revoked(wishes)
        admitted = tuple(one for one in every if one.name not in revoked)
        authority = self._authority(plant.site.name)
        hosts = self._broker_certificate(authority, wishes)
        passwords = {one.name: self._account(one, authority, wishes) for one in admitted}
        gone = self._forget_others(admitted)
        self._write_broker(admitted, passwords)
        for name in STORE_SECRETS:
            self._put(f"store/{name}", self._vault.read(f"store/{name}") or self._secret())
        self._put(REVOKED, json.dumps(sorted(revoked)))
        return Outcome(
            accounts=admitted,
            made=tuple(self._made),
            revoked=tuple(sorted(revoked)),
            gone=gone,
            changed=self._changed,
            hosts=hosts,
        )

    def _authority(self, site: str) -> Authority:
        certificate, key = self._vault.read("ca.pem"), self._vault.read("authority/key.pem")
        if certificate and not key:
            raise NoAuthority(
                f"{self._vault.folder}/authority/key.pem is missing, and ca.pem is there: bring the key back from a "
                "backup, or move the whole folder away and give every device its new files"
            )
        pair = Pair(certificate, key) if certificate else new_authority(site, self._now)
        authority = Authority(pair)
        self._put("authority/key.pem", pair.key)
        self._put("ca.pem", pair.certificate)
        return authority

    def _broker_certificate(self, authority: Authority, wishes: Wishes) -> tuple[str, ...]:
        before = self._vault.read("broker/certificate.pem")
        known = hosts_of(before)
        hosts = tuple(dict.fromkeys((*known, *HOSTS, *wishes.hosts)))
        renew = "broker" in wishes.rotate or hosts != known or not authority.vouches_for(before, self._now)
        self._certify("broker", "broker", authority, hosts, renew=renew)
        self._put("broker/ca.pem", authority.pair.certificate)
        return hosts

    def _account(self, account: Account, authority: Authority, wishes: Wishes) -> str:
        """Its password, after its folder was brought up to date."""
        folder = f"accounts/{account.name}"
        kept = b"" if account.name in wishes.rotate else self._vault.read(f"{folder}/password").strip()
        password = kept or self._secret()
        if not kept:
            self._made.append(account.name)
        self._put(f"{folder}/password", password)
        self._put(f"{folder}/ca.pem", authority.pair.certificate)
        if account.holder in CERTIFIED:
            sound = authority.vouches_for(self._vault.read(f"{folder}/certificate.pem"), self._now)
            self._certify(folder, account.name, authority, (), renew=not kept or not sound)
        return password.decode()

    def _certify(self, folder: str, name: str, authority: Authority, hosts: Iterable[str], *, renew: bool) -> None:
        before = Pair(self._vault.read(f"{folder}/certificate.pem"), self._vault.read(f"{folder}/key.pem"))
        if renew or not before.key:
            before = authority.issue(name, hosts, self._now, server=folder == "broker")
        self._put(f"{folder}/key.pem", before.key)
        self._put(f"{folder}/certificate.pem", before.certificate)

    def _write_broker(self, admitted: tuple[Account, ...], passwords: Mapping[str, str]) -> None:
        kept = self._vault.read("broker/passwords").decode()
        self._put("broker/passwords", mosquitto.password_file(passwords, kept, self._draw(PASSWORD_BYTES)))
        self._put("broker/access", mosquitto.access_list(admitted))
        self._put("broker/mosquitto.conf", mosquitto.configuration(mosquitto.Places()))
        if CHECK in passwords:
            self._put("broker/check/mosquitto_sub", mosquitto.check_options(passwords[CHECK]))
        hashes = nats.hashes(passwords, json.loads(self._vault.read(HASHES) or b"{}"))
        self._put(HASHES, json.dumps(hashes, indent=1))
        self._put("embedded/accounts.conf", nats.authorization(admitted, hashes))

    def _revoked(self, wishes: Wishes) -> frozenset[str]:
        before = frozenset(json.loads(self._vault.read(REVOKED) or b"[]"))
        return (before | wishes.revoke) - wishes.readmit

    def _forget_others(self, admitted: tuple[Account, ...]) -> tuple[str, ...]:
        names = {one.name for one in admitted}
        gone = tuple(one for one in self._vault.folders("accounts") if one not in names)
        for name in gone:
            self._changed = True
            self._vault.forget(f"accounts/{name}")
        return gone

    def _secret(self) -> bytes:
        return base64.urlsafe_b64encode(self._draw(PASSWORD_BYTES))

    def _put(self, name: str, content: bytes | str) -> None:
        self._changed = self._vault.write(name, content) or self._changed


def _refuse_unknown(every: tuple[Account, ...], wishes: Wishes) -> None:
    names = {one.name for one in every}
    unknown = ((wishes.rotate - {"broker"}) | wishes.revoke | wishes.readmit) - names
    if unknown:
        raise NoSuchAccount(f"no account is called {', '.join(sorted(unknown))}; there are {', '.join(sorted(names))}")
