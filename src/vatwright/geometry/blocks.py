"""Work on many layers in blocks, several at a time: kernels release the interpreter lock, so threads suffice."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import TYPE_CHECKING, TypeVar

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

Result = TypeVar("Result")

BLOCKS = 8
"""Work is cut into this many pieces whatever the number of cores, so that every machine gives the same bits."""

WORTH_A_THREAD = 20_000
"""Work of less than this many points or runs is done where it stands: about a millisecond."""


def block_ends(load: Ints, blocks: int = BLOCKS) -> list[tuple[int, int]]:
    """Return (first, one past the last) of at most `blocks` blocks of about equal load; one block of a small load.

    Examples
    --------
    >>> block_ends(np.array([30_000, 10_000, 10_000, 10_000]), 2)
    [(0, 1), (1, 4)]
    >>> block_ends(np.array([1, 1, 1]))
    [(0, 3)]
    """
    items = len(load)
    total = int(load.sum())
    if total < WORTH_A_THREAD or items < 2:
        return [(0, items)]
    done = np.cumsum(load)
    cuts = np.searchsorted(done, total * np.arange(1, blocks) / blocks, side="left") + 1
    ends = np.unique(np.concatenate(([0], np.minimum(cuts, items), [items])))
    return list(pairwise(ends.tolist()))


def in_blocks(load: Ints, work: Callable[[int, int], Result]) -> list[Result]:
    """Return ``work(first, last)`` of blocks of about equal load, in order.

    Examples
    --------
    >>> in_blocks(np.full(4, 10_000), lambda first, last: last - first)
    [1, 1, 1, 1]
    """
    ends = block_ends(load)
    if len(ends) == 1:
        return [work(*ends[0])]
    # A stop asked for by the user waits for the blocks under way, fractions of a second, and starts no others.
    pool = ThreadPoolExecutor()
    try:
        return list(pool.map(lambda pair: work(*pair), ends))
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
