"""``vatwright calc``: one formula with units, working, validity and source."""

from __future__ import annotations

import click

from vatwright.interfaces.cli.answering import json_option, print_data


@click.command(
    "calc", epilog="Example: vatwright calc squeeze_force viscosity=200mPa.s torsion_mm4=15708 gap_um=50 speed_mm_s=1"
)
@click.argument("name", required=False)
@click.argument("values", nargs=-1, metavar="KEY=VALUE...")
@click.option("--list", "list_all", is_flag=True, help="List every formula with its arguments.")
@json_option("the answer as JSON: value, unit, source and the working")
def calc(name: str | None, values: tuple[str, ...], list_all: bool, as_json: bool) -> None:
    """Work out one formula and show how.

    Arguments carry their unit in the name (radius_mm=10) or in the value (radius=10mm). Without a name the formulas are
    listed.
    """
    from vatwright.services.calculate import calculate

    if list_all or name is None:
        _print_list(as_json=as_json)
        return
    answer = calculate(name, values)
    if as_json:
        print_data(answer.to_json(), indent=2)
        return
    click.echo(f"{answer.name} = {answer.value:.5g} {answer.unit}".rstrip())
    for label, text in (
        ("What", answer.title),
        ("Working", answer.working),
        ("Holds", answer.validity),
        *(("Source", citation) for citation in answer.citations),
    ):
        click.echo(f"  {label + ':':<9}{text}")


def _print_list(*, as_json: bool) -> None:
    """Print every formula, by subject."""
    from vatwright.services.calculate import FORMULAS
    from vatwright.services.formula import unit_text

    if as_json:
        entries = [
            {
                "name": f.name,
                "title": f.title,
                "subject": f.subject,
                "unit": unit_text(f.unit),
                "arguments": [
                    {"name": a.name, "unit": a.unit_text, "meaning": a.meaning, "default": f.defaults.get(a.name)}
                    for a in f.arguments
                ],
            }
            for f in FORMULAS.values()
        ]
        print_data(entries, indent=2)
        return
    subject = ""
    for formula in FORMULAS.values():
        if formula.subject != subject:
            click.echo(("\n" if subject else "") + formula.subject)
            subject = formula.subject
        click.echo(f"  {formula.name} {formula.usage}")
        click.echo(f"      {formula.title} [{unit_text(formula.unit) or '1'}]")
