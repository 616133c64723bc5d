"""The Phones page: let a phone in by a code that works once, and send one away."""

from __future__ import annotations

import io

import segno
from fastapi import APIRouter, HTTPException, Request
from starlette.datastructures import FormData
from starlette.responses import Response

from vatwright.interfaces.render.pictures.svg import Svg
from vatwright.interfaces.web.pairing import shown_code
from vatwright.interfaces.web.rendering import Page, bench_router, desk_of, form_of, render, see, set_secret, visitor_of
from vatwright.wording import say, to_say

router = bench_router("pair")
door = APIRouter(prefix="/pair", include_in_schema=False)
"""Open to a phone that is not paired yet; here the code is what a form's token is elsewhere."""

TOO_OFTEN = to_say("Too many tries. Wait five minutes.")
SPENT = to_say("This code has been used, or is too old. Ask the desk for a new one.")
TYPED = "here"
"""Where a code is typed; no code has four letters."""

AT_DESK = to_say("Only the computer the bench runs on lets phones in.")


@router.get("")
def phones(request: Request) -> Response:
    """Show the phones that are paired, and how to add one."""
    return _page(request)


@router.post("")
async def change(request: Request) -> Response:
    """Show a fresh code, or send a phone away."""
    desk, form = desk_of(request), await form_of(request)
    if not visitor_of(request).at_desk:
        raise HTTPException(403, AT_DESK)
    handle = form.get("unpair")
    if isinstance(handle, str):
        desk.pairing.unpair(handle)
        return see("/pair")
    if not desk.settings.wide:
        raise HTTPException(409, to_say("The bench listens to this computer alone. Open it with --phones for phones."))
    code = desk.pairing.new_code()
    address = f"{desk.settings.phone_address}/pair/{code}"
    typed = {"door": f"{desk.settings.phone_address}/pair/{TYPED}", "typed": shown_code(code)}
    return _page(request, code=_picture(address), address=address, **typed)


@door.get(f"/{TYPED}")
def typed_door(request: Request) -> Response:
    """Ask for a code to be typed."""
    return render(request, "pair_join.html", {"code": TYPED, "asks": True, "problem": ""})


@door.post(f"/{TYPED}")
async def typed(request: Request) -> Response:
    """Let a phone in by a typed code."""
    return _let_in(request, *_said(await form_of(request)))


@door.get("/{code}")
def arrive(request: Request, code: str) -> Response:
    """Ask whether to join: opening an address changes nothing, so no preview of a link spends the code."""
    return render(request, "pair_join.html", {"code": code, "asks": False, "problem": ""})


@door.post("/{code}")
async def join(request: Request, code: str) -> Response:
    """Spend the code and let the phone in."""
    return _let_in(request, code, _said(await form_of(request))[1])


def _said(form: FormData) -> tuple[str, str]:
    """The code and the name in a form."""
    return str(form.get("code", ""))[:100], str(form.get("name", ""))


def _let_in(request: Request, code: str, name: str) -> Response:
    """Spend a code and pair the phone that brings it."""
    desk, visitor = desk_of(request), visitor_of(request)
    refused = {"code": "", "asks": False}
    if not desk.pairing.may_try(visitor.address):
        return render(request, "pair_join.html", refused | {"problem": TOO_OFTEN}, status=429)
    secret = desk.pairing.redeem(code, name=name or f"phone at {visitor.address}")
    if secret is None:
        return render(request, "pair_join.html", refused | {"problem": SPENT}, status=403)
    response = see("/")
    set_secret(response, desk, secret, lasting=True)
    return response


def _page(request: Request, *, code: Svg | None = None, address: str = "", door: str = "", typed: str = "") -> Response:
    if not visitor_of(request).at_desk:
        raise HTTPException(403, AT_DESK)
    desk = desk_of(request)
    shown = {"phones": desk.pairing.phones(), "minutes": round(desk.settings.token_s / 60.0)}
    said = {"code": code, "address": address, "door": door, "typed": typed, "print": desk.settings.fingerprint}
    return render(request, "pair.html", shown | said)


def _picture(address: str) -> Svg:
    """Return the code as a picture; dark on light in every theme, for a camera must read it."""
    out = io.BytesIO()
    segno.make(address, version=5, error="m", boost_error=False).save(
        out, kind="svg", xmldecl=False, svgns=True, dark="#000", light="#fff", border=4, scale=6, omitsize=True,
        title=say("Code to pair a phone"), svgclass=None, lineclass=None,
    )  # fmt: skip
    return Svg(out.getvalue().decode())


PAGE = Page(slug="pair", title=to_say("Phones"), router=router)
