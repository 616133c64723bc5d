"""A bench to knock at: the application in this process, visitors with addresses and cookies of their own."""

from __future__ import annotations

import asyncio
import re
from html import unescape

import httpx

from vatwright.interfaces.web.app import make_app
from vatwright.interfaces.web.settings import BenchSettings

DESK, PHONE = "127.0.0.1", "192.0.2.7"
"""This computer, and a phone at an address set aside for examples (RFC 5737)."""


class Clock:
    """Seconds that pass when told to."""

    def __init__(self):
        self.now = 1000.0

    def __call__(self):
        return self.now


def opened(*, wide=True, **said):
    """The bench, and its clock."""
    clock = Clock()
    host = "0.0.0.0" if wide else "127.0.0.1"  # noqa: S104 - nothing listens
    return make_app(BenchSettings(host=host, clock=clock, now=clock, **said)), clock


class Visitor:
    """Somebody with an address and a cookie jar."""

    def __init__(self, app, address=DESK, host="127.0.0.1:8423"):
        self.app, self.address, self.host = app, address, host
        self.cookies = httpx.Cookies()

    def __call__(self, method, path, **said):
        async def go():
            transport = httpx.ASGITransport(app=self.app, client=(self.address, 50_000), raise_app_exceptions=False)
            base = f"http://{self.host}"
            async with httpx.AsyncClient(transport=transport, base_url=base, cookies=self.cookies) as client:
                answer = await client.request(method, path, **said)
                self.cookies = client.cookies
                return answer

        return asyncio.run(go())

    def get(self, path, **said):
        return self("GET", path, **said)

    def post(self, path, **said):
        return self("POST", path, **said)

    def token(self, path="/carry"):
        """The token that the forms of a page carry for this visitor."""
        return unescape(re.search(r'name="token" value="([^"]+)"', self.get(path).text)[1])

    def hand_in(self, name, content, *, path="/carry/parts"):
        """Hand in a part file by the page's form."""
        return self.post(path, data={"token": self.token()}, files={"part": (name, content)})


def paired_phone(app):
    """A phone that came in by a code of the desk."""
    phone = Visitor(app, PHONE)
    assert phone.post(f"/pair/{app.state.desk.pairing.new_code()}").status_code == 303
    return phone
