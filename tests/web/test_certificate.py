"""The certificate of the bench: what it says, by a library that verifies certificates, and when it is made anew."""

from __future__ import annotations

import http.client
import socket
import ssl
import stat
import threading
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from tests.web.browser import free_port

from vatwright.errors import InputError
from vatwright.interfaces.web.app import make_app
from vatwright.interfaces.web.certificate import certificate_for, fingerprint
from vatwright.interfaces.web.listening import servers_of
from vatwright.interfaces.web.settings import BenchSettings

NOW = datetime(2026, 5, 4, 12, 0, tzinfo=UTC)


def test_it_is_for_this_address_and_no_longer_than_browsers_take(tmp_path):
    """CA/Browser Forum, Baseline Requirements 6.3.2: at most 398 days; RFC 5280, 4.2.1.6: an address as its bytes."""
    made = certificate_for(tmp_path, address="192.0.2.7", now=NOW)
    read = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    assert read.not_valid_after_utc - read.not_valid_before_utc < timedelta(days=398)
    names = read.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert "192.0.2.7" in [str(a) for a in names.get_values_for_type(x509.IPAddress)]
    assert made.fingerprint.replace(":", "") == read.fingerprint(hashes.SHA256()).hex().upper()
    assert stat.S_IMODE(made.key.stat().st_mode) == 0o600


def test_it_is_kept_until_it_ends_or_the_address_is_another(tmp_path):
    first = certificate_for(tmp_path, address="192.0.2.7", now=NOW)
    assert certificate_for(tmp_path, address="192.0.2.7", now=NOW + timedelta(days=300)).text == first.text
    assert certificate_for(tmp_path, address="192.0.2.8", now=NOW).text != first.text
    second = certificate_for(tmp_path, address="192.0.2.8", now=NOW)
    assert certificate_for(tmp_path, address="192.0.2.8", now=NOW + timedelta(days=340)).text != second.text
    (tmp_path / "bench.crt").write_bytes(b"no certificate")
    assert fingerprint(certificate_for(tmp_path, address="192.0.2.8", now=NOW).text)


def test_without_the_library_it_says_what_to_install(tmp_path, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "cryptography.hazmat.primitives.asymmetric", None)
    with pytest.raises(InputError, match="pip install"):
        certificate_for(tmp_path / "none", address="192.0.2.7", now=NOW)


def test_the_desk_is_spoken_to_plain_and_the_phones_encrypted(tmp_path, monkeypatch):
    """A client that trusts the certificate alone completes the handshake (RFC 8446) and is asked to pair."""
    monkeypatch.setenv("VATWRIGHT_STORE", str(tmp_path / "notebook.sqlite"))
    made = certificate_for(tmp_path, address="127.0.0.1")
    settings = BenchSettings(
        port=free_port(), secure_port=free_port(), certificate=made.text, fingerprint=made.fingerprint,
        certificate_file=str(made.certificate), key_file=str(made.key),
    )  # fmt: skip
    servers = servers_of(make_app(settings), settings)
    threads = [threading.Thread(target=s.run, daemon=True) for s in servers]
    for server, thread in zip(servers, threads, strict=True):
        thread.start()
        while not server.started and thread.is_alive():
            thread.join(0.05)
    try:
        with closing(http.client.HTTPConnection("127.0.0.1", settings.port, timeout=30)) as plain:
            plain.request("GET", "/run")
            assert plain.getresponse().status == 200
        trusting = ssl.create_default_context(cadata=made.text)
        with closing(
            http.client.HTTPSConnection("127.0.0.1", settings.secure_port, context=trusting, timeout=30)
        ) as secure:
            secure.request("GET", "/run", headers={"via": "1.1 test"})
            assert secure.getresponse().status == 403
        with socket.create_connection(("127.0.0.1", settings.secure_port)) as raw:
            raw.sendall(b"GET /run HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
            assert b"200" not in raw.recv(64)
    finally:
        for server, thread in zip(servers, threads, strict=True):
            server.should_exit = True
            thread.join(10.0)
