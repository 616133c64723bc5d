"""Many at once, and many after each other: every answer right, and nothing kept that grows with the requests."""

from __future__ import annotations

import asyncio
import gc
import itertools
import tracemalloc

import httpx
import pytest
from tests.web.bench import DESK, Visitor

from vatwright.interfaces.web.page_list import PAGES

AT_ONCE = 50
BATCH, BATCHES = 100, 4
MOST_BYTES_A_REQUEST = 60.0
"""What may stay of a request, on average: a leak of one small object a request is larger (an empty dict is 64 bytes)."""

GAPS = "machine=Heron&" + "&".join(
    f"x={x}&y={y}&gap={g}" for x, y, g in ((-60, -40, 100), (60, -40, 120), (60, 40, 160))
)
WORKS = ("learn",)
"""Pages whose opening begins a piece of work: those are counted and bounded by themselves."""

ASKED = [f"/{p.slug}" for p in PAGES if p.slug not in WORKS] + [
    f"/level?{GAPS}", "/calc/disc_torsion?radius_mm=10", "/nothing", "/api/v1", "/api/v1/nothing", "/static/bench.css",
]  # fmt: skip


async def asked_for(app, pages):
    """The answers to all pages, asked for at once by one whom the bench knows: a client with a cookie jar keeps things too."""
    known = {"cookie": f"bench_8423={'x' * 43}"}
    transport = httpx.ASGITransport(app=app, client=(DESK, 50_000), raise_app_exceptions=False)
    async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1:8423", headers=known) as client:
        return await asyncio.gather(*(client.get(page) for page in pages))


def test_fifty_at_once_are_all_answered(app):
    pages = [ASKED[k % len(ASKED)] for k in range(4 * AT_ONCE)]
    for first in range(0, len(pages), AT_ONCE):
        at_once = pages[first : first + AT_ONCE]
        for page, answer in zip(at_once, asyncio.run(asked_for(app, at_once)), strict=True):
            assert answer.status_code == (404 if "nothing" in page else 200), page


def kept_of(app, ask):
    """Bytes that stay of a request, on average over a batch; the least of several batches, for a leak is in every one."""
    asyncio.run(ask(app))
    gc.collect()
    tracemalloc.start(1)
    held = []
    for _ in range(BATCHES + 1):
        asyncio.run(ask(app))
        gc.collect()
        held.append(tracemalloc.get_traced_memory()[0])
    tracemalloc.stop()
    return min(b - a for a, b in itertools.pairwise(held)) / BATCH


def test_nothing_stays_of_a_request(app):
    async def ask(bench):
        for first in range(0, BATCH, len(ASKED)):
            await asked_for(bench, ASKED[: min(len(ASKED), BATCH - first)])

    assert kept_of(app, ask) < MOST_BYTES_A_REQUEST


def test_strangers_who_try_to_pair_leave_nothing_that_grows(app):
    """Tries are counted for so many addresses and no more."""
    for n in range(600):
        Visitor(app, f"198.18.{n // 256}.{n % 256}").post("/pair/guess")
    assert len(app.state.desk.pairing.tries._seen) <= 500


def test_the_measure_sees_a_leak(app, monkeypatch):
    """The same measure with a list that grows by a dict of one entry for every page: what a batch frees besides is less."""
    kept = []
    shop = type(app.state.desk).shop
    monkeypatch.setattr(type(app.state.desk), "shop", lambda self: kept.append({"page": len(kept)}) or shop(self))

    async def ask(bench):
        for _ in range(0, BATCH, 10):
            await asked_for(bench, ["/level"] * 10)

    with pytest.raises(AssertionError):
        assert kept_of(app, ask) < MOST_BYTES_A_REQUEST
