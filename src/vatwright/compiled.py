"""The one door to just-in-time compilation, so that its settings stand in one place and types survive it.

The compiler itself is loaded at the first call of a kernel: an answer that is kept needs none.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cache, update_wrapper
from itertools import pairwise
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any, TypeVar, cast

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

F = TypeVar("F", bound="Callable[..., Any]")

MOST_KEPT = 3
"""Earlier versions whose machine code is kept: a bench that is open may still run one."""

_KEPT = "kernels-"
_BUILDING = Lock()
_one_core: ContextVar[bool] = ContextVar("_one_core", default=False)


class _Kernel:
    """A function that becomes machine code at its first call, here or within another kernel."""

    def __init__(self, function: Callable[..., Any]) -> None:
        update_wrapper(self, function)
        self._compiled: Any = None

    def __call__(self, *arguments: Any, **named: Any) -> Any:
        return (self._compiled or self._build())(*arguments, **named)

    @property
    def _numba_type_(self) -> Any:
        """What the compiler takes this for where another kernel calls it."""
        return (self._compiled or self._build())._numba_type_

    def _build(self) -> Any:
        import numba

        with _BUILDING:
            if self._compiled is None:
                _keep_apart(numba.config, self.__module__)
                compiler: Any = numba.njit  # nothing takes a kernel's address, so the wrapper for that is not made
                made = compiler(cache=True, nogil=True, error_model="numpy", no_cfunc_wrapper=True)
                self._compiled = made(self.__wrapped__)  # type: ignore[attr-defined]
        return self._compiled


def _keep_apart(config: Any, module: str) -> None:
    """Keep the machine code of a module's kernels in a folder named after all that they say.

    The compiler sees that a kernel's own file has changed, not that of a kernel it calls: it would go on with old code in new.
    """
    folder = _where_kept(config)
    if folder is None:
        return  # where an installer put the files they all are as old as each other
    ours = folder / f"{_KEPT}{module}-{_version(module)}"
    config.CACHE_DIR = str(ours)
    earlier = sorted((f for f in folder.glob(f"{_KEPT}{module}-*") if f != ours), key=lambda f: f.stat().st_mtime)
    for old in earlier[:-MOST_KEPT]:
        shutil.rmtree(old, ignore_errors=True)


@cache
def _where_kept(config: Any) -> Path | None:
    """The folder for machine code, as it was told before any kernel had one of its own; None where none may be written."""
    package = Path(__file__).parent
    if config.CACHE_DIR or os.access(package, os.W_OK):
        return Path(config.CACHE_DIR or package / "__pycache__")
    return None


@cache
def _version(module: str) -> str:
    """A digest of a module's file and of what its kernels take from others: kernels, rows and numbers."""
    said = vars(sys.modules[module])
    digest = hashlib.sha256(Path(said["__file__"]).read_bytes())
    for name, value in sorted(said.items()):
        if isinstance(value, _Kernel) or hasattr(value, "_fields"):
            if value.__module__ != module:
                digest.update(_version(value.__module__).encode())
        elif isinstance(value, int | float):
            digest.update(f"{name} {value!r}".encode())
    return digest.hexdigest()[:16]


def kernel(function: F) -> F:
    """Return `function` compiled for this machine, kept on disk, free of the interpreter lock.

    Division by zero follows IEEE rules, as in numpy, and no reassociation is allowed: same input, same bits.
    """
    return cast("F", _Kernel(function))


def side_by_side(work: Callable[..., None], count: int, *given: Any) -> None:
    """Call a kernel as ``work(first, last, *given)`` for shares of 0 to `count`, one on each core.

    What the shares come to must not depend on where they are cut: then the answer is the same on any number of cores.
    """
    cores = 1 if _one_core.get() else min(_cores(), count)
    cuts = [count * c // cores for c in range(cores + 1)] if cores > 1 else [0, count]
    others = [_threads(os.getpid()).submit(work, *cut, *given) for cut in pairwise(cuts[1:])]
    work(cuts[0], cuts[1], *given)
    for other in others:
        other.result()


def _cores() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@cache
def _threads(process: int) -> ThreadPoolExecutor:  # noqa: ARG001 - a forked process has none of its parent's threads
    return ThreadPoolExecutor(_cores(), thread_name_prefix="kernel")


@contextmanager
def on_one_core() -> Iterator[None]:
    """Keep kernels on the core that calls them: for many short calls, where cores would mostly wait for each other.

    The answers are the same bit by bit: work is cut alike whatever the number of cores.
    """
    before = _one_core.set(True)
    try:
        yield
    finally:
        _one_core.reset(before)
