"""What a part file may ask for of the memory and the disk, whatever its format."""

from __future__ import annotations

import attrs


@attrs.frozen(kw_only=True)
class Limits:
    """What a part file may ask for; each is our own choice, with its reason."""

    file_bytes: int = 4 << 30
    """A text STL of 15 million facets; more does not fit a usual workshop computer's memory."""
    triangles: int = 20_000_000
    """0.72 GB of corners; a scan with a triangle every 0.1 mm over a large platform."""
    vertices: int = 60_000_000
    """No mesh needs more than three vertices a triangle."""
    unpacked_bytes: int = 3 << 30
    """A 3MF of 20 million triangles unpacks to about 1.5 GB."""
    zip_ratio: int = 200
    """Text of coordinates packs 4 to 20 times, the emptiest real models about 60 times; a bomb up to 1,032 times."""
    zip_entries: int = 10_000
    """A plate of a thousand parts with a thumbnail and relations each stays well below."""
    model_parts: int = 2_000
    """One file per part of the largest plate."""
    xml_depth: int = 64
    """A 3MF model nests eight deep; the rest is room for metadata."""
    component_depth: int = 64
    """Assemblies are a handful deep."""
    placements: int = 100_000
    """Objects placed, all levels together; stops assemblies that double at each level."""
    layers: int = 50_000
    """500 mm at 0.01 mm."""
    picture_pixels: int = 150_000_000
    """The largest screens have about 100 million pixels."""
    picture_bytes: int = 1 << 30
    """An unpacked picture of that many pixels with four channels, and some."""
    extent_m: float = 1_000.0
    """Coordinates beyond a kilometre are no part; they are a wrong unit or damage."""

    def too_many_triangles(self, found: int) -> tuple[str, str]:
        """Return fault and remedy for a mesh that is too large."""
        what = f"{found} triangles or corners, at most {self.triangles} triangles are read"
        return what, "Simplify the mesh before exporting it, or split the part"


LIMITS = Limits()
