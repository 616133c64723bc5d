"""A whole notebook as open files, in a folder or a zip: TOML for what a person edits, JSON lines for what grows.

============================  ========================================================================================
``notebook.toml``             which format this is, who wrote it and when
``shop.toml``                 machines, resins and recipes: a shop file as any other
``stock.toml``                films, screens, lots, stations and prices
``recipe-versions.jsonl``     every saved version of every recipe
``jobs.jsonl``                every job as its own job file, with the digests of its part files
``runs.jsonl``                every run: the digest of its job, and its ``vatwright.outcome/1``
``changes.jsonl``             what was changed when, to read; an import leaves it alone
``costs.toml``                minutes, lives and what machines use, where anybody has written them down
============================  ========================================================================================
"""

from __future__ import annotations

import json
import stat
import tomllib
import zipfile
import zlib
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from vatwright.errors import InputError, Mistake
from vatwright.files.atomic import write_bytes_atomically, write_text_atomically
from vatwright.files.bench_numbers import decimal_of
from vatwright.files.cost_file import read_costs
from vatwright.files.documents import page_of_job
from vatwright.files.outcome import Moment, checked_outcome, exact_json, outcome_of_text
from vatwright.files.read import Given, job_of_text, told_once
from vatwright.files.stock_file import entries_of_text, stock_text
from vatwright.records.notebook import Contents, Entry, JobPage, PartDigest, RunPage, TablePage, Version
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

SCHEMA = "vatwright.notebook/1"
FILES = (
    "notebook.toml", "shop.toml", "stock.toml", "recipe-versions.jsonl", "jobs.jsonl", "runs.jsonl", "changes.jsonl",
    "costs.toml",
)  # fmt: skip
"""What an export holds; nothing else is looked at."""

MAX_BYTES = 200_000_000
"""Greatest size of one file of an export, unpacked; a lifetime of runs is a tenth of it."""

MAX_MEMBERS = 1000
"""Greatest number of files in a zip; an export has eight."""

_ZIP_TIME = (1980, 1, 1, 0, 0, 0)  # so that equal notebooks make equal files
_Model = TypeVar("_Model", bound=BaseModel)


class _Line(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class VersionLine(_Line):
    """One saved version of a recipe."""

    recipe: str
    saved: Moment
    document: str


class JobLine(_Line):
    """One job as it was noted: its own job file, and each part file with its SHA-256."""

    noted: Moment
    document: str
    parts: list[tuple[str, str | None]]


class RunLine(_Line):
    """One run; `job` is the digest of its job, empty where that is not kept."""

    job: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")]
    outcome: dict[str, Any]


class ReadNotebook(NamedTuple):
    """What an export holds, to be kept."""

    entries: tuple[Entry, ...]
    versions: tuple[Version, ...]
    costs: str = ""


# --------------------------------------------------------------------------------------------------------- writing


def export_texts(contents: Contents, *, release: str, at: datetime, costs: str = "") -> dict[str, str]:
    """Return the files of an export by name; `costs` is the text of the cost file, empty without one."""
    head = f'schema = "{SCHEMA}"\nrelease = {json.dumps(release)}\nwritten = {at.isoformat(timespec="seconds")}\n'
    return {
        "notebook.toml": head,
        "shop.toml": "\n".join(page.document for page in contents.pages),
        "stock.toml": stock_text(contents.stock),
        "recipe-versions.jsonl": _lines(
            {"recipe": v.recipe, "saved": v.saved.isoformat(), "document": v.document} for v in contents.versions
        ),
        "jobs.jsonl": _lines(
            {"noted": j.noted.isoformat(), "document": j.document, "parts": [[p.file, p.sha256] for p in j.parts]}
            for j in contents.jobs
        ),
        "runs.jsonl": "".join(f'{{"job": "{run.job}", "outcome": {run.document}}}\n' for run in contents.runs),
        "changes.jsonl": _lines(
            {
                "number": c.number, "at": c.at.isoformat(), "what": c.what, "undoes": c.undoes,
                "touched": [f"{t.kind} {t.name}: {t.verb}" for t in c.touched],
            }
            for c in contents.changes
        ),
    } | ({"costs.toml": costs} if costs else {})  # fmt: skip


def _lines(rows: Iterator[dict[str, Any]]) -> str:
    return "".join(exact_json(row) + "\n" for row in rows)


def write_export(path: str | Path, texts: dict[str, str]) -> None:
    """Write an export into a new or empty folder, or as one zip where the name ends in ``.zip``.

    Raises
    ------
    InputError
        Where the folder holds something already, or cannot be written to.
    """
    path = Path(path)
    if path.suffix.lower() == ".zip":
        write_bytes_atomically(path, _zipped(texts))
        return
    if path.exists() and (not path.is_dir() or any(path.iterdir())):
        raise InputError.one(
            str(path), to_say("is there already and not an empty folder"), to_say("Name a new folder, or a .zip file")
        )
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError.one(
            str(path), to_say("cannot be made: {strerror}", strerror=error.strerror), to_say("Choose another place")
        ) from error
    for name, text in texts.items():
        write_text_atomically(path / name, text)


def _zipped(texts: dict[str, str]) -> bytes:
    from io import BytesIO

    buffer = BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in texts.items():
            member = zipfile.ZipInfo(name, _ZIP_TIME)
            member.external_attr = (stat.S_IFREG | 0o644) << 16
            member.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(member, text.encode())
    return buffer.getvalue()


# --------------------------------------------------------------------------------------------------------- reading


def read_export(path: str | Path) -> ReadNotebook:
    """Return what an export holds.

    Parameters
    ----------
    path : str or Path
        The folder or the zip.

    Raises
    ------
    InputError
        With every mistake of every file.
    """
    path = Path(path)
    texts = _zip_texts(path) if path.is_file() else _folder_texts(path)
    _require_format(path, texts.get("notebook.toml"))
    mistakes: list[Mistake] = []

    def collected(name: str, read: Callable[[str, str], list[Any]]) -> list[Any]:
        try:
            return read(f"{path}/{name}", texts.get(name, ""))
        except InputError as error:
            mistakes.extend(error.mistakes)
            return []

    entries: list[Entry] = collected("shop.toml", lambda place, text: list(entries_of_text(place, text)))
    entries += collected("stock.toml", lambda place, text: list(entries_of_text(place, text)))
    collected("costs.toml", _costs)
    versions = collected("recipe-versions.jsonl", _versions)
    jobs = collected("jobs.jsonl", _jobs)
    runs = collected("runs.jsonl", _runs)
    known = {job.digest for job in jobs}
    if not mistakes:
        mistakes += [
            Mistake(
                f"{path}/runs.jsonl",
                to_say("run {name!r} names a job that is not in jobs.jsonl", name=r.name),
                to_say("Export again"),
            )
            for r in runs
            if r.job and r.job not in known
        ]
        mistakes += _dangling(path, entries)
    if mistakes:
        raise InputError(told_once(mistakes))
    return ReadNotebook((*entries, *jobs, *runs), tuple(versions), texts.get("costs.toml", ""))


def _costs(place: str, text: str) -> list[Any]:
    """Refuse a cost file that is none, with every mistake."""
    try:
        return [read_costs(Given(place, tomllib.loads(text)))]
    except tomllib.TOMLDecodeError as error:
        raise InputError.one(
            place, to_say("is not valid TOML: {error}", error=error), to_say("Export again, or mend it")
        ) from error


def _dangling(path: Path, entries: list[Entry]) -> Iterator[Mistake]:
    """What refers to a machine or a resin that the export does not hold."""
    have = {
        kind: {e.name for e in entries if isinstance(e, TablePage) and e.kind == kind} for kind in ("machine", "resin")
    }
    for entry in entries:
        for link, names in have.items():
            name = getattr(entry, link, "")
            if name and name not in names:
                what = f'"{getattr(entry, "name", "")}" names the {link} "{name}", which is not in shop.toml'
                yield Mistake(str(path), what, to_say("Add [[{link}]] to shop.toml", link=link))


def _require_format(path: Path, text: str | None) -> None:
    try:
        head = tomllib.loads(text or "")
    except tomllib.TOMLDecodeError as error:
        raise InputError.one(
            f"{path}/notebook.toml", to_say("is not valid TOML: {error}", error=error), to_say("Export again")
        ) from error
    if head.get("schema") == SCHEMA:
        return
    if str(head.get("schema", "")).startswith("vatwright.notebook/"):
        raise InputError.one(
            str(path),
            to_say("is written as {head}", head=head["schema"]),
            to_say("Install the newer version of this program"),
        )
    raise InputError.one(
        str(path), to_say("is not an exported notebook"), to_say("Name what vatwright shop export has written")
    )


def _folder_texts(path: Path) -> dict[str, str]:
    if not path.is_dir():
        raise InputError.one(str(path), to_say("there is no such folder or zip"), to_say("Check the name"))
    texts: dict[str, str] = {}
    mistakes: list[Mistake] = []
    for name in FILES:
        file = path / name
        if not file.is_file():
            continue
        try:
            with file.open("rb") as opened:
                texts[name] = _decoded(f"{path}/{name}", opened.read(MAX_BYTES + 1))
        except InputError as error:
            mistakes += error.mistakes
        except OSError as error:
            mistakes.append(
                Mistake(
                    str(file),
                    to_say("cannot be read: {strerror}", strerror=error.strerror),
                    to_say("Check its permissions"),
                )
            )
    if mistakes:
        raise InputError(mistakes)
    return texts


def _zip_texts(path: Path) -> dict[str, str]:
    """Read the known files of a zip; no name in it is ever used as a path, and no file is unpacked beyond its bound."""
    try:
        with zipfile.ZipFile(path) as archive:
            members = archive.infolist()
            _require_sound(path, members)
            return {m.filename: _member(path, archive, m) for m in members if m.filename in FILES}
    except (zipfile.BadZipFile, OSError, EOFError, NotImplementedError, RuntimeError, ValueError, zlib.error) as error:
        if isinstance(error, InputError):
            raise
        todo = "Take a folder or zip of `vatwright shop export`; a shop file goes in with `vatwright shop add`"
        raise InputError.one(str(path), to_say("is no export: {error}", error=error), todo) from error


def _require_sound(path: Path, members: list[zipfile.ZipInfo]) -> None:
    if len(members) > MAX_MEMBERS:
        raise InputError.one(
            str(path),
            to_say("holds {members_count} files", members_count=len(members)),
            to_say("Name what vatwright shop export has written"),
        )
    mistakes: list[Mistake] = []
    seen: set[str] = set()
    for m in members:
        if m.filename in seen:
            mistakes.append(
                Mistake(str(path), to_say("holds {filename!r} twice", filename=m.filename), to_say("Export again"))
            )
        if m.filename in FILES and m.flag_bits & 0x1:
            mistakes.append(
                Mistake(str(path), to_say("{filename!r} is encrypted", filename=m.filename), to_say("Export again"))
            )
        if m.filename in FILES and m.file_size > MAX_BYTES:
            mistakes.append(
                Mistake(
                    str(path),
                    to_say(
                        "{filename!r} would unpack to {file_size} bytes", filename=m.filename, file_size=m.file_size
                    ),
                    to_say("Export again"),
                )
            )
        if m.filename not in FILES and (".." in m.filename.replace("\\", "/").split("/") or m.filename.startswith("/")):
            mistakes.append(
                Mistake(
                    str(path),
                    to_say("holds a path that leads out of it: {filename!r}", filename=m.filename),
                    to_say("Do not use it"),
                )
            )
        seen.add(m.filename)
    if mistakes:
        raise InputError(mistakes)


def _member(path: Path, archive: zipfile.ZipFile, member: zipfile.ZipInfo) -> str:
    with archive.open(member) as opened:
        return _decoded(f"{path}/{member.filename}", opened.read(MAX_BYTES + 1))


def _decoded(place: str, data: bytes) -> str:
    if len(data) > MAX_BYTES:
        raise InputError.one(
            place, to_say("is larger than {value} MB", value=MAX_BYTES // 1000000), to_say("Export again")
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError.one(place, to_say("is not UTF-8 text"), to_say("Save it as UTF-8 text")) from error


def _json_lines(place: str, text: str, model: type[_Model]) -> Iterator[tuple[str, _Model | list[Mistake]]]:
    """Yield each line's place, and what it says or what is wrong with it."""
    for n, line in enumerate(text.split("\n"), 1):
        if not line.strip():
            continue
        here = f"{place}:{n}"
        try:
            raw = json.loads(line, parse_float=decimal_of, parse_int=decimal_of, parse_constant=decimal_of)
            yield here, model.model_validate(raw)
        except ValidationError as error:
            found = [
                Mistake(
                    here,
                    to_say(
                        "{field}: {message}", field=".".join(map(str, e["loc"])) or to_say("the line"), message=e["msg"]
                    ),
                    to_say("Export again, or mend it"),
                )
                for e in error.errors(include_url=False)
            ]
            yield here, found
        except (ValueError, RecursionError) as error:
            yield (
                here,
                [Mistake(here, to_say("is not valid JSON: {error}", error=error), to_say("Export again, or mend it"))],
            )


def _each(place: str, text: str, model: type[_Model], make: Callable[[str, _Model], Any]) -> list[Any]:
    found, mistakes = [], []
    for here, line in _json_lines(place, text, model):
        if isinstance(line, list):
            mistakes += line
            continue
        try:
            found.append(make(here, line))
        except InputError as error:
            mistakes += error.mistakes
    if mistakes:
        raise InputError(mistakes)
    return found


def _versions(place: str, text: str) -> list[Version]:
    def make(_here: str, line: VersionLine) -> Version:
        entries_of_text(_here, line.document)
        return Version(recipe=line.recipe, saved=line.saved, document=line.document)

    return _each(place, text, VersionLine, make)


def _jobs(place: str, text: str) -> list[JobPage]:
    def make(here: str, line: JobLine) -> JobPage:
        parts = tuple(PartDigest(file=file, sha256=digest) for file, digest in line.parts)
        return page_of_job(job_of_text(here, line.document), line.document, parts, noted=line.noted)

    return _each(place, text, JobLine, make)


def _runs(place: str, text: str) -> list[RunPage]:
    def make(here: str, line: RunLine) -> RunPage:
        checked_outcome(here, line.outcome)
        document = exact_json(line.outcome)
        return RunPage(outcome=outcome_of_text(here, document), document=document, job=line.job)

    return _each(place, text, RunLine, make)
