"""Kill writers of a notebook in the middle of their work, many times; prints what they said was committed.

Run as ``python kill_writers.py NOTEBOOK KILLS SEED``.  The libraries are loaded once; each writer is a fork.
"""

from __future__ import annotations

import os
import random
import select
import signal
import sys
import time

from vatwright.records.stock import Price
from vatwright.store.notebook import DatabaseNotebook

EACH = 12
"""Entries a change: enough that a kill falls between two of them."""


def write(address: str, writer: int, said: int) -> None:
    """Keep change after change, and say each one once it is committed."""
    with DatabaseNotebook(address, None) as book:
        n = 0
        while True:
            book.keep("w", [Price(name=f"{writer} {n} {i}", amount=float(n)) for i in range(EACH)])
            os.write(said, f"{writer} {n}\n".encode())
            n += 1


def killed(address: str, writer: int, chance: random.Random) -> bytes:
    """Start one writer, kill it, and return all it said."""
    listen, said = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(listen)
        try:
            write(address, writer, said)
        finally:
            os._exit(1)
    os.close(said)
    heard = b""
    wanted = chance.randrange(4)
    while heard.count(b"\n") < wanted and select.select([listen], [], [], 30.0)[0] and (more := os.read(listen, 4096)):
        heard += more
    time.sleep(chance.uniform(0.0, 0.02 if wanted == 0 else 0.006))  # while it opens, or while it writes
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while more := os.read(listen, 4096):
        heard += more
    os.close(listen)
    return heard


def main(address: str, kills: int, seed: int) -> None:
    """Kill writers one after the other."""
    DatabaseNotebook(address, None, create=True).close()
    chance = random.Random(seed)  # noqa: S311 - nothing secret about it
    for writer in range(kills):
        sys.stdout.buffer.write(killed(address, writer, chance))
    sys.stdout.buffer.flush()


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))
