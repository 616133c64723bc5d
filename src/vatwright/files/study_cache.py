"""Studies of parts kept between runs: found again by what the part's file holds, never by its name or date alone.

What a file holds is told by a digest of all its bytes.  The digest is remembered with everything the system says about
the file (device, number, size, time of writing and time of change, which no program can set), so that a file nobody
touched is not read again; see :func:`_identity` for when that is believed.

A kept study is one file: a mark, a digest of the rest, a header in JSON and plain arrays.  It holds no code and nothing
is unpickled; a file that is foreign, cut short or changed is not used, and the study that follows replaces it.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
import os
import platform
import secrets
import sys
import time
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any

import attrs
import numpy as np
from numpy.typing import NDArray

from vatwright.compiled import kernel
from vatwright.geometry.blocks import in_blocks
from vatwright.geometry.load_path import IslandGraph
from vatwright.geometry.part_layers import PartLayers, Standing
from vatwright.geometry.spans import Spans
from vatwright.wording import as_plain, from_plain

if TYPE_CHECKING:
    from io import BufferedIOBase

    from vatwright.records.part import PartUse

CACHE_VARIABLE = "VATWRIGHT_CACHE"
"""Environment variable that names the folder; set and empty, nothing is kept."""

LARGEST_BYTES = 2_000_000_000
"""What the folder may hold; beyond it the studies not used for longest go."""

ABANDONED_S = 3600.0
"""Half-written files older than this [s] are what a stopped run left behind."""

TRIM_EVERY_S, TRIM_EVERY_SHARE = 600.0, 0.02
"""The folder is looked through when the last look is this old [s], or a run kept this share of what may be held [-]."""

SETTLED_S = 2.0
"""A file that changed less than this ago [s] may change again at what its system calls the same time: the coarsest
steps of file times are 2 s (FAT; from memory)."""

_MARK = b"vwstudy1"
_WORDS = 8192  # words a block of the digest: 64 kB
_AT_ONCE = 128 * 8 * _WORDS  # bytes of a file held at a time, whole blocks: 8 MB
_WORTH_THREADS = 512  # blocks, 32 MB: below, starting threads takes longer than they save
_ALIGN = 64
_RUN_ARRAYS = ("layer_start", "row", "x0_m", "x1_m", "area_m2", "overlap_area_m2")
_GRAPH_ARRAYS = tuple(a.name for a in attrs.fields(IslandGraph))
_ARRAYS = ("bounds_m", "area_m2", "perimeter_m", "torsion_m4", "vented_m4", "islands", "fresh", "pockets")
_NUMBERS = ("layer_nm", "volume_m3", "overlap_m3", "surface_m2", "closed")
_TYPES = {"<f8", "<i8", "<i4"}


def cache_folder() -> Path | None:
    """Return where studies are kept: what VATWRIGHT_CACHE names, else the platform's usual place; None for nowhere."""
    named = os.environ.get(CACHE_VARIABLE)
    if named is not None:
        return Path(named) if named else None
    try:
        home = Path.home()
    except RuntimeError:
        return None
    if sys.platform == "win32":
        return Path(os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local") / "Vatwright" / "Cache"
    if sys.platform == "darwin":
        return home / "Library" / "Caches" / "vatwright"
    return Path(os.environ.get("XDG_CACHE_HOME") or home / ".cache") / "vatwright"


@cache
def kernels_version() -> str:
    """Return a digest of the code that reads and studies parts: any change to it makes kept studies void."""
    package = Path(__file__).parents[1]
    digest = hashlib.sha256()
    for file in sorted([*package.glob("geometry/**/*.py"), *package.glob("files/parts/*.py"), Path(__file__)]):
        digest.update(file.name.encode() + b"\0" + file.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


@cache
def planner_version() -> str:
    """Return a digest of the code that plans and learns: any change to it makes kept beliefs void."""
    package = Path(__file__).parents[1]
    digest = hashlib.sha256()
    for room in ("physics", "planning", "evidence", "records", "services"):
        for file in sorted((package / room).rglob("*.py")):
            digest.update(file.name.encode() + b"\0" + file.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


# ------------------------------------------------------------------------------------------------ digests


@kernel
def _digest_blocks(words: NDArray[np.uint64], first: int, last: int) -> NDArray[np.uint64]:
    """Return four numbers for each block of words; odd constants and shifts as in SplitMix64 [1].

    .. [1] Steele, G. L., Lea, D. and Flood, C. H. (2014), OOPSLA, figure 16 [steele:2014]
    """
    odd, more = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x9E3779B97F4A7C15)
    out = np.empty((last - first, 4), np.uint64)
    for block in range(first, last):
        a, b, c, d = more, more * more, odd * more, odd
        for at in range(block * _WORDS, (block + 1) * _WORDS, 4):
            a = (a ^ words[at]) * odd
            b = (b ^ words[at + 1]) * odd
            c = (c ^ words[at + 2]) * odd
            d = (d ^ words[at + 3]) * odd
            a ^= a >> np.uint64(31)
            b ^= b >> np.uint64(31)
            c ^= c >> np.uint64(31)
            d ^= d >> np.uint64(31)
        k = block - first
        out[k, 0], out[k, 1], out[k, 2], out[k, 3] = a, b, c, d
    return out


def digest_of(data: NDArray[np.uint8]) -> bytes:
    """Return a 256-bit digest of bytes: quick digests of 64 kB blocks, and SHA-256 over those and what is left.

    It tells files apart that differ by chance or by editing; it is no defence against one forged on purpose.

    Examples
    --------
    >>> digest_of(np.zeros(3, np.uint8)) == digest_of(np.zeros(4, np.uint8))
    False
    """
    digest = hashlib.sha256(data.size.to_bytes(8, "little"))
    _take_in(digest, data)
    return digest.digest()


def _digest_of_rest(stream: BufferedIOBase, size: int) -> bytes:
    """Return :func:`digest_of` the bytes that a stream still holds, `size` of them, without holding all at once."""
    digest = hashlib.sha256(size.to_bytes(8, "little"))
    held = np.empty(min(size, _AT_ONCE), np.uint8)
    while count := stream.readinto(held.data):
        _take_in(digest, held[:count])
    return digest.digest()


def _take_in(digest: hashlib._Hash, data: NDArray[np.uint8]) -> None:
    """Add the digests of whole blocks, and what is left of the last one as it is."""
    # One kind of array, so that the kernel is compiled once.
    data = data.view()
    data.flags.writeable = False
    blocks = data.size // (8 * _WORDS)
    whole = data[: blocks * 8 * _WORDS].view(np.uint64)
    if blocks < _WORTH_THREADS:
        digest.update(_digest_blocks(whole, 0, blocks).tobytes())
    else:
        for part in in_blocks(np.full(blocks, _WORDS), lambda a, b: _digest_blocks(whole, a, b)):
            digest.update(part.tobytes())
    digest.update(data[blocks * 8 * _WORDS :].tobytes())


# ------------------------------------------------------------------------------------------------ one kept study


def pack(layers: PartLayers) -> bytes:
    """Return a study as bytes, to be read back by :func:`unpack` bit for bit."""
    stream = io.BytesIO()
    _write(layers, stream)
    content = np.frombuffer(stream.getvalue(), np.uint8)
    return b"".join((_MARK, digest_of(content[_START:]), content[_START:].data))


_START = len(_MARK) + 32
"""Where what the digest covers begins [bytes]."""


def _write(layers: PartLayers, stream: IO[bytes]) -> None:
    """Write a study as bytes, zeros in place of the digest; arrays go out one by one, none is copied."""
    arrays = {name: getattr(layers, name) for name in _ARRAYS}
    runs = {id(s.runs): s.runs for s in layers.standing}
    graphs = {id(s.runs): s.graph for s in layers.standing}
    number = {key: n for n, key in enumerate(runs)}
    for n, each in enumerate(runs.values()):
        arrays |= {f"{n}.{name}": getattr(each, name) for name in _RUN_ARRAYS}
        if graph := graphs[id(each)]:
            arrays |= {f"{n}.graph.{name}": getattr(graph, name) for name in _GRAPH_ARRAYS}
    for name in ("base_loops_m", "outline_loops_m"):
        loops = getattr(layers, name)
        arrays[name] = np.concatenate(loops) if loops else np.zeros((0, 2))
        arrays[f"{name}.sizes"] = np.array([len(loop) for loop in loops], dtype=np.int64)
    facts = {name: getattr(layers, name) for name in _NUMBERS} | {
        "warnings": [as_plain(text) for text in layers.warnings],
        "runs": [(r.origin_m, r.pitch_m, r.rows) for r in runs.values()],
        "standing": [(number[id(s.runs)], s.shift_m, s.first_layer) for s in layers.standing],
    }
    listed, at = {}, 0
    for name, value in arrays.items():
        listed[name] = (value.dtype.str, value.shape, at)
        at += value.nbytes + -value.nbytes % _ALIGN
    header = json.dumps({"facts": facts, "arrays": listed}).encode()
    header += b" " * (-(_START + 8 + len(header)) % _ALIGN)
    stream.write(_MARK + bytes(32) + len(header).to_bytes(8, "little") + header)
    for value in arrays.values():
        stream.write(np.ascontiguousarray(value).reshape(-1).view(np.uint8).data)
        stream.write(bytes(-value.nbytes % _ALIGN))


def unpack(data: NDArray[np.uint8]) -> PartLayers | None:
    """Return the study that bytes hold, or None where they are foreign, cut short or changed."""
    if data.size < _START + 8 or data[: len(_MARK)].tobytes() != _MARK:
        return None
    if digest_of(data[_START:]) != data[len(_MARK) : _START].tobytes():
        return None
    body = _START + 8 + int.from_bytes(data[_START : _START + 8].tobytes(), "little")
    header = json.loads(data[_START + 8 : body].tobytes())
    arrays = {name: _array(data, body, *where) for name, where in header["arrays"].items()}
    return _layers(header["facts"], arrays)


def _array(data: NDArray[np.uint8], body: int, kind: str, shape: list[int], at: int) -> NDArray[Any]:
    if kind not in _TYPES:
        raise ValueError(kind)
    dtype = np.dtype(kind)
    size = math.prod(shape) * dtype.itemsize
    return data[body + at : body + at + size].view(dtype).reshape(shape)


def _layers(facts: dict[str, Any], arrays: dict[str, NDArray[Any]]) -> PartLayers:
    runs = [
        Spans(
            origin_m=(origin[0], origin[1]),
            pitch_m=pitch,
            rows=rows,
            **{name: arrays[f"{n}.{name}"] for name in _RUN_ARRAYS},
        )
        for n, (origin, pitch, rows) in enumerate(facts["runs"])
    ]
    graphs = [
        IslandGraph(**{name: arrays[f"{n}.graph.{name}"] for name in _GRAPH_ARRAYS})
        if f"{n}.graph.area_m2" in arrays
        else None
        for n in range(len(runs))
    ]
    loops = {
        name: tuple(np.split(arrays[name], np.cumsum(arrays[f"{name}.sizes"])[:-1])) if arrays[name].size else ()
        for name in ("base_loops_m", "outline_loops_m")
    }
    fields: dict[str, Any] = {
        "warnings": tuple(from_plain(text) for text in facts["warnings"]),
        "standing": tuple(Standing(runs[n], (x, y), first, graphs[n]) for n, (x, y), first in facts["standing"]),
        **loops,
        **{name: arrays[name] for name in _ARRAYS},
        **{name: facts[name] for name in _NUMBERS},
    }
    return PartLayers(**fields)


# ------------------------------------------------------------------------------------------------ the folder


@attrs.frozen
class _Seen:
    """A file's content digest, and the size and time it had when that was taken."""

    digest: str
    stamp: tuple[int, int]


class StudyCache:
    """Keeps studies in a folder; satisfies the services' StudyMemory.  Where the folder fails, nothing is kept.

    One of it serves one run: a part file that changes during the run is neither found nor kept any more.

    Parameters
    ----------
    folder : Path
        Made when something is first kept.
    largest_bytes : int
        What it may hold; beyond it the studies not used for longest go.
    """

    def __init__(self, folder: Path, *, largest_bytes: int = LARGEST_BYTES) -> None:
        self._folder = folder
        self._largest = largest_bytes
        self._seen: dict[str, _Seen] = {}
        self._kept_bytes = 0

    def recall(self, part: PartUse, *, layer_nm: int, turn_deg: float) -> PartLayers | None:
        """Return the kept study of a part, or None."""
        path = self._path(part, layer_nm, turn_deg)
        if path is None:
            return None
        try:
            # Mapped, changes staying private: what nobody asks for is never copied.
            found = unpack(np.asarray(np.memmap(path, np.uint8, mode="c")))
            os.utime(path)
        except (OSError, ValueError, KeyError, TypeError, IndexError):
            return None
        return found

    def keep(self, part: PartUse, layers: PartLayers, *, layer_nm: int, turn_deg: float) -> None:
        """Keep the study of a part, unless its file changed meanwhile or the folder cannot take it."""
        path = self._path(part, layer_nm, turn_deg)
        if path is None:
            return
        # Each writer has its own temporary file and a whole one takes the place of the old: two runs may do the same.
        temporary = path.with_name(f".{path.name}.{secrets.token_hex(4)}.new")
        with suppress(OSError):
            self._folder.mkdir(parents=True, exist_ok=True)
            try:
                with temporary.open("w+b") as stream:
                    _write(layers, stream)
                    size = stream.tell()
                    stream.seek(_START)
                    digest = _digest_of_rest(stream, size - _START)
                    stream.seek(len(_MARK))
                    stream.write(digest)
                if size > self._largest:
                    return
                self._kept_bytes += size
                temporary.replace(path)
            finally:
                temporary.unlink(missing_ok=True)
            self._trim()

    def _path(self, part: PartUse, layer_nm: int, turn_deg: float) -> Path | None:
        content = self.content_of(part.file)
        if content is None:
            return None
        # The name is part of what a study says in its warnings, and its ending of how the file is read.
        key = [content, Path(part.file).name, part.unit, part.pixel_m, layer_nm, turn_deg, kernels_version()]
        name = hashlib.sha256(json.dumps(key).encode()).hexdigest()[:40]
        return self._folder / f"{name}.study"

    def content_of(self, file: str) -> str | None:
        """Return the digest of a file's bytes, taken once; None for a folder, and for a file that changed since."""
        stamp = _stamp(file)
        if stamp is None:
            return None
        if file not in self._seen:
            try:
                self._seen[file] = _Seen(self._remembered(file) or self._digest(file, stamp[0]), stamp)
            except (OSError, ValueError):
                return None
        seen = self._seen[file]
        return seen.digest if seen.stamp == stamp else None

    def _digest(self, file: str, size: int) -> str:
        """Return the digest of a file's bytes, and remember it where the file may be taken as settled."""
        before = _identity(file)
        with Path(file).open("rb") as stream:
            found = _digest_of_rest(stream, size).hex()
        if before is not None and before == _identity(file):
            note = self._note(file)
            temporary = note.with_name(f".{note.name}.{secrets.token_hex(4)}.new")
            with suppress(OSError):
                self._folder.mkdir(parents=True, exist_ok=True)
                temporary.write_text(json.dumps([before, found]), encoding="utf-8")
                temporary.replace(note)
        return found

    def _remembered(self, file: str) -> str | None:
        """Return the digest of a file that nothing was done to since it was taken, or None."""
        identity = _identity(file)
        if identity is None:
            return None
        try:
            known, digest = json.loads(self._note(file).read_text(encoding="utf-8"))
        except (OSError, ValueError, TypeError):
            return None
        return digest if known == identity and isinstance(digest, str) else None

    def _note(self, file: str) -> Path:
        return self._folder / f"{hashlib.sha256(str(Path(file).resolve()).encode()).hexdigest()[:40]}.seen"

    def _trim(self) -> None:
        """Let the studies not used for longest go where there are too many; seldom, for it looks at every file."""
        now, marker = time.time(), self._folder / "looked-through"
        with suppress(OSError):
            age_s = now - marker.stat().st_mtime
            if 0.0 <= age_s < TRIM_EVERY_S and self._kept_bytes < TRIM_EVERY_SHARE * self._largest:
                return
        self._kept_bytes = 0
        marker.touch()
        files = []
        for path in self._folder.iterdir():
            with suppress(OSError):
                status = path.stat()
                if path.suffix == ".new" and now - status.st_mtime > ABANDONED_S:
                    path.unlink()
                elif path.suffix in (".study", ".seen"):
                    files.append((status.st_mtime, status.st_size, path))
        total = sum(size for _, size, _ in files)
        for _, size, path in sorted(files):
            if total <= self._largest:
                return
            with suppress(OSError):
                path.unlink()
                total -= size


def _stamp(file: str) -> tuple[int, int] | None:
    """Return size and time of change of a file; None where it is no file."""
    try:
        path = Path(file)
        status = path.stat()
        return (status.st_size, status.st_mtime_ns) if path.is_file() else None
    except (OSError, ValueError):
        return None


def _identity(file: str) -> list[int] | None:
    """Return what the system says about a file, all of it the same only while nothing is done to the file; else None.

    None too for a file changed a moment ago, and on systems that keep no time of change or let programs set it.
    """
    if os.name != "posix":
        return None
    status = Path(file).stat()
    if time.time_ns() - max(status.st_ctime_ns, status.st_mtime_ns) < SETTLED_S * 1e9:
        return None
    return [status.st_dev, status.st_ino, status.st_size, status.st_mtime_ns, status.st_ctime_ns]


# ------------------------------------------------------------------------------------------------ compiled or not


def _compiled_mark(folder: Path) -> Path:
    import numba

    made_for = (
        numba.__version__,
        np.__version__,
        sys.version,
        platform.machine(),
        platform.processor(),
        platform.node(),
    )
    key = f"{kernels_version()} {made_for}"
    return folder / f"{hashlib.sha256(key.encode()).hexdigest()[:24]}.compiled"


_compiled_here: list[bool] = []
"""Not empty once this process has compiled or loaded everything."""


def is_compiled() -> bool:
    """Return whether this version was compiled on this machine before, as far as the cache folder or this run knows."""
    if _compiled_here:
        return True
    folder = cache_folder()
    return folder is not None and _compiled_mark(folder).exists()


def note_compiled() -> None:
    """Note that this version is compiled on this machine."""
    _compiled_here.append(True)
    folder = cache_folder()
    if folder is not None:
        with suppress(OSError):
            folder.mkdir(parents=True, exist_ok=True)
            _compiled_mark(folder).touch()
