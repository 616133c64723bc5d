"""The tray: part files that somebody handed in, under names of our own, bounded in number and size."""

from __future__ import annotations

import re
import secrets
import shutil
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from attrs import frozen
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from vatwright.answers.numbers import significant
from vatwright.errors import InputError, Mistake
from vatwright.files.first_look import Sides, guessed_unit, in_metres, sides_of
from vatwright.files.parts.formats import endings, needs_unit
from vatwright.wording import to_say

MOST_BYTES = 256 * 1024 * 1024
"""Greatest size of one part file, and of one parcel of them."""

MOST_ON_TRAY = 2 * 1024 * 1024 * 1024
MOST_FILES = 200
NAME_LENGTH = 80
_COPY = 1024 * 1024

UNITS = ("mm", "um", "cm", "m", "in", "ft")
"""What a part may be drawn in, the likeliest first."""


@frozen(kw_only=True)
class PartOnTray:
    """A part file: a handle that says nothing, the name its owner gave it, and where we put it."""

    handle: str
    name: str
    path: Path
    size: int
    ours: bool = False
    sides: Sides | None = None
    """Of the box around it, in the file's own unit; None where nobody has looked."""

    @property
    def needs_unit(self) -> bool:
        """Whether its format leaves the unit open."""
        return needs_unit(self.path.suffix)

    @property
    def guess(self) -> str | None:
        """The unit it was probably drawn in; None where its format says."""
        return guessed_unit(self.sides) if self.needs_unit else None

    def size_in(self, unit: str) -> str:
        """Return how large it is if drawn in a unit; empty where nobody has looked."""
        if self.sides is None:
            return ""
        return " x ".join(significant(1000.0 * side, 3) for side in in_metres(self.sides, unit)) + " mm"


async def handed_in(tray: Tray, form: FormData) -> list[PartOnTray]:
    """Return the part files of a form, put on the tray: all of them, or none and every mistake."""
    files = [f for f in form.getlist("part") if isinstance(f, UploadFile) and f.filename]
    if not files:
        raise InputError.one(
            "parts", to_say("no file was chosen"), to_say("Choose at least one STL, 3MF, OBJ or PLY file")
        )
    mistakes: list[Mistake] = []
    taken = []
    for file in files:
        try:
            taken.append(await run_in_threadpool(tray.keep, file.filename or "", file.file))
        except InputError as problem:
            mistakes += problem.mistakes
    if mistakes:
        for part in taken:
            tray.remove(part.handle)
        raise InputError(mistakes)
    return taken


def plain_name(given: str) -> str:
    r"""Return a file's name as a label: no folders, no control characters, not too long.

    Examples
    --------
    >>> plain_name("..\\..\\etc/passwd"), plain_name("lan\x00tern.stl"), plain_name("/")
    ('passwd', 'lantern.stl', 'part')
    """
    last = re.split(r"[/\\]", given)[-1]
    kept = "".join(c for c in last if c.isprintable()).strip(". ")
    return kept[-NAME_LENGTH:] or "part"


class Tray:
    """Keeps part files in a folder nobody else can read; forgets the oldest when it is full."""

    def __init__(self, ready: Iterable[tuple[str, Path]] = ()) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="vatwright-bench-"))
        self._kept: OrderedDict[str, PartOnTray] = OrderedDict()
        self._guard = threading.Lock()
        self._ready = {
            handle: PartOnTray(handle=handle, name=path.name, path=path, size=path.stat().st_size, ours=True)
            for handle, path in ready
        }

    def keep(self, given_name: str, content: BinaryIO) -> PartOnTray:
        """Return a part put on the tray; `given_name` only labels it and says its format."""
        name = plain_name(given_name)
        ending = Path(name).suffix.lower()
        if ending not in endings():
            raise InputError.one(
                name,
                to_say("is no part file that can be read"),
                to_say("Hand in one of: {endings}", endings=", ".join(sorted(endings()))),
            )
        handle = secrets.token_urlsafe(12)
        path = self.folder / f"{handle}{ending}"
        try:
            size = _write(path, content, name)
            sides = _looked_at(path, name)
        except BaseException:
            path.unlink(missing_ok=True)
            raise
        part = PartOnTray(handle=handle, name=name, path=path, size=size, sides=sides)
        with self._guard:
            self._kept[handle] = part
            self._make_room()
        return part

    def put_back(self, handle: str, name: str, kept: Path) -> None:
        """Put a part on the tray that was there before the bench was closed; nothing where it is there already."""
        path = self.folder / kept.name
        if self.find(handle) is not None:
            return
        shutil.copyfile(kept, path)
        sides: Sides | None = None
        with suppress(InputError):  # it was taken before: what is wrong with it now is told where it is read
            sides = _looked_at(path, name)
        with self._guard:
            self._kept[handle] = PartOnTray(handle=handle, name=name, path=path, size=path.stat().st_size, sides=sides)
            self._make_room()

    def ready(self) -> tuple[PartOnTray, ...]:
        """Return the parts that are always there."""
        return tuple(self._ready.values())

    def find(self, handle: str) -> PartOnTray | None:
        """Return a part by its handle."""
        return self._ready.get(handle) or self._kept.get(handle)

    def remove(self, handle: str) -> bool:
        """Take a part off the tray; False where it is not there."""
        with self._guard:
            return self._forget(handle)

    def close(self) -> None:
        """Remove everything that was handed in."""
        shutil.rmtree(self.folder, ignore_errors=True)

    def _forget(self, handle: str) -> bool:
        part = self._kept.pop(handle, None)
        if part is not None:
            part.path.unlink(missing_ok=True)
        return part is not None

    def _make_room(self) -> None:
        while len(self._kept) > MOST_FILES or sum(p.size for p in self._kept.values()) > MOST_ON_TRAY:
            self._forget(next(iter(self._kept)))


def _looked_at(path: Path, name: str) -> Sides | None:
    """Return the sides of what was handed in; refuse what is no part, under the name its owner gave it."""
    try:
        return sides_of(path)
    except InputError as fault:
        raise InputError([m._replace(where=m.where.replace(str(path), name)) for m in fault.mistakes]) from fault


def _write(path: Path, content: BinaryIO, name: str) -> int:
    size = 0
    with path.open("xb") as file:
        while block := content.read(_COPY):
            size += len(block)
            if size > MOST_BYTES:
                raise InputError.one(
                    name,
                    to_say("is larger than {MOST_BYTES} MB", MOST_BYTES=MOST_BYTES >> 20),
                    to_say("Simplify the mesh, or split it"),
                )
            file.write(block)
    if size == 0:
        raise InputError.one(name, to_say("is empty"), to_say("Export the part again"))
    return size
