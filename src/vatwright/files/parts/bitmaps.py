"""A folder of layer bitmaps: one picture per layer, white where light falls.

Pictures are opened one by one when they are asked for; their sizes are checked beforehand from their headers alone.
"""

from __future__ import annotations

import re
import warnings
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import attrs
import numpy as np
from PIL import Image, UnidentifiedImageError

from vatwright.errors import InputError, Mistake
from vatwright.files.parts.text import count_of
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from vatwright.files.parts.limits import Limits

PICTURES = {".png": "PNG", ".bmp": "BMP", ".tif": "TIFF", ".tiff": "TIFF"}
_SHOWN_MISTAKES = 8
_HALF = {"I;16": 32_768, "I;16L": 32_768, "I;16B": 32_768, "I;16N": 32_768}
_WANTED = ("1", "L", "LA", "P", "RGB", "RGBA", *_HALF)


@attrs.frozen(kw_only=True, eq=False)
class LayerBitmaps:
    """The layers of a folder as masks, read when asked for.

    Parameters
    ----------
    paths : tuple of Path
        One picture per layer, first layer first.
    width, height : int
        Pixels along x (columns) and y (rows).
    pixel_m : float
        Side of a pixel [m].
    layer_nm : int
        Layer thickness, a whole number of nanometres.
    """

    paths: tuple[Path, ...]
    width: int
    height: int
    pixel_m: float
    layer_nm: int

    def __len__(self) -> int:
        return len(self.paths)

    def __iter__(self) -> Iterator[NDArray[np.bool_]]:
        return (self.mask(layer) for layer in range(len(self)))

    def mask(self, layer: int) -> NDArray[np.bool_]:
        """Return layer `layer` (from 0) as (height, width) booleans; row 0 is the picture's top row.

        A pixel counts as lit from half of full brightness on.
        """
        path = self.paths[layer]
        try:
            with _quiet(), Image.open(path) as picture:
                if picture.size != (self.width, self.height):
                    raise InputError.one(
                        str(path), to_say("its size changed while it was read"), to_say("Export the layers again")
                    )
                return lit(picture)
        except (OSError, SyntaxError, Image.DecompressionBombError) as fault:
            raise InputError.one(
                str(path),
                to_say("the picture cannot be read ({fault})", fault=fault),
                to_say("Export the layers again"),
            ) from fault


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the picture library's warnings still: the size has a limit of our own, damaged notes say nothing of a layer."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        yield


def lit(picture: Image.Image) -> NDArray[np.bool_]:
    """Return which pixels reach half of full brightness (shape (height, width)); what is transparent is dark."""
    if picture.mode in _HALF:
        return np.asarray(picture) >= _HALF[picture.mode]
    if picture.mode == "1":
        return np.asarray(picture)
    if "transparency" in picture.info or picture.mode in ("LA", "RGBA"):
        layered = np.asarray(picture.convert("RGBA").convert("LA"), dtype=np.uint32)
        return layered[..., 0] * layered[..., 1] * 2 >= 255 * 255
    return np.asarray(picture.convert("L")) >= 128


def natural(name: str) -> list[tuple[int, str]]:
    """Return a key that sorts numbers inside names by their value.

    Examples
    --------
    >>> sorted(["layer10.png", "layer9.png"], key=natural)
    ['layer9.png', 'layer10.png']
    """
    pieces = re.split(r"([0-9]+)", name.casefold())
    return [(int(p), "") if k % 2 else (0, p) for k, p in enumerate(pieces)]


def read_folder(
    folder: Path, *, pixel_m: float | None, layer_nm: int | None, limits: Limits
) -> tuple[LayerBitmaps, list[str]]:
    """Return the layers of a folder, every mistake about them reported at once."""
    paths = sorted((p for p in folder.iterdir() if _is_picture(p)), key=lambda p: (natural(p.name), p.name))
    mistakes = _missing(folder, pixel_m, layer_nm)
    if not paths:
        kinds = ", ".join(PICTURES)
        mistakes.append(
            Mistake(
                str(folder),
                to_say("the folder holds no layer pictures ({kinds})", kinds=kinds),
                to_say("Give the folder they are in"),
            )
        )
    if len(paths) > limits.layers:
        mistakes.append(
            Mistake(
                str(folder),
                to_say("{paths} pictures, at most {layers} are read", paths=len(paths), layers=limits.layers),
                to_say("Split the job"),
            )
        )
        raise InputError(mistakes)
    sizes, faults = _sizes(paths, limits)
    mistakes += faults + _unequal(folder, sizes)
    if mistakes or pixel_m is None or layer_nm is None:
        raise InputError(mistakes)
    width, height = next(iter(sizes.values()))
    stack = LayerBitmaps(paths=tuple(paths), width=width, height=height, pixel_m=pixel_m, layer_nm=layer_nm)
    return stack, _gaps(paths)


def _is_picture(path: Path) -> bool:
    """Tell whether a folder's entry is one of its layers; hidden files are not."""
    return path.suffix.lower() in PICTURES and not path.name.startswith(".") and path.is_file()


def _missing(folder: Path, pixel_m: float | None, layer_nm: int | None) -> list[Mistake]:
    """Ask for what pictures do not say about themselves."""
    mistakes = []
    if pixel_m is None:
        do = "Write pixel_mm = 0.05 (your machine's) in the job file, or --pixel-mm 0.05"
        mistakes.append(Mistake(str(folder), to_say("pictures do not say how large a pixel is"), do))
    elif not 0 < pixel_m < float("inf"):
        mistakes.append(
            Mistake(
                str(folder),
                to_say("a pixel of {pixel_m:g} mm is none", pixel_m=pixel_m * 1e3),
                to_say("Give a size above 0"),
            )
        )
    if layer_nm is None:
        do = "Write layer_mm = 0.05 in the job file, or --layer-mm 0.05"
        mistakes.append(Mistake(str(folder), to_say("pictures do not say how thick a layer is"), do))
    elif layer_nm <= 0:
        mistakes.append(
            Mistake(
                str(folder),
                to_say("a layer of {layer_nm} nm is none", layer_nm=layer_nm),
                to_say("Give a thickness above 0"),
            )
        )
    return mistakes


def _sizes(paths: list[Path], limits: Limits) -> tuple[dict[Path, tuple[int, int]], list[Mistake]]:
    """Return the size of every usable picture, from its header, and what is wrong with the others."""
    sizes, mistakes = {}, []
    for path in paths:
        if path.stat().st_size > limits.picture_bytes:
            mistakes.append(
                Mistake(
                    str(path),
                    to_say("larger than {picture_bytes} bytes", picture_bytes=limits.picture_bytes),
                    to_say("Export the layer again"),
                )
            )
            continue
        try:
            with _quiet(), Image.open(path, formats=sorted(set(PICTURES.values()))) as picture:
                fault = _unusable(picture, limits)
                sizes[path] = picture.size
        except Image.DecompressionBombError:
            fault = f"it would unpack to more than {limits.picture_pixels} pixels"
        except UnidentifiedImageError:
            fault = "it is no picture, whatever its name says"
        except (OSError, SyntaxError, ValueError) as broken:
            fault = f"the picture cannot be read ({broken})"
        if fault:
            mistakes.append(Mistake(str(path), fault, to_say("Export the layer again as a plain PNG")))
    if len(mistakes) > _SHOWN_MISTAKES:
        more = len(mistakes) - _SHOWN_MISTAKES
        last = Mistake(
            str(paths[0].parent),
            to_say("{more} more pictures cannot be used", more=more),
            to_say("Export the layers again"),
        )
        mistakes = [*mistakes[:_SHOWN_MISTAKES], last]
    return sizes, mistakes


def _unusable(picture: Image.Image, limits: Limits) -> str:
    """Return why a picture cannot be a layer, or nothing."""
    pixels = picture.width * picture.height
    if pixels > limits.picture_pixels:
        return f"{picture.width} x {picture.height} pixels, at most {limits.picture_pixels} are read"
    if (frames := getattr(picture, "n_frames", 1)) > 1:
        return f"it holds {frames} pictures, a layer has one"
    if picture.mode not in _WANTED:
        return f"its pixels are of a kind ({picture.mode}) that has no brightness from 0 to full"
    return ""


def _unequal(folder: Path, sizes: dict[Path, tuple[int, int]]) -> list[Mistake]:
    """Name the pictures that are not of the size most have."""
    found = list(sizes.values())
    if len(set(found)) < 2:
        return []
    usual = max(set(found), key=found.count)
    odd = [p for p, size in sizes.items() if size != usual]
    width, height = sizes[odd[0]]
    what = (
        f"{len(odd)} of {len(sizes)} pictures are not {usual[0]} x {usual[1]} pixels; "
        f"{odd[0].name} is {width} x {height}"
    )
    return [Mistake(str(folder), what, to_say("Keep the layers of one job in a folder of their own"))]


def _gaps(paths: list[Path]) -> list[str]:
    """Say where the numbers in the names jump: a layer may be missing."""
    numbers = [re.findall(r"[0-9]+", p.stem) for p in paths]
    if not all(numbers):
        return []
    last = [int(n[-1]) for n in numbers]
    jumps = [k for k in range(1, len(last)) if last[k] != last[k - 1] + 1]
    if not jumps:
        return []
    k = jumps[0]
    return [
        f"the layer numbers jump from {paths[k - 1].name} to {paths[k].name}"
        + (f" (and at {count_of(len(jumps) - 1, 'more place')})" if len(jumps) > 1 else "")
        + ": make sure that no layer is missing"
    ]
