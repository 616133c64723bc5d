"""How far long work has come: told to whoever waits."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Is told how far long work has come."""

    def __call__(self, what: str, done: int, total: int) -> None:
        """Take note; may raise KeyboardInterrupt to stop the work."""
        ...


def silent(what: str, done: int, total: int) -> None:
    """Take no note."""
