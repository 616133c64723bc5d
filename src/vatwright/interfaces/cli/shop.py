"""``vatwright shop``: what the workshop has, kept in its notebook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from vatwright.interfaces.cli.answering import json_option, print_data
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.notebook import KeptEntries

NEWEST = 20
"""Jobs and runs that are listed unless all are asked for."""


def store_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add the notebook's place to a command."""
    text = (
        "The notebook: an SQLite file, or a postgresql+psycopg:// address; else VATWRIGHT_STORE, else your own folder."
    )
    return click.option("--store", metavar="PATH", help=text)(command)


def _options(command: Callable[..., Any]) -> Callable[..., Any]:
    return store_option(json_option("JSON")(command))


@click.group("shop", epilog="Example: vatwright shop add shop.toml")
def shop() -> None:
    """Machines, films, resins, lots, stations, prices: what the workshop has, kept in its notebook.

    Every change has a number and can be taken back.
    """


@shop.command("init", epilog="Example: vatwright shop init --demo")
@click.option("--demo", is_flag=True, help="Put the demo workshop into it, to play with.")
@_options
def init(*, demo: bool, store: str | None, as_json: bool) -> None:
    """Make a notebook, or bring an older one up to date."""
    from vatwright.services.keep_shop import add_entries
    from vatwright.wiring import demo_entries, open_store

    with open_store(store, create=True) as notebook:
        kept = add_entries(notebook, demo_entries(), source="the demo workshop") if demo else None
        if as_json or kept is not None:
            _tell(kept, notebook.address, as_json=as_json)
        else:
            click.echo(say("The notebook is {address}. Next: vatwright shop add shop.toml", address=notebook.address))


@shop.command("show", epilog="Example: vatwright shop show machine Wren")
@click.argument("kind", required=False, metavar="KIND")
@click.argument("name", required=False, metavar="NAME")
@click.option("--all", "everything", is_flag=True, help=f"List every job and run, not only the newest {NEWEST}.")
@_options
def show(*, kind: str | None, name: str | None, everything: bool, store: str | None, as_json: bool) -> None:
    """Show what is in the notebook: all of it, one kind, or one entry with all that is kept of it."""
    from vatwright.answers.notebook import entry_text, shelf_text
    from vatwright.answers.numbers import plain
    from vatwright.files.stock_file import stock_table
    from vatwright.interfaces.render.notebook_json import shop_json
    from vatwright.services.keep_shop import find
    from vatwright.wiring import open_store

    of_a_job = name is not None and kind in {"job", "jobs"}  # the latest of its name may be an old one
    newest = None if everything or of_a_job else NEWEST
    with open_store(store) as notebook:
        found = find(notebook.contents(newest=newest, run=name), kind, name)
        address = notebook.address
    if as_json:
        print_data(shop_json(found.kinds, address, stock_table, found.older))
    elif name is None:
        click.echo(plain(shelf_text(found.kinds, address, found.older)))
    else:
        click.echo(entry_text(next(iter(next(iter(found.kinds.values())).values()))))


@shop.command("add", epilog="Example: vatwright shop add shop.toml stock.toml")
@click.argument("files", nargs=-1, required=True, metavar="FILE.toml...", type=click.Path())
@_options
def add(*, files: tuple[str, ...], store: str | None, as_json: bool) -> None:
    """Put machines, resins, recipes, films, screens, lots, stations and prices from TOML files into the notebook.

    An entry of a name that is known replaces the known one; the old recipe stays among its versions.
    """
    from vatwright.services.keep_shop import add_entries
    from vatwright.wiring import open_store, read_for_store

    with open_store(store, create=True) as notebook:
        kept = add_entries(notebook, read_for_store(files, notebook), source=", ".join(files))
        _tell(kept, notebook.address, as_json=as_json)


@shop.command("export", epilog="Example: vatwright shop export notebook-2026.zip")
@click.argument("path", metavar="PATH", type=click.Path())
@_options
def export(*, path: str, store: str | None, as_json: bool) -> None:
    """Write everything as open files into a new folder, or into one zip: TOML and JSON lines."""
    from vatwright.wiring import export_store

    written = export_store(path, store=store)
    if as_json:
        print_data({"schema": "vatwright.export/1", "path": path, "files": written})
    else:
        click.echo(say("wrote {path}: {files}", path=path, files=", ".join(written)))


@shop.command("import", epilog="Example: vatwright shop import notebook-2026.zip")
@click.argument("path", metavar="PATH", type=click.Path())
@_options
def import_(*, path: str, store: str | None, as_json: bool) -> None:
    """Take in what an export holds; what is there already is left alone, so twice does no harm."""
    from vatwright.wiring import import_store

    kept, address = import_store(path, store=store, source=path)
    _tell(kept, address, as_json=as_json)


@shop.command("undo", epilog="Example: vatwright shop undo")
@click.argument("number", required=False, type=click.IntRange(1), metavar="NUMBER")
@_options
def undo(*, number: int | None, store: str | None, as_json: bool) -> None:
    """Take back the last change, or the one of that number; to take back an undo is to do it again."""
    from vatwright.answers.notebook import change_text
    from vatwright.interfaces.render.notebook_json import kept_json
    from vatwright.wiring import open_store

    with open_store(store) as notebook:
        change = notebook.undo(number)
        address = notebook.address
    if as_json:
        print_data(kept_json(change, address, same=0))
    else:
        click.echo(f"{say('Took back change {number}.', number=change.undoes)}\n{change_text(change)}")
        click.echo(say("To have it again: vatwright shop undo {number}", number=change.number))


@shop.command("history", epilog="Example: vatwright shop history 'slate on Wren'")
@click.argument("recipe", required=False, metavar="RECIPE")
@_options
def history(*, recipe: str | None, store: str | None, as_json: bool) -> None:
    """List every change, or every saved version of one recipe."""
    from vatwright.answers.notebook import changes_text, versions_text
    from vatwright.errors import InputError
    from vatwright.interfaces.render.notebook_json import changes_json, versions_json
    from vatwright.wiring import open_store

    with open_store(store) as notebook:
        address = notebook.address
        changes = notebook.changes() if recipe is None else ()
        saved = () if recipe is None else notebook.contents(newest=1).versions
    if recipe is None:
        if as_json:
            print_data(changes_json(changes, address))
        else:
            click.echo(changes_text(changes))
        return
    versions = [v for v in saved if v.recipe == recipe]
    if not versions:
        known = ", ".join(sorted({v.recipe for v in saved})) or "none"
        raise InputError.one(
            recipe, to_say("no version of a recipe of that name was saved"), to_say("Known: {known}", known=known)
        )
    if as_json:
        print_data(versions_json(recipe, versions, address))
    else:
        click.echo(versions_text(versions))


def _tell(kept: KeptEntries | None, address: str, *, as_json: bool) -> None:
    from vatwright.answers.notebook import kept_text
    from vatwright.interfaces.render.notebook_json import kept_json

    change, same = (None, 0) if kept is None else (kept.change, kept.same)
    if as_json:
        print_data(kept_json(change, address, same=same))
    else:
        click.echo(kept_text(change, address, same=same))
