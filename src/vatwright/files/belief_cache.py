"""What a notebook's runs let one believe, kept between commands: found again by everything it was learned from.

Two things are kept: lessons (what takes long to work out of one run) and beliefs (what all runs of a question let one
believe).  Neither holds code; whatever is not whole is worked out again.
"""

from __future__ import annotations

import io
import json
import math
import zipfile
from typing import TYPE_CHECKING

import numpy as np

from vatwright.evidence.belief import Belief, Unknown
from vatwright.files.answer_cache import key_of, trim, written

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

KEPT = 100
"""Beliefs kept; the oldest go."""

LESSONS = 3000
"""Lessons kept, of some 30 kB each; the oldest go."""


def recall_belief(folder: Path, key: str) -> Belief | None:
    """Return a kept belief; None where there is none or its file is not whole."""
    try:
        with zipfile.ZipFile(folder / f"belief-{key}.npz") as packed:
            unknowns = [Unknown(*pair) for pair in json.loads(packed.read("unknowns.json"))]
            notes = tuple(str(note) for note in json.loads(packed.read("notes.json")))
            samples = np.lib.format.read_array(io.BytesIO(packed.read("samples.npy")), allow_pickle=False)
    except (OSError, KeyError, ValueError, TypeError, zipfile.BadZipFile):
        return None
    fits = samples.ndim == 2 and samples.shape[1] == len(unknowns) and len(samples) > 0
    whole = fits and samples.dtype == np.float64 and math.isfinite(float(np.abs(samples).max(initial=0.0)))
    return Belief(unknowns=tuple(unknowns), samples=samples, notes=notes) if whole else None


def keep_belief(folder: Path, key: str, belief: Belief) -> None:
    """Keep a belief; a full disk only means that it is worked out again."""
    made, table = io.BytesIO(), io.BytesIO()
    np.lib.format.write_array(table, belief.samples, allow_pickle=False)
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("unknowns.json", json.dumps([list(u) for u in belief.unknowns]))
        packed.writestr("notes.json", json.dumps(list(belief.notes)))
        packed.writestr("samples.npy", table.getvalue())
    written(folder / f"belief-{key}.npz", made.getvalue())
    trim(folder, "belief-*.npz", KEPT)


# ------------------------------------------------------------------------------------------------------- lessons


class LessonCache:
    """Lessons in a folder; satisfies the services' LessonMemory.

    Parameters
    ----------
    folder : Path
        Where.
    version : str
        Of the code that works lessons out: another version finds none of them.
    """

    def __init__(self, folder: Path, *, version: str) -> None:
        self._folder, self._version = folder / "lessons", version

    def recall(self, key: bytes) -> dict[str, Floats] | None:
        """Return what was kept under a key; None where there is none or it is not whole."""
        try:
            with np.load(io.BytesIO(self._path(key).read_bytes()), allow_pickle=False) as packed:
                found = {name: np.asarray(packed[name]) for name in packed.files}
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return None
        whole = all(a.dtype == np.float64 and bool(np.isfinite(a).all()) for a in found.values())
        return found if whole else None

    def keep(self, key: bytes, arrays: dict[str, Floats]) -> None:
        """Keep a lesson; a full disk only means that it is worked out again."""
        made = io.BytesIO()
        np.savez(made, **{name: np.asarray(a, np.float64) for name, a in arrays.items()})  # type: ignore[arg-type]
        written(self._path(key), made.getvalue())

    def trim(self) -> None:
        """Let the oldest lessons go."""
        trim(self._folder, "*.npz", LESSONS)

    def _path(self, key: bytes) -> Path:
        return self._folder / f"{key_of([key.hex()], version=self._version)}.npz"
