"""The bench in a browser under load: fifty pages at once, and whether its memory stays flat over ten thousand requests."""

from __future__ import annotations

import asyncio
import os
import re
import socket
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape
from pathlib import Path
from typing import NamedTuple

import httpx

AT_ONCE = 50
ROUNDS = 3
REQUESTS = 10_000
TIMEOUT_S = 120.0
QUESTION = {
    "name": "harbour lanterns", "recipe": "slate on Wren", "to": "Albatross", "room_c": "18", "visits": "3",
    "present_min": "120", "confidence_percent": "90", "resin": "",
}  # fmt: skip


class Served(NamedTuple):
    """One page, asked for by fifty at once: how many answers, how many of them wrong, times [s], size [bytes]."""

    page: str
    answers: int
    wrong: int
    median_s: float
    p95_s: float
    size: int


class Memory(NamedTuple):
    """What the server held [MB] after so many requests."""

    requests: int
    held_mb: float


@contextmanager
def open_bench() -> Iterator[tuple[str, int]]:
    """Open a bench on the demo workshop in a process of its own; its address and process."""
    with socket.socket() as probe, tempfile.TemporaryDirectory() as folder:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        said = {"VATWRIGHT_STORE": f"{folder}/notebook.sqlite", "VATWRIGHT_CACHE": f"{folder}/studies"}
        command = [sys.executable, "-m", "vatwright", "serve", "--port", str(port)]
        with subprocess.Popen(command, env=os.environ | said, stderr=subprocess.DEVNULL) as process:
            try:
                address = f"http://127.0.0.1:{port}"
                _wait_for(address)
                yield address, process.pid
            finally:
                process.terminate()
                process.wait(20.0)


def _wait_for(address: str) -> None:
    until = time.monotonic() + TIMEOUT_S
    while time.monotonic() < until:
        try:
            httpx.get(address, timeout=TIMEOUT_S)
        except httpx.TransportError:
            time.sleep(0.1)
        else:
            return
    raise TimeoutError(address)


def carried(address: str) -> str:
    """Return the page of the demo job's sheet, once it is worked out."""
    with httpx.Client(base_url=address, timeout=TIMEOUT_S) as desk:
        token = _token(desk.get("/carry").text)
        question = desk.post("/carry/demo", data={"token": token}).headers["location"]
        counts = re.findall(r'name="(count_\d+)"[^>]*value="(\d+)"', desk.get(question).text)
        sheet = desk.post(question, data={"token": token, **QUESTION, **dict(counts)}).headers["location"]
        until = time.monotonic() + TIMEOUT_S
        while "What do I set?" not in desk.get(sheet).text:
            if time.monotonic() > until:
                raise TimeoutError(sheet)
            time.sleep(0.5)
    return sheet


def _token(page: str) -> str:
    found = re.search(r'name="token" value="([^"]+)"', page)
    return unescape(found[1]) if found else ""


def pages(sheet: str) -> list[str]:
    """Return the pages that are asked for: every page's front, a sheet, a picture of it, a formula."""
    from vatwright.interfaces.web.page_list import PAGES

    fronts = [f"/{page.slug}" for page in PAGES]
    return [*fronts, sheet, f"{sheet}?take=pull.svg", "/calc/disc_torsion?radius_mm=10", "/static/bench.css", "/api/v1"]


async def _asked(client: httpx.AsyncClient, page: str) -> tuple[float, httpx.Response]:
    began = time.perf_counter()
    answer = await client.get(page)
    return time.perf_counter() - began, answer


async def _at_once(address: str, page: str) -> Served:
    """Ask for one page fifty at a time."""
    found: list[tuple[float, httpx.Response]] = []
    for _ in range(ROUNDS):
        async with httpx.AsyncClient(
            base_url=address, timeout=TIMEOUT_S
        ) as client:  # new connections, as of new visitors
            found += await asyncio.gather(*(_asked(client, page) for _ in range(AT_ONCE)))
    spent = sorted(s for s, _ in found)
    return Served(
        re.sub(r"/carry/[\w-]{12}", "/carry/SHEET", page), len(found), sum(a.status_code >= 400 for _, a in found),
        statistics.median(spent), spent[int(0.95 * len(spent))], len(found[0][1].content),
    )  # fmt: skip


async def _held(address: str, process: int, asked: list[str]) -> list[Memory]:
    """Ask for all pages in turn, ten at a time, and look at the server's memory now and then."""
    told = []
    async with httpx.AsyncClient(base_url=address, timeout=TIMEOUT_S) as client:
        for first in range(0, REQUESTS, 10):
            if first % (REQUESTS // 5) == 0:
                told.append(Memory(first, held_mb(process)))
            await asyncio.gather(*(client.get(asked[k % len(asked)]) for k in range(first, first + 10)))
    return [*told, Memory(REQUESTS, held_mb(process))]


def held_mb(process: int) -> float:
    """Return the memory that a process holds now [MB]."""
    status = Path(f"/proc/{process}/status").read_text(encoding="ascii")
    return int(re.search(r"VmRSS:\s+(\d+)", status)[1]) * 1024 / 1e6  # type: ignore[index]


HEAD = """## The bench in a browser

The demo workshop's bench in a process of its own. Each page is asked for by {at_once} at once, {rounds} times over, while
nothing else is worked out; the time of one answer is from asking to its last byte, the waiting for the others included. The
one asking shares the processors.

| page | size | answers | wrong | median | 95 % within |
| --- | --- | --- | --- | --- | --- |"""


def section() -> str:
    """Return the section of the page of benchmarks: the table of pages, and the memory over ten thousand requests."""
    with open_bench() as (address, process):
        sheet = carried(address)
        asked = pages(sheet)
        served = [asyncio.run(_at_once(address, page)) for page in asked]
        held = asyncio.run(_held(address, process, asked))
    rows = [
        f"| `{s.page}` | {s.size / 1e3:.1f} kB | {s.answers} | {s.wrong} | {s.median_s * 1e3:.0f} ms | {s.p95_s * 1e3:.0f} ms |"
        for s in served
    ]
    memory = [f"| {m.requests:,} | {m.held_mb:.0f} MB |" for m in held]
    return "\n".join(
        [
            HEAD.format(at_once=AT_ONCE, rounds=ROUNDS), *rows, "",
            "Memory of the server over these pages in turn:", "", "| requests | memory |", "| --- | --- |", *memory,
        ]
    )  # fmt: skip


if __name__ == "__main__":
    print(section())
