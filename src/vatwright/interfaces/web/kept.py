"""What outlives the bench being closed: what was asked of each carry, and which phones are paired, as files of ours.

A disk that takes nothing is told in the window of the bench; the bench goes on without it.
"""

from __future__ import annotations

import json
import logging
import os
import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import ValidationError

from vatwright.errors import InputError
from vatwright.files.atomic import write_bytes_atomically
from vatwright.interfaces.web.forms import JobAsked, PartAsked
from vatwright.interfaces.web.uploads import PartOnTray

CARRY_SCHEMA = "vatwright.desk-carry/1"
PHONES_SCHEMA = "vatwright.phones/1"

log = logging.getLogger(__name__)


class KeptFile(NamedTuple):
    """A part file of a kept carry: its handle, the name its owner gave it, where it is."""

    handle: str
    name: str
    path: Path


class KeptCarry(NamedTuple):
    """What is kept of a carry; the sheet is worked out again from it."""

    id: str
    made_s: float
    parts: tuple[PartAsked, ...]
    job: JobAsked | None
    before: str | None
    asked: bool
    files: tuple[KeptFile, ...]
    demo: bool = False


class KeptCarries:
    """The folder of carries.

    Parameters
    ----------
    folder : Path
        Made when the first carry is put into it.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder

    def all(self) -> list[KeptCarry]:
        """Return every carry, oldest first; a file that is none is left alone."""
        found = [self._read(path) for path in self._folder.glob("*.json")] if self._folder.is_dir() else []
        return sorted((c for c in found if c is not None), key=lambda c: c.made_s)

    def put(self, carry: KeptCarry, files: Sequence[PartOnTray]) -> None:
        """Keep a carry and its part files, the files first."""
        said = {
            "schema": CARRY_SCHEMA, "made_s": carry.made_s, "before": carry.before, "asked": carry.asked,
            "demo": carry.demo,
            "part": [p.table() for p in carry.parts], "job": carry.job.table() if carry.job else None,
            "file": [{"handle": f.handle, "name": f.name} for f in files],
        }  # fmt: skip
        try:
            self._parts.mkdir(parents=True, exist_ok=True, mode=0o700)
            for file in files:
                link_or_copy(file.path, self._parts / file.path.name)
            write_bytes_atomically(self._folder / f"{carry.id}.json", _json(said))
        except (OSError, InputError) as problem:
            log.warning("a carry is not kept beyond closing the bench: %s", problem)

    def forget(self, carry_id: str) -> None:
        """Remove a carry, and those of its part files that no other carry has."""
        gone = self._read(self._folder / f"{carry_id}.json")
        if gone is None:
            return
        (self._folder / f"{carry_id}.json").unlink(missing_ok=True)
        wanted = {file.path for carry in self.all() for file in carry.files}
        for file in gone.files:
            if file.path not in wanted:
                file.path.unlink(missing_ok=True)

    @property
    def _parts(self) -> Path:
        return self._folder / "parts"

    def _read(self, path: Path) -> KeptCarry | None:
        try:
            raw = json.loads(path.read_bytes())
            if raw["schema"] != CARRY_SCHEMA:
                return None
            return KeptCarry(
                id=path.stem, made_s=float(raw["made_s"]), before=raw["before"], asked=bool(raw["asked"]),
                parts=tuple(PartAsked.model_validate(p) for p in raw["part"]),
                job=None if raw["job"] is None else JobAsked.model_validate(raw["job"]),
                files=tuple(self._files(raw["file"])), demo=bool(raw.get("demo", False)),
            )  # fmt: skip
        except (OSError, ValueError, KeyError, TypeError, ValidationError):
            return None

    def _files(self, raw: Iterable[dict[str, Any]]) -> Iterable[KeptFile]:
        at = {path.stem: path for path in self._parts.glob("*")}
        return [KeptFile(f["handle"], f["name"], at[f["handle"]]) for f in raw if f["handle"] in at]


class PhonesFile:
    """The file of paired phones: digests of their secrets, never the secrets; nobody else may read it.

    Parameters
    ----------
    path : Path
        The file; made when the first phone is paired.
    """

    def __init__(self, path: Path) -> None:
        self._path = path

    def read(self) -> tuple[bytes, dict[str, tuple[str, float]]] | None:
        """Return the key of the forms and, by digest, each phone's name and until when it is paired (Unix time) [s]."""
        try:
            raw = json.loads(self._path.read_bytes())
            if raw["schema"] != PHONES_SCHEMA:
                return None
            return bytes.fromhex(raw["key"]), {d: (str(n), float(u)) for d, n, u in raw["phones"]}
        except (OSError, ValueError, KeyError, TypeError):
            return None

    def write(self, key: bytes, phones: dict[str, tuple[str, float]]) -> None:
        """Write the key and the phones."""
        raw = {"schema": PHONES_SCHEMA, "key": key.hex(), "phones": [[d, n, u] for d, (n, u) in phones.items()]}
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._path.touch(mode=0o600)  # a file that is there keeps its permissions when it is written again
            write_bytes_atomically(self._path, _json(raw))
        except (OSError, InputError) as problem:
            log.warning("phones must pair again once the bench is closed: %s", problem)


def link_or_copy(source: Path, target: Path) -> None:
    """Put a file in a second place, without its bytes twice where the disk can do that."""
    if target.exists():
        return
    try:
        os.link(source, target)
    except OSError:
        shutil.copyfile(source, target)


def _json(raw: object) -> bytes:
    return json.dumps(raw, ensure_ascii=False, allow_nan=False, indent=1).encode()
