"""What only some users need: libraries that are installed with an extra, and the sentence that says which."""

from __future__ import annotations

from importlib.util import find_spec

from vatwright.errors import InputError
from vatwright.wording import to_say

EXTRAS = {"orders": "ortools", "postgres": "psycopg", "cluster": "distributed", "phones": "cryptography"}
"""The library each extra of pyproject.toml brings, by the extra's name."""


def require_extra(extra: str, purpose: str) -> None:
    """Raise the sentence that says what to install, where an extra's library is not there; import nothing.

    Parameters
    ----------
    extra : str
        One of `EXTRAS`.
    purpose : str
        What needs it, as the sentence begins: "a plan of orders".

    Raises
    ------
    InputError
        With the command to type.
    """
    library = EXTRAS[extra]
    # A name set to None in sys.modules is how Python itself marks what must not be imported.
    try:
        there = find_spec(library) is not None
    except ValueError:
        there = False
    if not there:
        what = f"needs the library {library}, which is not installed"
        raise InputError.one(purpose, what, to_say("Install it: pip install 'vatwright[{extra}]'", extra=extra))
