"""A certificate made on the spot, so that what travels between phone and bench is encrypted."""

from __future__ import annotations

import ipaddress
import ssl
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from vatwright.errors import InputError
from vatwright.files.atomic import write_bytes_atomically
from vatwright.wording import to_say

if TYPE_CHECKING:
    from cryptography import x509
    from cryptography.hazmat.primitives.asymmetric import ec

GOOD_FOR = timedelta(days=365)
"""Browsers refuse certificates of longer than 398 days (CA/Browser Forum, Baseline Requirements 6.3.2)."""

RENEW = timedelta(days=30)
"""One that ends sooner than this is made anew."""

CERTIFICATE, KEY = "bench.crt", "bench.key"


class BenchCertificate(NamedTuple):
    """Where certificate and key lie, the certificate as PEM text, and its fingerprint."""

    certificate: Path
    key: Path
    text: str
    fingerprint: str


def certificate_for(folder: Path, *, address: str, now: datetime | None = None) -> BenchCertificate:
    """Return the certificate of a bench at an address, the kept one where it still serves.

    Parameters
    ----------
    folder : Path
        Where it is kept; made where it is missing, readable by its owner alone.
    address : str
        The address that phones open.
    now : datetime or None
        The time, else the clock's.

    Raises
    ------
    InputError
        Where the library that makes certificates is not installed, or the folder cannot be written.
    """
    now = now or datetime.now(UTC)
    at, key = folder / CERTIFICATE, folder / KEY
    if not (at.is_file() and key.is_file() and _serves(at.read_bytes(), address, now)):
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        made, secret = _made(address, now)
        key.touch(mode=0o600)
        write_bytes_atomically(key, secret)
        write_bytes_atomically(at, made)
    text = at.read_text(encoding="ascii")
    return BenchCertificate(at, key, text, fingerprint(text))


def fingerprint(text: str) -> str:
    """Return the SHA-256 of a certificate as phones show it: pairs of digits with colons between them."""
    import hashlib

    digits = hashlib.sha256(ssl.PEM_cert_to_DER_cert(text)).hexdigest().upper()
    return ":".join(digits[n : n + 2] for n in range(0, len(digits), 2))


def _serves(content: bytes, address: str, now: datetime) -> bool:
    """Return whether a kept certificate is for this address and good for a while yet."""
    from cryptography import x509

    try:
        kept = x509.load_pem_x509_certificate(content)
        names = kept.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (ValueError, x509.ExtensionNotFound):
        return False
    known = [str(a) for a in names.get_values_for_type(x509.IPAddress)]
    return address in known and kept.not_valid_before_utc <= now <= kept.not_valid_after_utc - RENEW


def _made(address: str, now: datetime) -> tuple[bytes, bytes]:
    """Return a new certificate and its key, as PEM."""
    try:
        from cryptography.hazmat.primitives import serialization
        from cryptography.hazmat.primitives.asymmetric import ec
    except ImportError as missing:
        do = "Install it: pip install 'vatwright[phones]'. Or open the bench with --host 0.0.0.0, unencrypted"
        raise InputError.one(
            "--phones", to_say("needs the library cryptography, which is not installed"), do
        ) from missing
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = _signed(key, address, now)
    plain = serialization.NoEncryption()
    secret = key.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, plain)
    return certificate.public_bytes(serialization.Encoding.PEM), secret


def _signed(key: ec.EllipticCurvePrivateKey, address: str, now: datetime) -> x509.Certificate:
    """Return a certificate for an address, signed by itself and able to be trusted as an authority for itself alone."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "Vatwright bench")])
    places = [x509.IPAddress(ipaddress.ip_address(a)) for a in dict.fromkeys((address, "127.0.0.1"))]
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(hours=1))
        .not_valid_after(now + GOOD_FOR)
        .add_extension(x509.SubjectAlternativeName([*places, x509.DNSName("localhost")]), critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .sign(key, hashes.SHA256())
    )
