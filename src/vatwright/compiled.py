"""The one door to just-in-time compilation, so that its settings stand in one place and types survive it."""

from __future__ import annotations

from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar, cast

import numba

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

F = TypeVar("F", bound="Callable[..., Any]")

prange = numba.prange


def kernel(function: F) -> F:
    """Return `function` compiled for this machine, kept on disk, free of the interpreter lock.

    Division by zero follows IEEE rules, as in numpy, and no reassociation is allowed: same input, same bits.
    """
    return cast("F", numba.njit(cache=True, nogil=True, error_model="numpy")(function))


def parallel_kernel(function: F) -> F:
    """Return `function` compiled like :func:`kernel`, with its ``prange`` loops spread over the cores."""
    return cast("F", numba.njit(cache=True, nogil=True, error_model="numpy", parallel=True)(function))


@contextmanager
def on_one_core() -> Iterator[None]:
    """Keep parallel kernels on the core that calls them: for many short calls, where cores would mostly wait for each other.

    The answers are the same bit by bit: work is cut alike whatever the number of cores.
    """
    before = numba.get_num_threads()
    numba.set_num_threads(1)
    try:
        yield
    finally:
        numba.set_num_threads(before)
