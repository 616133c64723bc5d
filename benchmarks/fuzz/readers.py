"""What outside data meets first: each reader of a file or a form as a function of bytes, and sound bytes to start from.

A reader may answer or say what is wrong (:class:`vatwright.errors.InputError`).  Anything else it does is a finding.
"""

from __future__ import annotations

import atexit
import io
import json
import os
import shutil
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import attrs
import numpy as np
from PIL import Image
from tests.files.part_files import CUBE, CUBE_FACES, binary_stl, obj, one_object, ply, text_stl, three_mf

from vatwright.errors import InputError
from vatwright.files.cost_file import read_costs
from vatwright.files.level_file import LevelOptions, read_level
from vatwright.files.notebook_files import read_export
from vatwright.files.orders_file import read_orders
from vatwright.files.outcome import outcome_of_text, outcome_text
from vatwright.files.parts.limits import LIMITS
from vatwright.files.parts.mesh import read_part
from vatwright.files.read import read_job, read_shop
from vatwright.files.stock_file import stock_of_file
from vatwright.units import read_number

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from tests.web.bench import Visitor

DEMO = Path(__file__).parents[2] / "demo"
SMALL = attrs.evolve(
    LIMITS, file_bytes=1 << 22, triangles=50_000, vertices=150_000, unpacked_bytes=1 << 24, picture_pixels=1 << 20
)
"""The limits of a part file, near enough that a few thousand bytes can reach them."""


@dataclass(frozen=True)
class Reader:
    """One reader: what it takes, and what it starts from."""

    name: str
    take: Callable[[bytes], None]
    seeds: Callable[[], list[bytes]]
    longest: int = 20_000

    def feed(self, data: bytes) -> None:
        """Hand `data` in; a refusal in words is as good as an answer."""
        try:
            self.take(data)
        except InputError as refusal:
            if not refusal.mistakes:
                raise AssertionError("refused without a word") from refusal


@cache
def _folder(process: int) -> Path:  # noqa: ARG001 - a forked process has a folder of its own
    """Where handed-in files stand."""
    folder = tempfile.mkdtemp(prefix="fuzz-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return Path(folder)


def _put(name: str, data: bytes) -> Path:
    path = _folder(os.getpid()) / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(data)
    return path


def _part(name: str) -> Callable[[bytes], None]:
    def take(data: bytes) -> None:
        part = read_part(_put(name, data), unit="mm", limits=SMALL)
        assert np.isfinite(part.corners).all(), "a corner that is no number"
        assert np.abs(part.corners).max(initial=0) <= SMALL.extent_m * 1e3, "a corner beyond the limit"

    return take


def _bitmap(data: bytes) -> None:
    read_part(_put("layers/1.png", data).parent, pixel_m=5e-5, layer_nm=50_000, limits=SMALL)


def _text(name: str, read: Callable[[Path], object]) -> Callable[[bytes], None]:
    def take(data: bytes) -> None:
        read(_put(name, data))

    return take


def _outcome(data: bytes) -> None:
    """What was read is written, and reads back as the same."""
    run = outcome_of_text("run.json", data.decode(errors="surrogateescape"))
    assert outcome_of_text("again.json", outcome_text(run)) == run, "written and read back it says something else"


def _number(data: bytes) -> None:
    for unit in ("mm", "degC", ""):
        assert np.isfinite(float(read_number(data.decode(errors="surrogateescape"), "lift", unit))), (
            "a number that is none"
        )


def _demo(name: str) -> Callable[[], list[bytes]]:
    return lambda: [(DEMO / name).read_bytes()]


def _beside_the_demo(data: bytes, name: str, read: Callable[[Path], object]) -> None:
    path = _put(f"demo/{name}", data)
    if not (path.parent / "shop.toml").exists():
        for file in DEMO.glob("s*.toml"):
            (path.parent / file.name).write_bytes(file.read_bytes())
        (path.parent / "parts").symlink_to(DEMO / "parts")
    read(path)


# ------------------------------------------------------------------------------------------------- where they start


def _stl() -> list[bytes]:
    return [binary_stl(CUBE[CUBE_FACES]), text_stl(CUBE[CUBE_FACES])]


def _obj() -> list[bytes]:
    slashed = b"vt 0 0\nvn 0 0 1\nf 1/1/1 2//1 -3\n"
    return [obj(CUBE, CUBE_FACES.tolist()), obj(CUBE, []) + slashed]


def _ply() -> list[bytes]:
    orders = ("ascii", "binary_little_endian", "binary_big_endian")
    return [ply(CUBE, CUBE_FACES.tolist(), order) for order in orders]


def _three_mf() -> list[bytes]:
    twice = '<object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 20 0 0"/></components></object>'
    return [three_mf(one_object(CUBE, CUBE_FACES) + twice, '<item objectid="1"/><item objectid="2"/>')]


def _pictures() -> list[bytes]:
    pixels = np.zeros((12, 16), dtype=np.uint8)
    pixels[3:9, 4:12] = 255
    found = []
    for kind in ("PNG", "BMP", "TIFF"):
        buffer = io.BytesIO()
        Image.fromarray(pixels).save(buffer, kind)
        found.append(buffer.getvalue())
    return found


RUN = {
    "schema": "vatwright.outcome/1", "run": "lanterns, May", "at": "2026-05-03T10:00:00+02:00", "held": True,
    "job": "lanterns", "recipe": "slate on Wren", "machine": "Wren", "resin": "slate", "room_C": 18,
}  # fmt: skip
"""The least that a noted run says."""


def _outcomes() -> list[bytes]:
    return [json.dumps(RUN).encode()]


def _exports() -> list[bytes]:
    import zipfile

    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr("notebook.toml", 'schema = "vatwright.notebook/1"\n')
        archive.writestr("shop.toml", (DEMO / "shop.toml").read_bytes())
        archive.writestr("stock.toml", (DEMO / "stock.toml").read_bytes())
        archive.writestr("costs.toml", (DEMO / "costs.toml").read_bytes())
        archive.writestr("runs.jsonl", json.dumps({"job": "", "outcome": RUN}) + "\n")
        archive.writestr("jobs.jsonl", "")
        archive.writestr("recipe-versions.jsonl", "")
    return [buffer.getvalue()]


# ------------------------------------------------------------------------------------------------------------ forms

FORMS = (
    "/shop/entry",
    "/shop/text",
    "/shop/costs",
    "/shop/renew",
    "/shop/undo",
    "/units",
    "/language",
    "/level",
    "/calc",
    "/stand",
    "/setup",
)
"""Forms of the bench that start no long work with a body that is not sound."""


@cache
def _bench(process: int) -> tuple[Visitor, str]:  # noqa: ARG001 - an open notebook is of one process
    """A bench on a notebook of its own, and the token of its forms."""
    from tests.web.bench import Visitor, opened

    os.environ["VATWRIGHT_STORE"] = str(_folder(os.getpid()) / "notebook.sqlite")
    visitor = Visitor(opened(wide=False)[0])
    token = visitor.token("/shop")
    assert visitor.post("/shop/demo", data={"token": token}).status_code == 303
    return visitor, token


def _form(data: bytes) -> None:
    """The first byte says which form, the rest is what was sent."""
    visitor, token = _bench(os.getpid())
    path = FORMS[data[0] % len(FORMS)] if data else FORMS[0]
    body = urlencode({"token": token}).encode() + b"&" + data[1:]
    answer = visitor.post(path, content=body, headers={"content-type": "application/x-www-form-urlencoded"})
    assert answer.status_code < 500 or answer.status_code == 503, f"{path} answered {answer.status_code}"


def _forms() -> list[bytes]:
    entry = {
        "kind": "machine",
        "new_name": "Kite",
        "own.platform.width_mm": "145",
        "own.platform.depth_mm": "88",
        "own.height_mm": "155",
    }
    text = {
        "kind": "machine",
        "name": "Kite",
        "text": '[[machine]]\nname = "Kite"\nplatform = { width_mm = 145, depth_mm = 88 }\nheight_mm = 155\n',
    }
    return [
        b"\0" + urlencode(entry).encode(),
        b"\1" + urlencode(text).encode(),
        *(
            bytes([n]) + urlencode({"x": "1", "number": "1", "name": "a", "to": "us", "language": "de"}).encode()
            for n in range(2, len(FORMS))
        ),
    ]


def _asked(data: bytes) -> None:
    """What a program sends instead of a form."""
    visitor, _ = _bench(os.getpid())
    answer = visitor.post("/api/v1/level", content=data, headers={"content-type": "application/json"})
    assert answer.status_code < 500 or answer.status_code == 503, f"answered {answer.status_code}"


def readers() -> Iterator[Reader]:
    """Every reader of outside data."""
    yield Reader("stl", _part("a.stl"), _stl)
    yield Reader("3mf", _part("a.3mf"), _three_mf)
    yield Reader("obj", _part("a.obj"), _obj)
    yield Reader("ply", _part("a.ply"), _ply)
    yield Reader("bitmaps", _bitmap, _pictures)
    yield Reader("shop", _text("shop.toml", read_shop), _demo("shop.toml"))
    yield Reader("job", lambda d: _beside_the_demo(d, "job.toml", read_job), _demo("harbour-lanterns.toml"))
    yield Reader("orders", lambda d: _beside_the_demo(d, "orders.toml", read_orders), _demo("orders.toml"))
    yield Reader("costs", _text("costs.toml", read_costs), _demo("costs.toml"))
    yield Reader("stock", _text("stock.toml", stock_of_file), _demo("stock.toml"))
    yield Reader(
        "level",
        lambda d: _beside_the_demo(d, "level.toml", lambda p: read_level(p, LevelOptions({}, {}))),
        _demo("albatross-level.toml"),
    )
    yield Reader("outcome", _outcome, _outcomes)
    yield Reader("export", _text("export.zip", read_export), _exports, longest=60_000)
    yield Reader("number", _number, lambda: [b"1,200.5", b"-1e3", "\N{MINUS SIGN}0,05".encode()], longest=60)
    yield Reader("forms", _form, _forms, longest=4_000)
    yield Reader(
        "programs",
        _asked,
        lambda: [b'{"level": {"machine": "Wren"}, "reading": [{"x_mm": 1, "y_mm": 2, "gap_mm": 0.1}]}'],
    )
