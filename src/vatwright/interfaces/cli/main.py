"""The command: finds the subcommand, runs it, and turns errors into sentences and exit codes."""

from __future__ import annotations

import errno
import importlib
import os
import signal
import sys

import click

from vatwright import __version__
from vatwright.errors import InputError, Mistake, VatwrightError
from vatwright.interfaces.render.reader_units import UNITS, VARIABLE, reader_units
from vatwright.wording import ENGLISH, SYSTEM_VARIABLES, best_language, in_words, language, say
from vatwright.wording import VARIABLE as LANGUAGE_VARIABLE

COMMANDS: dict[str, tuple[str, str]] = {
    "study": ("study", "Look at a plate of parts layer by layer."),
    "carry": ("carry", "Carry a proven recipe to another machine: the carry sheet."),
    "visits": ("visits", "The hand schedule alone: what to change by hand, when."),
    "sheet": ("sheet", "The run sheet for the bench, as PDF."),
    "level": ("level", "Level a platform: plane, twist, what to turn, and whether it matters."),
    "shop": ("shop", "Machines, films, resins, lots, stations, prices: what the workshop has, in its notebook."),
    "trim": ("trim", "What of each wait is needed, and the next settings that save time and still hold."),
    "note": ("note", "Write down what happened in a run."),
    "why": ("why", "Why it failed: causes ranked by their margins, and what tells them apart."),
    "trial": ("trial", "A small print made to learn one number, and how to read it."),
    "stand": ("stand", "How a part should stand: a few directions against as drawn."),
    "commission": ("commission", "What to read on a new machine or of a new resin, in order, done or open."),
    "learn": ("learn", "What the runs have taught, and what to measure next."),
    "fleet": ("fleet", "An order book on all machines: plates, who runs what when, what comes late."),
    "cost": ("cost", "What a job costs: a piece, with its range, failures, and what moves it most."),
    "compare": ("compare", "The same order on several machines, and whether a larger one pays for itself."),
    "calc": ("calc", "One formula, with units, working, validity and source."),
    "serve": ("serve", "Open the bench in a browser, at the desk and beside the machine."),
    "demo": ("demo", "Put the demo workshop into a folder, or run its main job."),
}
"""Command name: the module of this room that holds it, and its line in --help.  Modules load when their command runs."""


class _Commands(click.Group):
    """Loads a command's module only when that command is asked for, so that --help stays quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:  # noqa: ARG002 - click's signature
        if name not in COMMANDS:
            return None
        module = importlib.import_module(f"vatwright.interfaces.cli.{COMMANDS[name][0]}")
        command: click.Command = getattr(module, name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl([(name, line) for name, (_, line) in COMMANDS.items()])


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="vatwright")
@click.option(
    "--units", type=click.Choice(UNITS), envvar=VARIABLE, default=UNITS[0],
    help=f"What the answer is read in: us is degrees Fahrenheit, and inches beside mm. Else {VARIABLE} says.",
)  # fmt: skip
@click.option(
    "--language", "chosen", envvar=LANGUAGE_VARIABLE, metavar="CODE",
    help=f"The language of the answer, such as en or de. Else {LANGUAGE_VARIABLE} says, else {', '.join(SYSTEM_VARIABLES)}.",
)  # fmt: skip
def vatwright(units: str, chosen: str | None) -> None:
    """Process engineering for people who print with resin.

    Study your parts, carry a proven recipe to another machine, and know what to do by hand.

    \b
    Start here:   vatwright demo
    Then:         vatwright carry demo-workshop/harbour-lanterns.toml

    Exit codes: 0 ok, 1 the answer is no, 2 something handed in cannot be used, 3 a fault of ours.
    """  # noqa: D301 - the \b is the backspace by which click keeps these lines apart
    reader_units.set(units)
    language.set(
        best_language([chosen or next((v for name in SYSTEM_VARIABLES if (v := os.environ.get(name))), ENGLISH)])
    )


def run(arguments: list[str] | None = None) -> None:
    """Run the command and exit: 0 ok, 1 the answer is no, 2 bad input, 3 a fault of ours."""
    _note_interrupts()
    sys.exit(outcome(arguments))


_interrupts: list[int] = []


def _note_interrupts() -> None:
    """Remember that somebody pressed Ctrl-C: compiled code may hand on another exception in its place."""

    def noted(number: int, _frame: object) -> None:
        _interrupts.append(number)
        raise KeyboardInterrupt

    signal.signal(signal.SIGINT, noted)


def outcome(arguments: list[str] | None = None) -> int:
    """Run the command and return its exit code; what went wrong is told on the error stream."""
    try:
        result = vatwright.main(args=arguments, prog_name="vatwright", standalone_mode=False)
    except VatwrightError as problem:
        click.echo(_told(problem), err=True)
        return problem.exit_code
    except click.ClickException as problem:
        problem.show()
        return problem.exit_code
    except (click.Abort, KeyboardInterrupt):
        return _stopped()
    except (BrokenPipeError, SystemExit):
        return 0  # whoever read the answer has read enough; click leaves when a pipe is closed
    except OSError as problem:
        if problem.errno != errno.ENOSPC:
            return _fault(problem)
        click.echo(say("The disk is full: the answer could not be written. Make room and run again."), err=True)
        return 2
    except Exception as fault:  # noqa: BLE001 - the outermost door: whatever gets here is our fault and must say so
        return _stopped() if _interrupts else _fault(fault)
    return result if isinstance(result, int) else 0


def _told(problem: VatwrightError) -> str:
    """Return what is wrong in the reader's language, each mistake on a line."""
    if isinstance(problem, InputError):
        return "\n".join(str(Mistake(*map(in_words, m))) for m in problem.mistakes)
    return in_words(problem.args[0]) if problem.args else str(problem)


def _stopped() -> int:
    click.echo(say("Stopped. Nothing was left half-written."), err=True)
    return 130


def _fault(fault: Exception) -> int:
    """Say that it is our fault, and where on request."""
    import traceback

    click.echo(say("A fault of ours: {fault}", fault=f"{type(fault).__name__}: {fault}"), err=True)
    click.echo(say("Run again with VATWRIGHT_TRACE=1 to see where, and tell us."), err=True)
    if os.environ.get("VATWRIGHT_TRACE"):
        traceback.print_exception(fault)
    return VatwrightError.exit_code
