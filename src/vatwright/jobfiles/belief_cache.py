"""What a notebook's runs let one believe, kept between commands: found again by everything it was learned from."""

from __future__ import annotations

import hashlib
import io
import json
import math
import zipfile
from typing import TYPE_CHECKING

import numpy as np

from vatwright.errors import VatwrightError
from vatwright.evidence.belief import Belief, Unknown
from vatwright.jobfiles.atomic import write_bytes_atomically

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

KEPT = 20
"""Beliefs kept; the oldest go."""


def belief_key(texts: Iterable[str], *, version: str) -> str:
    """Return a digest of all texts that a belief was learned from and of the code that learned it."""
    digest = hashlib.sha256(version.encode())
    for text in texts:
        digest.update(b"\0" + text.encode())
    return digest.hexdigest()[:32]


def recall_belief(folder: Path, key: str) -> Belief | None:
    """Return a kept belief; None where there is none or its file is not whole."""
    try:
        with zipfile.ZipFile(folder / f"belief-{key}.npz") as packed:
            unknowns = [Unknown(*pair) for pair in json.loads(packed.read("unknowns.json"))]
            samples = np.lib.format.read_array(io.BytesIO(packed.read("samples.npy")), allow_pickle=False)
    except (OSError, KeyError, ValueError, TypeError, zipfile.BadZipFile):
        return None
    fits = samples.ndim == 2 and samples.shape[1] == len(unknowns) and len(samples) > 0
    whole = fits and samples.dtype == np.float64 and math.isfinite(float(np.abs(samples).max(initial=0.0)))
    return Belief(unknowns=tuple(unknowns), samples=samples) if whole else None


def keep_belief(folder: Path, key: str, belief: Belief) -> None:
    """Keep a belief; a full disk only means that it is worked out again."""
    made, table = io.BytesIO(), io.BytesIO()
    np.lib.format.write_array(table, belief.samples, allow_pickle=False)
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as packed:
        packed.writestr("unknowns.json", json.dumps([list(u) for u in belief.unknowns]))
        packed.writestr("samples.npy", table.getvalue())
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_bytes_atomically(folder / f"belief-{key}.npz", made.getvalue())
        by_age = sorted(folder.glob("belief-*.npz"), key=lambda f: f.stat().st_mtime)
        for old in by_age[:-KEPT]:
            old.unlink(missing_ok=True)
    except (OSError, VatwrightError):
        return
