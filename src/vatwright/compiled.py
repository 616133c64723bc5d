"""The one door to just-in-time compilation, so that its settings stand in one place and types survive it.

The compiler itself is loaded at the first call of a kernel: an answer that is kept needs none.
"""

from __future__ import annotations

from contextlib import contextmanager
from functools import update_wrapper
from threading import Lock
from typing import TYPE_CHECKING, Any, TypeVar, cast

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

F = TypeVar("F", bound="Callable[..., Any]")

prange = range
"""The loop of a parallel kernel; the compiler's own takes its place once that is loaded."""

_BUILDING = Lock()


class _Kernel:
    """A function that becomes machine code at its first call, here or within another kernel."""

    def __init__(self, function: Callable[..., Any], **settings: Any) -> None:
        update_wrapper(self, function)
        self._settings = settings
        self._compiled: Any = None

    def __call__(self, *arguments: Any, **named: Any) -> Any:
        return (self._compiled or self._build())(*arguments, **named)

    @property
    def _numba_type_(self) -> Any:
        """What the compiler takes this for where another kernel calls it."""
        return (self._compiled or self._build())._numba_type_

    def _build(self) -> Any:
        import numba

        function = self.__wrapped__  # type: ignore[attr-defined]
        with _BUILDING:
            if self._compiled is None:
                if "prange" in function.__globals__:
                    function.__globals__["prange"] = numba.prange
                self._compiled = numba.njit(cache=True, nogil=True, error_model="numpy", **self._settings)(function)
        return self._compiled


def kernel(function: F) -> F:
    """Return `function` compiled for this machine, kept on disk, free of the interpreter lock.

    Division by zero follows IEEE rules, as in numpy, and no reassociation is allowed: same input, same bits.
    """
    return cast("F", _Kernel(function))


def parallel_kernel(function: F) -> F:
    """Return `function` compiled like :func:`kernel`, with its ``prange`` loops spread over the cores."""
    return cast("F", _Kernel(function, parallel=True))


@contextmanager
def on_one_core() -> Iterator[None]:
    """Keep parallel kernels on the core that calls them: for many short calls, where cores would mostly wait for each other.

    The answers are the same bit by bit: work is cut alike whatever the number of cores.
    """
    import numba

    before = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        yield
    finally:
        numba.set_num_threads(before)
