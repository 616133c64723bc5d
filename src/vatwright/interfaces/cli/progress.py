"""One line of progress on a terminal; silence everywhere else."""

from __future__ import annotations

import sys
from typing import Self

from vatwright.wording import in_words, say

WIDTH = 78


class ProgressLine:
    """Shows how far long work is on the error stream, where that is a terminal; leaves nothing behind."""

    def __init__(self) -> None:
        self._shown = False
        self._wanted = sys.stderr.isatty()

    def __call__(self, what: str, done: int, total: int) -> None:
        """Show the step."""
        if not self._wanted:
            return
        share = say("  {done} of {total}", done=done, total=total) if total > 1 else ""
        sys.stderr.write("\r" + f"{in_words(what)}{share}"[:WIDTH].ljust(WIDTH))
        sys.stderr.flush()
        self._shown = True

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_exception: object) -> None:
        if self._shown:
            sys.stderr.write("\r" + " " * WIDTH + "\r")
            sys.stderr.flush()
