"""``vatwright study``: the per-layer look at a plate of parts."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.answering import json_option, tell
from vatwright.wording import to_say

UNITS = ("um", "mm", "cm", "m", "in", "ft")


@click.command(
    "study", epilog="Example: vatwright study lantern.stl --unit mm --count 6 --machine Heron --shop shop.toml"
)
@click.argument("parts", nargs=-1, required=True, metavar="PART...")
@click.option("--unit", type=click.Choice(UNITS), help="Length unit of files whose format has none (STL, OBJ, PLY).")
@click.option("--layer-mm", default="0.05", show_default=True, help="Layer thickness [mm].")
@click.option("--pixel-mm", help="Pixel size of layer pictures [mm].")
@click.option(
    "--count",
    type=click.IntRange(1, 10_000),
    help="Pieces of each part, laid out by their outlines; without it as drawn.",
)
@click.option("--machine", help="Machine of the shop: its platform must hold the parts.")
@click.option("--shop", type=click.Path(), envvar="VATWRIGHT_SHOP", help="Shop file with the machine.")
@json_option("vatwright.study/1")
def study(
    parts: tuple[str, ...],
    unit: str | None,
    layer_mm: str,
    pixel_mm: str | None,
    count: int | None,
    machine: str | None,
    shop: str | None,
    as_json: bool,
) -> None:
    """Look at a plate of parts layer by layer: areas, islands, torsion constants, fresh islands, sealed pockets."""
    from vatwright.answers.study import study_answer
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.render.study_json import study_json
    from vatwright.records.part import PartUse
    from vatwright.wiring import machine_of_shop, study_files

    layer_nm = layer_of(layer_mm)
    pixel_m = None if pixel_mm is None else _length_m(pixel_mm, "--pixel-mm")
    target = None if machine is None else machine_of_shop(machine, shop)
    uses = [
        PartUse(name=name_of(p), file=p, unit=unit, pixel_m=pixel_m, count=count or 1, as_drawn=count is None)
        for p in parts
    ]
    with ProgressLine() as progress:
        found = study_files(uses, layer_nm=layer_nm, machine=target, progress=progress)
    title = ", ".join(u.name for u in uses)
    tell(lambda: study_answer(found, title=title), lambda: study_json(found), as_json=as_json, whole=False)


def name_of(path: str) -> str:
    """Return what a part is called: the last step of its path."""
    return path.replace("\\", "/").rstrip("/").rsplit("/", 1)[-1]


def _length_m(text: str, option: str) -> float:
    from vatwright.errors import require_positive
    from vatwright.units import parse_quantity, to_si

    value = parse_quantity(text, "mm", option)
    require_positive(**{option: value})
    return to_si(value, "mm")


def layer_of(text: str) -> int:
    """Return a layer thickness as typed, in nanometres."""
    from vatwright.errors import InputError

    layer_nm = round(_length_m(text, "--layer-mm") * 1_000_000_000)
    if not 1_000 <= layer_nm <= 1_000_000:
        raise InputError.one(
            "--layer-mm",
            to_say("{text} is not a layer thickness", text=text),
            to_say("Give a thickness between 0.001 and 1 mm, such as 0.05"),
        )
    return layer_nm
