"""``vatwright stand``: how a part should stand."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.answering import html_option, json_option, tell
from vatwright.interfaces.cli.study import UNITS


@click.command(
    "stand",
    epilog="Example: vatwright stand parts/cup.stl --unit mm --machine Wren --shop shop.toml --write turned.stl",
)
@click.argument("part", metavar="PART")
@click.option("--machine", required=True, metavar="MACHINE", help="Machine of the shop that prints it.")
@click.option("--resin", metavar="RESIN", help="Resin of the shop; else that of the recipe it starts from.")
@click.option("--unit", type=click.Choice(UNITS), help="Length unit of a file whose format has none (STL, OBJ, PLY).")
@click.option("--count", type=click.IntRange(1, 10_000), default=1, show_default=True, help="How many pieces.")
@click.option("--layer-mm", help="Layer thickness [mm]; else the recipe's.")
@click.option("--room-c", type=click.FloatRange(-10.0, 60.0), help="Temperature of the room [C]; else the recipe's.")
@click.option(
    "--shop", type=click.Path(), envvar="VATWRIGHT_SHOP", help="Shop file; else shop.toml, else the notebook."
)
@click.option("--write", "write_path", type=click.Path(), metavar="F.stl", help="Write the part as it should stand.")
@html_option
@click.option("--way", type=click.IntRange(0), help="Write this way of the list instead, 0 as drawn.")
@click.option("--force", is_flag=True, help="Write over a file that is there.")
@json_option("vatwright.stand/1")
def stand(
    part: str,
    machine: str,
    resin: str | None,
    unit: str | None,
    count: int,
    layer_mm: str | None,
    room_c: float | None,
    shop: str | None,
    write_path: str | None,
    html_path: str | None,
    way: int | None,
    force: bool,
    as_json: bool,
) -> int:
    """Say how a part should stand: a short list of directions against as drawn, and what each changes.

    Exits 1 where the part fits the machine in no direction.
    """
    from vatwright.answers.stand import stand_answer
    from vatwright.interfaces.cli.job_options import check_outputs, write_bytes
    from vatwright.interfaces.cli.progress import ProgressLine
    from vatwright.interfaces.cli.study import layer_of, name_of
    from vatwright.interfaces.render.stand_json import stand_json
    from vatwright.records.part import PartUse
    from vatwright.wiring import StandAsked, new_outputs, stand_of_shop, standing_stl

    new_outputs({".stl": write_path}, force=force)
    check_outputs(html=html_path)
    use = PartUse(name=name_of(part), file=part, unit=unit, count=count)
    layer_nm = None if layer_mm is None else layer_of(layer_mm)
    with ProgressLine() as progress:
        sheet = stand_of_shop(StandAsked(use, machine, resin, room_c, layer_nm), shop, progress=progress)
    if write_path:
        write_bytes(write_path, standing_stl(use, sheet, way))
    tell(
        lambda: stand_answer(sheet),
        lambda: stand_json(sheet),
        as_json=as_json,
        html_path=html_path,
        leave=("pictures",),
    )
    return 0 if sheet.advised.fits else 1
