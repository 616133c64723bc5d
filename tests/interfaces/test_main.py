"""The command's front door: help, version, exit codes, and what an error becomes."""

from __future__ import annotations

import pytest

from vatwright.errors import DomainError, InputError, VatwrightError, WillNotWork
from vatwright.interfaces.cli import main
from vatwright.interfaces.cli.main import COMMANDS, outcome, run
from vatwright.interfaces.cli.progress import ProgressLine


@pytest.fixture
def ends_with(monkeypatch):
    """Make the command end in a given way."""

    def put(ending):
        def command(**_):
            if isinstance(ending, BaseException):
                raise ending
            return ending

        monkeypatch.setattr(main.vatwright, "main", command)

    return put


@pytest.mark.parametrize("words", [["--help"], ["-h"], *([name, "--help"] for name in COMMANDS)])
def test_help_shows_an_example(capsys, words):
    assert outcome(words) == 0
    out, err = capsys.readouterr()
    assert out.startswith("Usage: vatwright")
    assert "\b" not in out
    assert "vatwright " in out.split("\n", 1)[1], "no example of the command"
    assert len(words) == 1 or f"Example: vatwright {words[0]} " in out
    assert max(len(line) for line in out.splitlines()) <= 100
    assert err == ""


def test_help_lists_every_command_and_every_exit_code(capsys):
    outcome(["--help"])
    out = capsys.readouterr().out
    for name, (_, line) in COMMANDS.items():
        assert f" {name} {line} " in f"{' '.join(out.split())} ", name
    assert "\n  Start here:   vatwright demo\n" in out
    for code in ("0 ok", "1 the answer is no", "2 something handed in", "3 a fault of ours"):
        assert code in " ".join(out.split())


def test_every_command_has_a_sentence_of_its_own(capsys):
    seen = set()
    for name in COMMANDS:
        outcome([name, "--help"])
        seen.add(capsys.readouterr().out.split("\n\n")[1])
    assert len(seen) == len(COMMANDS)


@pytest.mark.parametrize(
    ("ending", "code", "said"),
    [
        (None, 0, ""),
        (0, 0, ""),
        (1, 1, ""),
        (WillNotWork("the base will let go"), 1, "the base will let go\n"),
        (
            InputError.one("job.toml:3", "room_c is NaN", "Write a number"),
            2,
            "job.toml:3: room_c is NaN. Write a number.\n",
        ),
        (DomainError.one("gap_um", "must be above 0", "Give the gap"), 2, "gap_um: must be above 0. Give the gap.\n"),
        (VatwrightError("lost the thread"), 3, "lost the thread\n"),
        (KeyboardInterrupt(), 130, "Stopped. Nothing was left half-written.\n"),
        (BrokenPipeError(), 0, ""),
        (SystemExit(1), 0, ""),
        (OSError(28, "No space left on device"), 2, "The disk is full: the answer could not be written."),
        (
            PermissionError(13, "Permission denied"),
            3,
            "A fault of ours: PermissionError: [Errno 13] Permission denied\n",
        ),
        (ZeroDivisionError("division by zero"), 3, "A fault of ours: ZeroDivisionError: division by zero\n"),
    ],
)
def test_how_it_ends_is_the_exit_code(capsys, ends_with, ending, code, said):
    ends_with(ending)
    assert outcome(["carry"]) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith(said)
    assert bool(err) == bool(said)
    assert "Traceback" not in err


def test_a_trace_is_shown_on_request(capsys, ends_with, monkeypatch):
    monkeypatch.setenv("VATWRIGHT_TRACE", "1")
    ends_with(ZeroDivisionError("division by zero"))
    assert outcome(["carry"]) == 3
    assert "Traceback (most recent call last)" in capsys.readouterr().err


def test_every_mistake_is_told_on_a_line_of_its_own(capsys):
    assert outcome(["calc", "rect_torsion", "long_mm=x", "short_mm=0"]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 2


def test_run_exits(ends_with):
    ends_with(1)
    with pytest.raises(SystemExit) as ended:
        run(["carry"])
    assert ended.value.code == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["fly"], "No such command 'fly'"),
        (["calc", "--colour"], "No such option '--colour'"),
        (["sheet", "job.toml"], "Missing option '--pdf'"),
    ],
)
def test_a_command_line_that_makes_no_sense_is_told(capsys, words, said):
    assert outcome(words) == 2
    err = capsys.readouterr().err
    assert said in err
    assert "--help" in err


def test_progress_is_silent_where_nobody_looks(capsys):
    with ProgressLine() as line:
        line("reading lantern", 0, 1)
    assert capsys.readouterr().err == ""


def test_progress_fits_a_line_and_is_wiped(capsys, monkeypatch):
    monkeypatch.setattr("sys.stderr.isatty", lambda: True)
    with ProgressLine() as line:
        line("torsion of " + "a lantern " * 20, 3, 7)
        line("sections", 3, 7)
    shown = capsys.readouterr().err.split("\r")
    assert {len(text) for text in shown[1:-1]} == {78}
    assert shown[2].rstrip() == "sections  3 of 7"
    assert shown[-2].strip() == shown[-1] == ""
