"""Writing a file so that a reader finds the old text or the new one, never half of it."""

from __future__ import annotations

import errno
import os
import secrets
import shutil
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from vatwright.errors import InputError
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator


def write_text_atomically(path: str | Path, text: str) -> None:
    """Write `text` as UTF-8 to `path`, whole or not at all; see :func:`write_bytes_atomically`.

    Parameters
    ----------
    path : str or Path
        The file; an existing one is replaced and keeps its permissions, a link keeps pointing at what it points at.
    text : str
        What it shall hold; line ends stay as they are.

    Raises
    ------
    InputError
        Where the folder is missing or may not be written to.
    """
    write_bytes_atomically(path, text.encode())


def write_bytes_atomically(path: str | Path, content: bytes) -> None:
    """Write `content` to `path` through a temporary file in the same folder, which then takes its place.

    Parameters
    ----------
    path : str or Path
        As for :func:`write_text_atomically`.
    content : bytes
        What it shall hold.

    Raises
    ------
    InputError
        Where the folder is missing or may not be written to.
    """
    path = Path(path)
    target = path.resolve()
    temporary = target.with_name(f".{target.name}.{secrets.token_hex(4)}.new")
    try:
        with temporary.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        if target.exists():
            temporary.chmod(target.stat().st_mode & 0o7777)
        temporary.replace(target)
    except OSError as error:
        raise _refused(path, "written", error) from error
    finally:
        temporary.unlink(missing_ok=True)


@contextmanager
def new_folder(path: str | Path) -> Iterator[Path]:
    """Give a folder to fill, which becomes `path` once it is full; stopped before, nothing is left.

    Parameters
    ----------
    path : str or Path
        A folder that is not there, or is there and empty.

    Raises
    ------
    InputError
        Where it cannot be made.
    """
    target = Path(path).resolve()
    making = target.with_name(f".{target.name}.{secrets.token_hex(4)}.new")
    try:
        making.mkdir(parents=True)
        yield making
        if target.exists():
            for inner in making.iterdir():
                inner.rename(target / inner.name)
        else:
            making.rename(target)
    except InputError as error:
        raise InputError(
            [m._replace(where=str(path)) for m in error.mistakes]
        ) from error  # not the folder in the making
    except OSError as error:
        raise _refused(path, "made", error) from error
    finally:
        shutil.rmtree(making, ignore_errors=True)


_NO_ROOM = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EFBIG})


def _refused(path: str | Path, what: str, error: OSError) -> InputError:
    do = "Make room and run again" if error.errno in _NO_ROOM else "Choose a folder you may write to"
    return InputError.one(
        str(path), to_say("cannot be {what}: {strerror}", what=what, strerror=error.strerror or error), do
    )
