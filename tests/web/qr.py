"""Reading a QR code off a screenshot as a phone's camera does, for the one size of code that an address of ours makes.

ISO/IEC 18004:2015, from memory: symbol layout (6.3), masks (table 10), format information (7.9), codeword placement (7.7.3),
version 5 with level M: 2 blocks of 43 data codewords (table 9).  Errors are not corrected: a screenshot has none.
"""

from __future__ import annotations

import io

import numpy as np
from PIL import Image

SIZE = 37  # version 5
BLOCKS, DATA = 2, 43
MASKS = (
    lambda r, c: (r + c) % 2,
    lambda r, _c: r % 2,
    lambda _r, c: c % 3,
    lambda r, c: (r + c) % 3,
    lambda r, c: (r // 2 + c // 3) % 2,
    lambda r, c: r * c % 2 + r * c % 3,
    lambda r, c: (r * c % 2 + r * c % 3) % 2,
    lambda r, c: ((r + c) % 2 + r * c % 3) % 2,
)
FORMAT_PLACES = [(8, c) for c in (0, 1, 2, 3, 4, 5, 7, 8)] + [(r, 8) for r in (7, 5, 4, 3, 2, 1, 0)]
FORMAT_MASK = 0b101010000010010
LEVEL_M = 0b00


def modules(png):
    """The modules of the code in a picture: 1 where dark."""
    dark = np.asarray(Image.open(io.BytesIO(png)).convert("L")) < 128
    rows, columns = np.flatnonzero(dark.any(axis=1)), np.flatnonzero(dark.any(axis=0))
    (top, bottom), (left, right) = rows[[0, -1]], columns[[0, -1]]
    along, down = (
        (np.arange(SIZE) + 0.5) * (right - left + 1) / SIZE,
        (np.arange(SIZE) + 0.5) * (bottom - top + 1) / SIZE,
    )
    return dark[np.ix_(top + down.astype(int), left + along.astype(int))].astype(int)


def _reserved():
    """Where finders, timing, alignment and format stand."""
    taken = np.zeros((SIZE, SIZE), dtype=bool)
    taken[:9, :9] = taken[:9, -8:] = taken[-8:, :9] = True
    taken[6, :] = taken[:, 6] = True
    taken[28:33, 28:33] = True
    return taken


def read(png):
    """The text of the code in a picture."""
    code = modules(png)
    said = int("".join(str(code[p]) for p in FORMAT_PLACES), 2) ^ FORMAT_MASK
    assert said >> 13 == LEVEL_M
    mask, taken = MASKS[said >> 10 & 7], _reserved()
    bits, upward = [], True
    for right in (*range(SIZE - 1, 7, -2), 5, 3, 1):
        for r in range(SIZE - 1, -1, -1) if upward else range(SIZE):
            bits += [code[r, c] ^ (mask(r, c) == 0) for c in (right, right - 1) if not taken[r, c]]
        upward = not upward
    words = [int("".join(map(str, map(int, bits[k : k + 8]))), 2) for k in range(0, 8 * BLOCKS * DATA, 8)]
    data = [w for b in range(BLOCKS) for w in words[b::BLOCKS]]
    stream = "".join(f"{w:08b}" for w in data)
    assert stream[:4] == "0100"  # bytes
    count = int(stream[4:12], 2)
    return bytes(int(stream[12 + 8 * k : 20 + 8 * k], 2) for k in range(count)).decode("utf-8")
