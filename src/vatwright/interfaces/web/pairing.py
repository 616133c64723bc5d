"""Letting a phone in: one-time codes, sessions, and how often anybody may try."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from collections import OrderedDict, deque
from collections.abc import Callable
from typing import NamedTuple

from attrs import Factory, define, field

from vatwright.interfaces.web.kept import PhonesFile

SESSION_S = 7 * 24 * 3600.0
"""How long a phone stays paired [s]: longer than any run."""

SHORT_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"
SHORT_LENGTH = 8
"""A code to type: 32 letters without those that look alike, 40 bits; with ten tries in five minutes nobody guesses it."""

MOST_NAME = 40
MOST_SESSIONS = 20
MOST_CODES = 5
TRIES, TRIES_S = 10, 300.0
"""Tries to pair in five minutes, for one address."""

ALL_TRIES = 200
"""Tries to pair in five minutes, for all addresses together: what a code of 40 bits is guarded by."""

MOST_ADDRESSES = 500


class Session(NamedTuple):
    """A phone that is paired: what it calls itself, and until when (Unix time, for it outlives the bench being closed)."""

    name: str
    until_s: float


def digest(secret: str) -> str:
    """Return what is kept of a secret, so that nobody who reads memory or a dump can use it."""
    return hashlib.sha256(secret.encode()).hexdigest()


def as_typed(code: str) -> str:
    """Return a code as it was made, however it was typed: small letters, gaps and dashes do not count.

    Examples
    --------
    >>> as_typed("k7md-4qxp")
    'K7MD4QXP'
    """
    return "".join(c for c in code.upper() if c in SHORT_LETTERS)


def shown_code(code: str) -> str:
    """Return a code in two halves, as it is easiest to type.

    Examples
    --------
    >>> shown_code("K7MD4QXP")
    'K7MD 4QXP'
    """
    return f"{code[: SHORT_LENGTH // 2]} {code[SHORT_LENGTH // 2 :]}"


@define
class Tries:
    """Counts tries of each address within a stretch of time."""

    clock: Callable[[], float]
    most: int = TRIES
    within_s: float = TRIES_S
    _seen: OrderedDict[str, deque[float]] = field(factory=OrderedDict)

    def allowed(self, address: str) -> bool:
        """Note a try and return whether it may go on."""
        now = self.clock()
        seen = self._seen.setdefault(address, deque(maxlen=self.most + 1))
        self._seen.move_to_end(address)
        while len(self._seen) > MOST_ADDRESSES:
            self._seen.popitem(last=False)
        while seen and seen[0] <= now - self.within_s:
            seen.popleft()
        seen.append(now)
        return len(seen) <= self.most


@define
class Pairing:
    """Who may see the bench from beyond this computer.

    Parameters
    ----------
    clock : callable
        Seconds that never run backwards, for codes [s].
    code_s : float
        How long a code holds [s].
    tries : Tries
        Who tries how often.
    now : callable
        The time of the world, for sessions (seconds since 1970, UTC) [s].
    file : PhonesFile or None
        Where sessions outlive the bench being closed.
    """

    clock: Callable[[], float]
    code_s: float
    tries: Tries
    now: Callable[[], float]
    file: PhonesFile | None = None
    everybody: Tries = field(default=Factory(lambda self: Tries(self.clock, most=ALL_TRIES), takes_self=True))
    _codes: OrderedDict[str, float] = field(factory=OrderedDict)
    _sessions: OrderedDict[str, Session] = field(factory=OrderedDict)
    _key: bytes = field(factory=lambda: secrets.token_bytes(32), repr=False)

    def __attrs_post_init__(self) -> None:
        kept = self.file.read() if self.file else None
        if kept is not None:
            self._key = kept[0]
            self._sessions.update((d, Session(*said)) for d, said in kept[1].items())

    def new_code(self) -> str:
        """Return a code to scan or type that lets one phone in once, soon."""
        code = "".join(secrets.choice(SHORT_LETTERS) for _ in range(SHORT_LENGTH))
        self._codes[digest(code)] = self.clock() + self.code_s
        while len(self._codes) > MOST_CODES:
            self._codes.popitem(last=False)
        return code

    def redeem(self, code: str, *, name: str) -> str | None:
        """Return the session's secret for a code that holds, and spend the code; None for any other."""
        until_s = self._codes.pop(digest(as_typed(code)), None)
        if until_s is None or until_s <= self.clock():
            return None
        secret = secrets.token_urlsafe(32)
        self._sessions[digest(secret)] = Session(name.strip()[:MOST_NAME] or "a phone", self.now() + SESSION_S)
        while len(self._sessions) > MOST_SESSIONS:
            self._sessions.popitem(last=False)
        self._keep()
        return secret

    def may_try(self, address: str) -> bool:
        """Note a try to pair and return whether it may go on."""
        return self.tries.allowed(address) and self.everybody.allowed("")

    def paired(self, secret: str | None) -> bool:
        """Return whether this is the secret of a session."""
        session = self._sessions.get(digest(secret)) if secret else None
        return session is not None and session.until_s > self.now()

    def phones(self) -> list[tuple[str, str]]:
        """Return the paired phones: a handle that opens nothing, and the name."""
        return [(key[:16], s.name) for key, s in self._sessions.items() if s.until_s > self.now()]

    def unpair(self, handle: str) -> None:
        """Forget a phone."""
        for key in [k for k in self._sessions if k[:16] == handle]:
            del self._sessions[key]
        self._keep()

    def _keep(self) -> None:
        if self.file is not None:
            self.file.write(self._key, {d: (s.name, s.until_s) for d, s in self._sessions.items()})

    def form_token(self, visitor: str) -> str:
        """Return what a form of this visitor must send back."""
        return hmac.new(self._key, visitor.encode(), hashlib.sha256).hexdigest()

    def is_form_token(self, visitor: str, token: str) -> bool:
        """Return whether a form came from a page of this visitor."""
        return hmac.compare_digest(self.form_token(visitor).encode(), token.encode("utf-8", "replace"))
