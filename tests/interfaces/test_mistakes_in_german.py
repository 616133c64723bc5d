"""What is wrong is said in the reader's language in a terminal, and in English to programs; the German is our own."""

from __future__ import annotations

import pytest

from vatwright.errors import InputError
from vatwright.files.read import read_shop
from vatwright.interfaces.cli.main import outcome
from vatwright.wording import in_language


@pytest.mark.parametrize(
    ("held", "told"),
    [(b"aaa\xff", "ist kein UTF-8-Text. Speichern Sie"), (None, "diese Datei gibt es nicht. Prüfen Sie")],
)
def test_a_file_that_cannot_be_read_is_refused_in_german(tmp_path, capsys, held, told):
    job = tmp_path / "job.toml"
    if held is not None:
        job.write_bytes(held)
    with in_language("en"):  # what the command chooses ends with it
        assert outcome(["--language", "de", "carry", str(job)]) == 2
    assert told in capsys.readouterr().err
    with pytest.raises(InputError, match=r"Check the name|Save the file"):
        read_shop(job)
