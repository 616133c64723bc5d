"""``vatwright level``: a platform's plane, whether it matters, what to turn, how to hold it down."""

from __future__ import annotations

from typing import Any

import click

from vatwright.interfaces.cli.answering import html_option, json_option, tell

LEVEL_KEYS = (
    "machine",
    "method",
    "sigma_um",
    "caliper_um",
    "read_to",
    "z_mm",
    "mount",
    "pitch_mm",
    "clockwise",
    "hold_s",
)
BASE_KEYS = ("recipe", "exposure_s", "settle_s", "layer_mm", "resin", "room_c")


@click.command("level", epilog="Example: vatwright level albatross-level.toml --recipe 'slate on Wren' --pdf level.pdf")
@click.argument("readings", required=False, type=click.Path(), metavar="[READINGS.toml]")
@click.option(
    "--point",
    "points",
    multiple=True,
    metavar="X,Y,GAP",
    help="One reading: x, y [mm] from the platform's middle, gap [um].",
)
@click.option("--machine", help="Machine of the shop whose platform it is.")
@click.option(
    "--shop",
    type=click.Path(),
    envvar="VATWRIGHT_SHOP",
    help="Shop file; else the readings name it or shop.toml stands beside.",
)
@click.option(
    "--method", metavar="HOW", help="feeler, paper, strips, indicator or print (the first layer's thickness)."
)
@click.option("--sigma-um", help="Standard uncertainty of one reading [um]; else the method's own.")
@click.option("--caliper-um", help="Caliper of one sheet or leaf [um]; 100 unless said.")
@click.option("--read-to", metavar="WHAT", help="The gap ends at the bare screen or at the film: screen or film.")
@click.option("--z-mm", help="Height the machine showed while it was read [mm].")
@click.option("--recipe", help="Recipe of the shop whose base the platform is judged for.")
@click.option("--exposure-s", help="Light of the base [s], without or instead of the recipe's.")
@click.option("--settle-s", help="Settle of the base [s].")
@click.option("--layer-mm", help="Layer thickness [mm].")
@click.option("--resin", help="Resin of the shop.")
@click.option("--room-c", help="Temperature of the room [C].")
@click.option("--mount", help="four screws, three screws or ball and clamp.")
@click.option("--pitch-mm", help="Thread pitch of the screws [mm].")
@click.option("--clockwise", metavar="WAY", help="A turn clockwise, seen from above, raises or lowers the platform.")
@click.option("--hold-s", help="How long the platform should stay down to be tightened [s]; 1200 unless said.")
@json_option("vatwright.level/1")
@html_option
@click.option("--pdf", "pdf_path", type=click.Path(), help="Write the sheet as PDF.")
def level(
    readings: str | None,
    points: tuple[str, ...],
    shop: str | None,
    as_json: bool,
    html_path: str | None,
    pdf_path: str | None,
    **keys: Any,
) -> int:
    """Say from gap readings how level a platform is, whether it matters for a base, and what to turn.

    Exits 1 when the platform is not level enough for the base named; without a base it is geometry only.
    """
    from vatwright.answers.level import level_answer
    from vatwright.files.level_file import LevelOptions, read_level
    from vatwright.interfaces.cli.job_options import check_outputs, citation
    from vatwright.interfaces.render.level_json import level_json
    from vatwright.records.level import LevelAnswer
    from vatwright.services.level_platform import level_platform

    check_outputs(html=html_path, pdf=pdf_path)
    said, base = ({k: keys[k] for k in names if keys[k] is not None} for names in (LEVEL_KEYS, BASE_KEYS))
    sheet = level_platform(read_level(readings, LevelOptions(said, base, points), shop_path=shop))
    tell(
        lambda: level_answer(sheet, cite=citation),
        lambda: level_json(sheet, cite=citation),
        as_json=as_json,
        html_path=html_path,
        pdf_path=pdf_path,
        leave=("sources",),
    )
    return 1 if sheet.answer is LevelAnswer.NO else 0
