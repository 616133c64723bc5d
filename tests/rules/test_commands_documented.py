"""docs/reference/commands.md says what --help says: every command, option and argument, and examples that parse."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

from vatwright.interfaces.cli.main import COMMANDS, vatwright

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "commands.md"


def command(name):
    found = vatwright.get_command(click.Context(vatwright), name)
    assert found is not None
    return found


def parameters(name):
    """The options and arguments of a command, and of the commands within it."""
    found = command(name)
    inner = found.commands.values() if isinstance(found, click.Group) else ()
    return [p for one in (found, *inner) for p in one.params]


def sections():
    """The text of the page under each second-level heading."""
    parts = re.split(r"^## ", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]
    return {part.split("\n", 1)[0].strip().strip("`"): part.split("\n", 1)[1] for part in parts}


def examples(text):
    """Lines of the page that a reader may type."""
    blocks = re.findall(r"```\n(.*?)```", text, flags=re.DOTALL)
    return [line for block in blocks for line in block.splitlines() if line.startswith("vatwright ")]


def test_the_page_has_a_section_for_each_command_and_no_other():
    assert [name for name in sections() if name.startswith("vatwright ")] == [f"vatwright {name}" for name in COMMANDS]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_and_argument_is_on_the_page(name):
    text = sections()[f"vatwright {name}"]
    told = set(re.findall(r"`(--[a-z-]+)", text))
    options = {o for p in parameters(name) if isinstance(p, click.Option) for o in p.opts if o.startswith("--")}
    assert told == options
    for parameter in parameters(name):
        if isinstance(parameter, click.Argument):
            shown = parameter.make_metavar(click.Context(command(name))).strip("[]").split("...")[0].strip("[]")
            assert f"`{shown}" in text, shown


@pytest.mark.parametrize("name", COMMANDS)
def test_choices_and_defaults_on_the_page_are_those_of_the_command(name):
    text = sections()[f"vatwright {name}"]
    for parameter in parameters(name):
        if isinstance(parameter.type, click.Choice):
            assert all(f"`{choice}`" in text for choice in parameter.type.choices)
        if isinstance(parameter, click.Option) and parameter.show_default:
            row = next(line for line in text.splitlines() if f"`{parameter.opts[0]}" in line)
            assert f"`{parameter.default}`" in row


@pytest.mark.parametrize("name", COMMANDS)
def test_examples_on_the_page_and_in_help_parse(name):
    shown = examples(sections()[f"vatwright {name}"])
    in_help = (command(name).epilog or "").removeprefix("Example: ")
    assert shown, "no example"
    assert in_help in shown
    for line in shown:
        words = shlex.split(line, comments=True)[2:]
        parse(command(name), name, words)  # raises where an option or argument is wrong


def parse(found, name, words):
    context = found.make_context(name, words)
    if isinstance(found, click.Group):
        inner_name, inner, rest = found.resolve_command(context, words)
        parse(inner, inner_name, rest)


def test_exit_codes_are_on_the_page():
    text = PAGE.read_text(encoding="utf-8")
    for code, meaning in ((0, "ok"), (1, "no"), (2, "cannot be used"), (3, "fault of ours"), (130, "stopped")):
        assert re.search(rf"^\| {code} \| .*{meaning}", text, flags=re.MULTILINE), code
