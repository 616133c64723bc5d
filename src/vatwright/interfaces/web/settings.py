"""How a bench is opened: where it listens, and whose shop it shows."""

from __future__ import annotations

import ipaddress
import socket
import time
from collections.abc import Callable

from attrs import frozen

LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")
ALL_ADDRESSES = ("0.0.0.0", "::")  # noqa: S104 - compared with, never bound without being asked for
UNROUTED = "192.0.2.1"
"""An address that is nobody's (RFC 5737, TEST-NET-1): asking the way to it sends nothing and names the network card in use."""


@frozen(kw_only=True)
class BenchSettings:
    """What ``vatwright serve`` was told.

    Parameters
    ----------
    host : str
        Address to listen on; loopback unless asked.
    port : int
        Port to listen on.
    shop : str or None
        Shop file; None opens the demo workshop.
    store : str or None
        Store that holds the shop, where no file is named.
    clock : callable
        Seconds that never run backwards [s].
    now : callable
        The time of the world (seconds since 1970, UTC) [s].
    token_s : float
        How long a pairing code holds [s].
    secure_port : int or None
        Port on which phones are spoken to encrypted; None for plain.
    certificate : str
        The certificate shown there, as PEM text; empty for plain.
    fingerprint : str
        Its fingerprint, as shown to compare; empty for plain.
    certificate_file, key_file : str
        Where certificate and key lie; empty for plain.
    """

    host: str = "127.0.0.1"
    port: int = 8423
    shop: str | None = None
    store: str | None = None
    clock: Callable[[], float] = time.monotonic
    now: Callable[[], float] = time.time
    token_s: float = 300.0
    secure_port: int | None = None
    certificate: str = ""
    fingerprint: str = ""
    certificate_file: str = ""
    key_file: str = ""

    @property
    def wide(self) -> bool:
        """Whether anything beyond this computer can reach the bench."""
        return self.secure_port is not None or (self.host not in LOOPBACK_NAMES and not is_loopback(self.host))

    @property
    def phone_address(self) -> str:
        """Where a phone on the local network finds the bench, without a slash at the end."""
        if self.secure_port is not None:
            return f"https://{bracketed(own_address())}:{self.secure_port}"
        host = own_address() if self.host in ALL_ADDRESSES else self.host
        return f"http://{bracketed(host)}:{self.port}"


def bracketed(host: str) -> str:
    """Return a host as an address has it.

    Examples
    --------
    >>> bracketed("::1"), bracketed("192.0.2.7")
    ('[::1]', '192.0.2.7')
    """
    return f"[{host}]" if ":" in host else host


def is_loopback(host: str) -> bool:
    """Return whether an address is this computer's own.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("::ffff:127.0.0.1"), is_loopback("192.0.2.7"), is_loopback("desk")
    (True, True, False, False)
    """
    found = address_of(host)
    if found is None:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return bool((mapped or found).is_loopback)


def address_of(host: str) -> ipaddress.IPv4Address | ipaddress.IPv6Address | None:
    """Return the address that a text writes out, None for a name."""
    try:
        return ipaddress.ip_address(host)
    except ValueError:
        return None


def own_address() -> str:
    """Return this computer's address on the local network; loopback where it has none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect((UNROUTED, 9))
        except OSError:
            return "127.0.0.1"
        return str(probe.getsockname()[0])
