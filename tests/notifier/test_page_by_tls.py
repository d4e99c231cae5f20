"""The page for links by TLS: as a client sees it that trusts one authority and knows nothing of the page."""

import logging
import socket
import ssl
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from schemas.people import AcknowledgeLink
from schemas.plant_file import PlantFileError, loads
from services.notifier.dispatch import Answer
from services.notifier.links import sign
from services.notifier.page import Certificate, Page
from services.notifier.shell import Shell
from services.runtime.clock import SystemClock
from services.secure.authority import Authority, Pair, new_authority
from tests.notifier.bench import site_with
from tests.notifier.test_links import CLAIM, KEY

NOW = SystemClock().now()
"""Certificates are judged by the computer's own clock."""


class Files:
    """A certificate and a key as a plant file names them, and who vouches for them."""

    def __init__(self, folder: Path) -> None:
        self._authority = new_authority("shed", NOW)
        self.certificate, self.key, self.ca = folder / "page.pem", folder / "page.key", folder / "ca.pem"
        self.ca.write_bytes(self._authority.certificate)
        self.renew()

    def renew(self) -> bytes:
        pair: Pair = Authority(self._authority).issue("page", ["127.0.0.1"], NOW, server=True)
        for file, content in ((self.certificate, pair.certificate), (self.key, pair.key)):
            fresh = file.with_suffix(".new")
            fresh.write_bytes(content)
            fresh.replace(file)
        return pair.certificate

    def trust(self, highest: ssl.TLSVersion = ssl.TLSVersion.MAXIMUM_SUPPORTED) -> ssl.SSLContext:
        context = ssl.create_default_context(cafile=str(self.ca))
        context.maximum_version = highest
        return context


@pytest.fixture
def files(tmp_path):
    return Files(tmp_path)


@pytest.fixture
def asked():
    return []


@pytest.fixture
def page(files, asked):
    def acknowledge(token: str) -> Answer:
        asked.append(token)
        return Answer(accepted=True, text="Thank you")

    served = Page("127.0.0.1:0", acknowledge, Certificate(files.certificate, files.key))
    yield served
    served.close()


def visit(page, context, path="/acknowledge/abc.def", data=None):
    url = f"https://127.0.0.1:{page.port}{path}"
    with urllib.request.urlopen(url, data=data, timeout=30, context=context) as answer:
        return answer.read().decode()


def shown_certificate(page, context):
    with (
        socket.create_connection(("127.0.0.1", page.port), timeout=30) as line,
        context.wrap_socket(line, server_hostname="127.0.0.1") as secure,
    ):
        return ssl.DER_cert_to_PEM_cert(secure.getpeercert(binary_form=True))


def test_a_client_that_trusts_the_authority_sees_and_acknowledges(page, files, asked):
    assert "relay-welded in left" in visit(page, files.trust(), f"/acknowledge/{sign(CLAIM, KEY)}")
    assert asked == []
    assert "Thank you" in visit(page, files.trust(), data=b"")
    assert asked == ["abc.def"]


def test_a_client_that_trusts_nobody_goes_no_further(page):
    with pytest.raises(urllib.error.URLError, match="certificate verify failed"):
        visit(page, ssl.create_default_context())


def test_nothing_is_answered_in_the_clear(page, asked):
    with pytest.raises((urllib.error.URLError, ConnectionError)):
        urllib.request.urlopen(f"http://127.0.0.1:{page.port}/acknowledge/abc.def", data=b"", timeout=30)
    assert asked == []


def test_tls_older_than_1_2_is_refused(files):
    """RFC 8996: versions 1.0 and 1.1 must not be used."""
    assert Certificate(files.certificate, files.key).context().minimum_version is ssl.TLSVersion.TLSv1_2


@pytest.mark.parametrize("version", [ssl.TLSVersion.TLSv1_2, ssl.TLSVersion.TLSv1_3])
def test_both_versions_in_use_are_served(page, files, version):
    assert "Thank you" in visit(page, files.trust(version), data=b"")


def test_a_visitor_who_never_shakes_hands_keeps_no_other_waiting(page, files):
    with socket.create_connection(("127.0.0.1", page.port), timeout=30):
        assert "Thank you" in visit(page, files.trust(), data=b"")


def test_a_renewed_certificate_is_shown_to_the_next_visitor(page, files):
    before = shown_certificate(page, files.trust())
    renewed = files.renew().decode()
    after = shown_certificate(page, files.trust())
    assert before not in renewed
    assert after in renewed


def test_a_certificate_that_was_spoilt_does_not_take_the_page_down(page, files):
    files.certificate.write_text("half a certificate")
    assert "Thank you" in visit(page, files.trust(), data=b"")


def shell_with(tmp_path, **link):
    rules = {"link": {"base": "https://shed.example.org", "serve": "127.0.0.1:0", **link}}
    shell = Shell(site_with({}, rules), tmp_path)
    shell.build(None, NOW)
    return shell


def test_the_notifier_serves_by_tls_what_its_plant_file_names(tmp_path, files):
    shell = shell_with(tmp_path, certificate_file=str(files.certificate), certificate_key_file=str(files.key))
    try:
        assert "relay-welded in left" in visit(shell.page, files.trust(), f"/acknowledge/{sign(CLAIM, KEY)}")
    finally:
        shell.close()


@pytest.mark.parametrize("missing", ["certificate", "key"])
def test_without_a_certificate_that_can_be_read_there_is_no_page_rather_than_a_plain_one(
    tmp_path, files, missing, caplog
):
    getattr(files, missing).unlink()
    with caplog.at_level(logging.ERROR):
        shell = shell_with(tmp_path, certificate_file=str(files.certificate), certificate_key_file=str(files.key))
    assert shell.page is None
    assert "no page for links" in caplog.text
    shell.close()


@pytest.mark.parametrize(
    ("link", "words"),
    [
        ("serve: '0.0.0.0:8443', certificate_file: a.pem", "needs both"),
        ("certificate_file: a.pem, certificate_key_file: a.key", "no page to serve"),
    ],
)
def test_half_a_certificate_in_the_plant_file_is_refused_with_the_remedy(link, words):
    chamber = "{left: {kind: fridge, probes: {beer: {measures: temperature, from: {simulated: true}}}}}"
    text = f"site: {{name: shed}}\nnotifier: {{link: {{base: 'https://x.org', {link}}}}}\nchambers: {chamber}\n"
    with pytest.raises(PlantFileError, match=words):
        loads(text, "shed.yaml")


def test_a_certificate_behind_an_address_that_says_http_is_refused():
    with pytest.raises(ValueError, match="write 'https:'"):
        AcknowledgeLink(base="http://x.org", serve="0.0.0.0:1", certificate_file="a", certificate_key_file="b")
