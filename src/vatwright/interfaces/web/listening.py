"""Opening the bench: plain for the desk and, where phones are let in encrypted, a second port for them."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import uvicorn
from fastapi import FastAPI

from vatwright.interfaces.web.app import make_app
from vatwright.interfaces.web.settings import ALL_ADDRESSES, BenchSettings


class _Second(uvicorn.Server):
    """A server that leaves signals to the first one."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Catch nothing."""
        yield


def listen(settings: BenchSettings) -> None:
    """Open the bench and return when it is closed; a shop that cannot be read is told before it opens."""
    app = make_app(settings)
    app.state.desk.shop()
    asyncio.run(_serve(servers_of(app, settings)))


def servers_of(app: FastAPI, settings: BenchSettings) -> list[uvicorn.Server]:
    """Return the servers of a bench: the desk's, and the phones' where they are spoken to encrypted."""
    # Addresses are taken from the connection alone: a header can say anything.
    said: dict[str, Any] = {"log_level": "warning", "proxy_headers": False, "server_header": False}
    first = uvicorn.Server(uvicorn.Config(app, host=settings.host, port=settings.port, **said))
    if settings.secure_port is None:
        return [first]
    keys: dict[str, Any] = {"ssl_certfile": settings.certificate_file, "ssl_keyfile": settings.key_file}
    everywhere: dict[str, Any] = {"host": ALL_ADDRESSES[0], "port": settings.secure_port, "lifespan": "off"}
    return [first, _Second(uvicorn.Config(app, **everywhere, **keys, **said))]


async def _serve(servers: list[uvicorn.Server]) -> None:
    """Serve until the first server is told to stop; the others stop with it."""
    first, *others = servers
    beside = [asyncio.ensure_future(server.serve()) for server in others]
    try:
        await first.serve()
    finally:
        for server in others:
            server.should_exit = True
        await asyncio.gather(*beside)
