"""The doors of the bench: who may come in, by what name, with how much, and what every answer carries.

Plain ASGI, so that nothing behind it can be reached around it.
"""

from __future__ import annotations

from collections.abc import Callable
from http.cookies import CookieError, SimpleCookie
from typing import NamedTuple
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.settings import address_of, is_loopback
from vatwright.interfaces.web.uploads import MOST_BYTES
from vatwright.wording import ENGLISH, best_language, language

SAFE_METHODS = ("GET", "HEAD", "OPTIONS")
SIMPLE_TYPES = ("application/x-www-form-urlencoded", "multipart/form-data", "text/plain", "")
"""What a page of somebody else may post without asking first (WHATWG Fetch, "no-CORS-safelisted request-header")."""

SMALL_BODY = 512 * 1024
LARGE_BODIES = ("/carry/parts", "/fleet/parts", "/api/v1/files")
"""Where part files are handed in."""

PHOTO_BODIES = ("/notebook/note",)
"""Where a picture may come along."""

EXPORT_BODIES = ("/shop/import", "/api/v1/notebook/import")
"""Where a whole notebook is taken in."""

MOST_PHOTO_BYTES = 12 * 1024 * 1024
MULTIPART_ROOM = 1024 * 1024
MOST_ACCEPTED = 500
"""Characters of an Accept-Language field that are read: no browser sends more; our own choice."""

LANGUAGE_COOKIE = "vatwright_language"
"""What this browser's reader chose to read in."""

FOR_PROGRAMS = "/api/"
"""Where programs ask: what they get is English whoever reads it in the end."""

OPEN_TO_ALL = ("/static/", "/pair/")
RELAYED = ("forwarded", "x-forwarded-for", "x-real-ip", "via")
"""A request that was handed on may come from anywhere, whatever its address says."""

POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'none'"
)
ANSWERED = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # Not "no-referrer": with that a browser names no origin when a form of ours is posted (WHATWG Fetch).
    "referrer-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class Visitor(NamedTuple):
    """Who asks: the secret in their cookie, whether they sit at the desk, and from where."""

    secret: str
    at_desk: bool
    address: str


class TooLarge(HTTPException):
    """More came than is taken."""

    def __init__(self) -> None:
        super().__init__(413, "This is larger than the bench takes. Simplify the part, or hand in fewer at once.")


class Refusal(NamedTuple):
    """Why a request goes no further."""

    status: int
    detail: str


Refuser = Callable[[Scope, int, str], Response]


class Doors:
    """Lets requests in and puts the same headers on every answer."""

    def __init__(self, app: ASGIApp, *, desk: Desk, refuse: Refuser) -> None:
        self._app, self._desk, self._refuse = app, desk, refuse

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Handle one connection."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return  # no page of ours opens any other kind of connection
        language.set(_language_of(scope))
        sending = _with_headers(send, scope)
        visitor = _visitor(scope, cookie_name(self._desk.settings.port))
        scope["visitor"] = visitor
        refusal = self._why_not(scope, visitor)
        if refusal is not None:
            await self._refuse(scope, *refusal)(scope, receive, sending)
            return
        await self._app(scope, _bounded(receive, body_limit(scope["path"])), sending)

    def _why_not(self, scope: Scope, visitor: Visitor) -> Refusal | None:
        headers = Headers(scope=scope)
        if not self._goes_by(headers.get("host", "")):
            return Refusal(421, "This bench does not go by that name: open it by its number, such as 127.0.0.1.")
        paired = visitor.at_desk or self._desk.pairing.paired(visitor.secret)
        if not paired and not scope["path"].startswith(OPEN_TO_ALL):
            return Refusal(
                403, "This device is not paired with the bench. Scan the desk's code, or type it at /pair/here."
            )
        if scope["method"] not in SAFE_METHODS and not _from_our_own(headers, scope.get("scheme", "http")):
            return Refusal(403, "This came from a page that is not the bench's own.")
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length[:20]) > body_limit(scope["path"]):
            return Refusal(413, TooLarge().detail)
        return None

    def _goes_by(self, host: str) -> bool:
        """Only a name can be made to point elsewhere, so numbers pass and names are known ones (DNS rebinding)."""
        try:
            name = urlsplit(f"//{host}").hostname or ""
        except ValueError:
            return False
        return address_of(name) is not None or name in {"localhost", self._desk.settings.host.lower()}


def cookie_name(port: int) -> str:
    """Return the name of the cookie; cookies know no ports, so the name does."""
    return f"bench_{port}"


def body_limit(path: str) -> int:
    """Return how many bytes a request may bring."""
    if path.startswith(PHOTO_BODIES):
        return MOST_PHOTO_BYTES + MULTIPART_ROOM
    parts = path == "/stand" or (path.startswith("/carry/") and path.endswith("/parts"))
    large = parts or path.startswith((*LARGE_BODIES, *EXPORT_BODIES))
    return MOST_BYTES + MULTIPART_ROOM if large else SMALL_BODY


def is_simple(headers: Headers) -> bool:
    """Return whether a page of somebody else could have sent this kind without asking."""
    return headers.get("content-type", "").partition(";")[0].strip().lower() in SIMPLE_TYPES


def _cookies(headers: Headers) -> SimpleCookie:
    try:
        return SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return SimpleCookie()


def _language_of(scope: Scope) -> str:
    """Return the language of who asks: what they chose, else what their browser wants most of what there is."""
    headers = Headers(scope=scope)
    jar = _cookies(headers)
    chosen = [jar[LANGUAGE_COOKIE].value] if LANGUAGE_COOKIE in jar else []
    wanted = wanted_languages(headers.get("accept-language", ""))
    return ENGLISH if scope["path"].startswith(FOR_PROGRAMS) else best_language([*chosen, *wanted])


def wanted_languages(accepted: str) -> list[str]:
    """Return the languages of an Accept-Language field, the dearest first (RFC 9110, 12.5.4 and 12.4.2).

    Examples
    --------
    >>> wanted_languages("en;q=0.3, de-AT, fr;q=0.7, *;q=0.1, es;q=0")
    ['de-AT', 'fr', 'en', '*']
    """
    asked = [entry.strip().partition(";") for entry in accepted[:MOST_ACCEPTED].split(",")]
    weighed = [(_weight(how), name.strip()) for name, _, how in asked if name.strip()]
    return [name for weight, name in sorted(weighed, key=lambda w: -w[0]) if weight > 0.0]


def _weight(how: str) -> float:
    """Return a weight as written (``q=0.7``), 1 where there is none, 0 where it is no number."""
    text = how.replace(" ", "").lower().removeprefix("q=")
    try:
        return min(float(text), 1.0) if text else 1.0
    except ValueError:
        return 0.0


def _visitor(scope: Scope, cookie: str) -> Visitor:
    headers = Headers(scope=scope)
    address = scope["client"][0] if scope.get("client") else ""
    jar = _cookies(headers)
    relayed = any(name in headers for name in RELAYED)
    secret = jar[cookie].value if cookie in jar else ""
    return Visitor(secret, is_loopback(address) and not relayed, address)


def _from_our_own(headers: Headers, scheme: str) -> bool:
    """Return whether what changes something comes from a page of ours, or from no page at all."""
    origin, site = headers.get("origin"), headers.get("sec-fetch-site")
    if origin is not None and origin != f"{scheme}://{headers.get('host')}":
        return False
    return site in (None, "same-origin", "none")


def _bounded(receive: Receive, most: int) -> Receive:
    """Return `receive` with an end to it: a body that never said its length is counted as it comes."""
    taken = 0

    async def counted() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > most:
            raise TooLarge
        return message

    return counted


def _with_headers(send: Send, scope: Scope) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in ANSWERED.items():
                headers.setdefault(name, value)
            if scope[
                "visitor"
            ].at_desk:  # elsewhere the connection is plain, and browsers complain of it and pass it by
                headers.setdefault("cross-origin-opener-policy", "same-origin")
            headers.setdefault("cache-control", "no-cache" if scope["path"].startswith("/static/") else "no-store")
        await send(message)

    return sending
