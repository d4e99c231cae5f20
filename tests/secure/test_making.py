"""Secrets made, kept, renewed and taken away."""

import stat
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.x509.verification import PolicyBuilder, Store

from schemas.plant import Plant
from services.secure.authority import NoAuthority, hosts_of
from services.secure.making import NoSuchAccount, Wishes
from tests.secure.site import NOW, PLANT, plant_in, secured


def contents(folder: Path) -> dict[Path, bytes]:
    """Every file below a folder."""
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def changed(before: dict[Path, bytes], after: dict[Path, bytes]) -> set[str]:
    """The files that differ, or are there only once."""
    return {str(path) for path in before.keys() | after.keys() if before.get(path) != after.get(path)}


def test_second_time_changes_nothing(tmp_path: Path, shed: Plant) -> None:
    secured(tmp_path / "s", shed, now=NOW)
    before = contents(tmp_path / "s")
    again = secured(tmp_path / "s", shed, now=NOW + timedelta(days=30))
    assert not changed(before, contents(tmp_path / "s"))
    assert (again.changed, again.made, again.gone) == (False, (), ())


def test_nobody_but_the_owner_may_look_at_any_file_or_folder(tmp_path: Path, shed: Plant) -> None:
    secured(tmp_path / "s", shed, now=NOW)
    modes = {path: stat.S_IMODE(path.stat().st_mode) for path in [tmp_path / "s", *(tmp_path / "s").rglob("*")]}
    assert all(mode == (0o700 if path.is_dir() else 0o600) for path, mode in modes.items()), modes


def test_mode_that_was_opened_is_closed_again(tmp_path: Path, shed: Plant) -> None:
    secured(tmp_path / "s", shed, now=NOW)
    key = tmp_path / "s/authority/key.pem"
    key.chmod(0o644)
    secured(tmp_path / "s", shed, now=NOW)
    assert stat.S_IMODE(key.stat().st_mode) == 0o600


def test_rotated_account_gets_a_new_password_and_certificate_and_others_keep_theirs(
    tmp_path: Path, shed: Plant
) -> None:
    secured(tmp_path / "s", shed, now=NOW)
    before = contents(tmp_path / "s")
    outcome = secured(tmp_path / "s", shed, Wishes(rotate=frozenset({"bridge"})), NOW)
    accounts = {one for one in changed(before, contents(tmp_path / "s")) if one.startswith("accounts/")}
    assert accounts == {f"accounts/bridge/{name}" for name in ("password", "certificate.pem", "key.pem")}
    assert outcome.made == ("bridge",)


def test_rotation_changes_one_line_of_the_password_file(tmp_path: Path, shed: Plant) -> None:
    secured(tmp_path / "s", shed, now=NOW)
    before = (tmp_path / "s/broker/passwords").read_text().splitlines()
    secured(tmp_path / "s", shed, Wishes(rotate=frozenset({"device-keg-board"})), NOW)
    after = (tmp_path / "s/broker/passwords").read_text().splitlines()
    assert [one.split(":")[0] for one, other in zip(before, after, strict=True) if one != other] == ["device-keg-board"]


def test_revoked_account_is_gone_from_both_brokers_until_it_is_admitted_again(tmp_path: Path, shed: Plant) -> None:
    secured(tmp_path / "s", shed, now=NOW)
    old = (tmp_path / "s/accounts/device-keg-board/password").read_text()
    for wishes in (Wishes(revoke=frozenset({"device-keg-board"})), Wishes()):
        outcome = secured(tmp_path / "s", shed, wishes, NOW)
        assert outcome.revoked == ("device-keg-board",)
        assert not any(
            b"keg-board" in one for path, one in contents(tmp_path / "s").items() if path.name != "revoked.json"
        )
    secured(tmp_path / "s", shed, Wishes(readmit=frozenset({"device-keg-board"})), NOW)
    assert (tmp_path / "s/accounts/device-keg-board/password").read_text() != old


def test_device_that_left_the_plant_loses_its_account(tmp_path: Path, shed: Plant) -> None:
    secured(tmp_path / "s", shed, now=NOW)
    without = plant_in(tmp_path, PLANT[: PLANT.index("  keg:")])
    assert secured(tmp_path / "s", without, now=NOW).gone == ("device-keg-board",)


@pytest.mark.parametrize("field", ["rotate", "revoke", "readmit"])
def test_name_that_nobody_has_is_refused_and_changes_nothing(tmp_path: Path, shed: Plant, field: str) -> None:
    secured(tmp_path / "s", shed, now=NOW)
    before = contents(tmp_path / "s")
    with pytest.raises(NoSuchAccount, match="no account is called bridgee; there are bridge"):
        secured(tmp_path / "s", shed, Wishes(**{field: frozenset({"bridgee"})}), NOW)
    assert not changed(before, contents(tmp_path / "s"))


def test_host_named_once_stays_in_the_brokers_certificate(tmp_path: Path, shed: Plant) -> None:
    secured(tmp_path / "s", shed, Wishes(hosts=("barn.example", "192.0.2.7")), NOW)
    secured(tmp_path / "s", shed, now=NOW)
    hosts = hosts_of((tmp_path / "s/broker/certificate.pem").read_bytes())
    assert {"localhost", "broker", "barn.example", "192.0.2.7"} <= set(hosts)


def test_certificates_that_end_soon_are_renewed_and_passwords_kept(tmp_path: Path, shed: Plant) -> None:
    secured(tmp_path / "s", shed, now=NOW)
    before = contents(tmp_path / "s")
    secured(tmp_path / "s", shed, now=NOW + timedelta(days=800))
    assert {Path(one).name for one in changed(before, contents(tmp_path / "s"))} == {"certificate.pem", "key.pem"}


def test_brokers_certificate_is_sound_by_the_rules_of_the_web(tmp_path: Path, shed: Plant) -> None:
    """RFC 5280 as the library `cryptography` checks it, which knows nothing of how the certificate was made."""
    secured(tmp_path / "s", shed, Wishes(hosts=("barn.example",)), NOW)
    authority = x509.load_pem_x509_certificate((tmp_path / "s/ca.pem").read_bytes())
    certificate = x509.load_pem_x509_certificate((tmp_path / "s/broker/certificate.pem").read_bytes())
    verifier = PolicyBuilder().store(Store([authority])).time(NOW).build_server_verifier(x509.DNSName("barn.example"))
    assert verifier.verify(certificate, [])


def test_lost_key_of_the_authority_is_told_with_the_remedy_and_nothing_is_made(tmp_path: Path, shed: Plant) -> None:
    secured(tmp_path / "s", shed, now=NOW)
    (tmp_path / "s/authority/key.pem").unlink()
    before = contents(tmp_path / "s")
    with pytest.raises(NoAuthority, match="bring the key back from a backup"):
        secured(tmp_path / "s", shed, Wishes(rotate=frozenset({"bridge"})), NOW)
    assert not changed(before, contents(tmp_path / "s"))


def test_key_of_another_authority_is_told(tmp_path: Path, shed: Plant) -> None:
    for name in ("one", "two"):
        secured(tmp_path / name, shed, now=NOW)
    (tmp_path / "one/authority/key.pem").write_bytes((tmp_path / "two/authority/key.pem").read_bytes())
    with pytest.raises(NoAuthority, match="not that of its certificate"):
        secured(tmp_path / "one", shed, now=NOW)
