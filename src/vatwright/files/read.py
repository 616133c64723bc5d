"""Reading shop files and job files: every mistake of every file at once, each with its line and its remedy."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, NamedTuple, TypeVar

from pydantic import ValidationError

from vatwright.errors import InputError, Mistake
from vatwright.files import schema
from vatwright.files.bench_numbers import decimal_of
from vatwright.files.fields import nearest
from vatwright.files.mistakes import Labels, mistakes_of
from vatwright.files.places import key_lines, line_of
from vatwright.files.to_records import PartFiles, job_fields, machine_record, part_records, recipe_record, resin_record
from vatwright.planning.demand.practice import common_recipe, job_on
from vatwright.records.job import Job, Shop
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from vatwright.files.places import Where
    from vatwright.records.part import PartUse

MAX_BYTES = 2_000_000
"""Greatest size of a shop or job file; far above any that a person writes."""

SHOP_NAME = "shop.toml"
"""The shop file that is looked for beside a job file."""

_KINDS = ("machine", "resin", "recipe")
_Model = TypeVar("_Model", bound=schema.Outside)


def read_shop(path: TableSource) -> Shop:
    """Return everything that a shop file says, in SI.

    Parameters
    ----------
    path : str, Path or Given
        The shop file, or its tables.

    Raises
    ------
    InputError
        With every mistake of the file.
    """
    file = read_file(path, schema.ShopFile)
    mistakes = [*file.mistakes, *_unknown_names([file])]
    if mistakes or file.model is None:
        raise InputError(mistakes)
    return shop_of(file)


def read_job(
    path: TableSource,
    *,
    shop_path: str | Path | None = None,
    to: str | None = None,
    kept_shop: Callable[[], NamedText | None] | None = None,
) -> Job:
    """Return a job with every record it names, in SI.

    The shop is `shop_path`, else the file that the job's ``shop`` names (counted from the job file's folder), else
    ``shop.toml`` beside the job file.  A machine, resin or recipe that the job file holds itself stands before one of
    the same name in the shop.

    Parameters
    ----------
    path : str, Path or Given
        The job file, or its tables.
    shop_path : str or Path or None
        The shop file, where the caller knows better than the job.
    to : str or None
        Name of the machine to carry to, instead of the job's.
    kept_shop : callable or None
        Asked for the text of a shop, and a name for it, where there is no shop file.

    Raises
    ------
    InputError
        With every mistake of both files, part files that are not there among them.
    """
    job = read_file(path, schema.JobFile)
    shop, missing = _shop_file(job, None if shop_path is None else Path(shop_path))
    if shop is None and not missing and kept_shop is not None and (kept := kept_shop()) is not None:
        shop = read_text(Path(kept.name), kept.text, schema.ShopFile)
    files: list[TomlFile[Any]] = [job, *([shop] if shop else [])]
    mistakes = (
        [m for file in files for m in file.mistakes] + missing + _no_target(job, files, to) + _no_resin(job, files)
    )
    if not missing and all(file.raw for file in files):  # or else every name would seem unknown
        mistakes += _unknown_names(files) + _unknown_in_job(job, files, to)
    mistakes += [m for file in files for m in part_mistakes(file)]
    if mistakes or job.model is None:
        raise InputError(told_once(mistakes))
    return _job(job, job.model, shop, to)


def job_of_text(name: str, text: str) -> Job:
    """Return the job of a job file's text that holds every record it names; its part files are not looked for.

    Raises
    ------
    InputError
        With every mistake, `name` as the place.
    """
    file = read_text(Path(name), text, schema.JobFile)
    mistakes = [*file.mistakes, *_unknown_names([file]), *_unknown_in_job(file, [file], None)]
    mistakes += _no_target(file, [file], None) + _no_resin(file, [file])
    if mistakes or file.model is None:
        raise InputError(told_once(mistakes))
    return _job(file, file.model, None, None)


class NamedText(NamedTuple):
    """A text and what to call it."""

    name: str
    text: str


class Given(NamedTuple):
    """Tables that are data already, as a form or a request gives them.

    Parameters
    ----------
    name : str
        What mistakes call the whole; it has no lines.
    tables : dict of str to object
        The tables, numbers as a program has them.
    labels : mapping
        What a page calls the keys, by kind of table and dotted way; mistakes then speak of these.
    """

    name: str
    tables: dict[str, Any]
    labels: Labels | None = None


TableSource = str | Path | Given
"""A file, or what would stand in one."""


class TomlFile(NamedTuple, Generic[_Model]):
    """One TOML file as far as it could be read: `model` is None where it has mistakes, `lines` where it is data."""

    path: Path
    raw: dict[str, Any]
    lines: dict[Where, int] | None
    model: _Model | None
    mistakes: list[Mistake]
    labels: Labels | None = None

    def place(self, where: Where) -> str:
        """File and line of a value."""
        return str(self.path) if self.lines is None else f"{self.path}:{line_of(self.lines, where)}"

    def tables(self, kind: str) -> list[tuple[int, dict[str, Any]]]:
        """Return the raw tables of a list, with their positions, whatever else is wrong with the file."""
        listed = self.raw.get(kind)
        return [(n, t) for n, t in enumerate(listed) if isinstance(t, dict)] if isinstance(listed, list) else []

    def names(self, kind: str) -> list[str]:
        """Names of the machines, resins or recipes, whatever else is wrong with the file."""
        return [t["name"] for _, t in self.tables(kind) if isinstance(t.get("name"), str)]

    def checked(self, model: type[_Model]) -> TomlFile[_Model]:
        """Return the file with its tables held against their shapes."""
        try:
            return self._replace(model=model.model_validate(self.raw))
        except ValidationError as error:
            found = mistakes_of(error, model, self.raw, str(self.path), self.lines, self.labels)
            return self._replace(model=None, mistakes=found + self.mistakes)


def read_file(source: TableSource, model: type[_Model]) -> TomlFile[_Model]:
    """Read and check one file by itself, or tables that are data already."""
    if isinstance(source, Given):
        file = TomlFile[_Model](Path(source.name), _in_decimals(source.tables), None, None, [], source.labels)
        return _with_doubles(file, model)
    path = Path(source)
    try:
        text = _text(path)
    except InputError as error:
        return TomlFile(path, {}, {}, None, list(error.mistakes))
    return read_text(path, text, model)


def given_text(name: str, text: str) -> Given:
    """Return what a person typed as TOML into a field that mistakes call `name`."""
    try:
        raw, _ = _parse(Path(name), text)
    except InputError as error:
        raise InputError([m._replace(where=name) for m in error.mistakes]) from error
    return Given(name, raw)


def read_text(path: Path, text: str, model: type[_Model]) -> TomlFile[_Model]:
    """Check a text as a file of that name."""
    try:
        raw, lines = _parse(path, text)
    except InputError as error:
        return TomlFile(path, {}, {}, None, list(error.mistakes))
    return _with_doubles(TomlFile(path, raw, lines, None, []), model)


def _with_doubles(file: TomlFile[_Model], model: type[_Model]) -> TomlFile[_Model]:
    return file._replace(mistakes=_duplicates(file)).checked(model)


def _in_decimals(value: Any) -> Any:
    """Return data with its floats as the decimals that a person would have written."""
    if isinstance(value, dict):
        return {key: _in_decimals(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_in_decimals(inner) for inner in value]
    return decimal_of(repr(value)) if isinstance(value, float) else value


def _text(path: Path) -> str:
    try:
        if path.exists() and not path.is_file():
            what = "is a folder" if path.is_dir() else "is no ordinary file"
            raise InputError.one(str(path), what, to_say("Name a TOML file"))
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except FileNotFoundError as error:
        raise InputError.one(
            str(path), to_say("there is no such file"), to_say("Check the name and the folder")
        ) from error
    except OSError as error:
        raise InputError.one(
            str(path), to_say("cannot be read: {error}", error=error), to_say("Check the name and your permissions")
        ) from error
    if len(data) > MAX_BYTES:
        raise InputError.one(
            str(path),
            to_say("is larger than {MAX_BYTES} MB", MAX_BYTES=MAX_BYTES // 1000000),
            to_say("Name a shop or job file"),
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise InputError.one(
            f"{path}:{line}", to_say("is not UTF-8 text"), to_say("Save the file as UTF-8 text")
        ) from error


_AT_LINE = re.compile(r"\s*\(at line (\d+), column \d+\)$")
_REMEDIES = (
    (re.compile(r"=\s*[+-]?\d+,\d"), "Write a decimal point instead of the comma, such as 0.05"),
    (re.compile(r"=\s*[+-]?[\d.]+\s*[A-Za-zµ°%]"), "Write the number alone; its unit stands in the key's name"),
    (re.compile(r'=\s*"[^"]*\\'), "Use / and not \\ in paths"),
    (re.compile(r"=\s*[A-Za-z_]"), "Put text in double quotes; true and false are written small"),
    (re.compile(r"=\s*(#|$)"), "Write a value behind the equals sign, or take the line out"),
    (re.compile(r"^[^=\[]*$"), "Write key = value, or put a # before a remark"),
)


def _parse(path: Path, text: str) -> tuple[dict[str, Any], dict[Where, int]]:
    try:
        raw = tomllib.loads(text, parse_float=decimal_of)
        return raw, key_lines(text.replace("\r\n", "\n"))
    except RecursionError as error:
        raise InputError.one(
            str(path), to_say("has brackets inside brackets without end"), to_say("Close the brackets")
        ) from error
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        at = _AT_LINE.search(message)
        line = int(at[1]) if at else max(1, len(text.splitlines()))
        what = f"is not valid TOML: {_AT_LINE.sub('', message)}"
        raise InputError.one(f"{path}:{line}", what, _remedy(text, line, message)) from error
    except ValueError as error:  # Python reads no whole number of more than 4300 digits
        raise InputError.one(
            str(path), to_say("holds a number far too long to mean anything"), to_say("Shorten it")
        ) from error


def _remedy(text: str, line: int, message: str) -> str:
    if "twice" in message or "overwrite" in message:
        return "Write each key once; of several machines, resins, recipes or parts each starts with [[double brackets]]"
    content = text.splitlines()[line - 1] if text.splitlines() else ""
    return next((do for sign, do in _REMEDIES if sign.search(content)), "Check the quotes and brackets on that line")


def _duplicates(file: TomlFile[Any]) -> list[Mistake]:
    """Two machines, resins or recipes of one name in one file."""
    found = []
    for kind in _KINDS:
        first: dict[str, int] = {}
        for n, table in file.tables(kind):
            name = table.get("name")
            if isinstance(name, str) and first.setdefault(name, n) != n:
                first_place = (
                    "there" if file.lines is None else f"on line {line_of(file.lines, (kind, first[name], 'name'))}"
                )
                what = f'{kind} "{name}" is already {first_place}'
                found.append(Mistake(file.place((kind, n, "name")), what, to_say("Give one of them another name")))
    return found


def _shop_file(
    job: TomlFile[schema.JobFile], shop_path: Path | None
) -> tuple[TomlFile[schema.ShopFile] | None, list[Mistake]]:
    """Find the shop file of a job, None where it names none and none is beside it; or the mistake of not finding it."""
    if shop_path is not None:
        return read_file(shop_path, schema.ShopFile), []
    table = job.raw.get("job")
    named = table.get("shop") if isinstance(table, dict) else None
    if isinstance(named, str) and named.strip() and "\0" not in named:
        path = job.path.parent / named
        if _is_there(path):
            return read_file(path, schema.ShopFile), []
        what = f'job.shop: there is no shop file "{path}"'
        return None, [
            Mistake(job.place(("job", "shop")), what, to_say("Write its path from the folder of the job file"))
        ]
    beside = job.path.parent / SHOP_NAME
    return (read_file(beside, schema.ShopFile), []) if _is_there(beside) else (None, [])


def _is_there(path: Path) -> bool:
    try:
        return path.exists()
    except OSError:  # a name longer than the system takes
        return False


def known_names(files: Iterable[TomlFile[Any]], kind: str) -> list[str]:
    """Return the names of all machines, resins or recipes in some files."""
    return [name for file in files for name in file.names(kind)]


def unknown_name(place: str, subject: str, kind: str, name: str, known: list[str]) -> Mistake:
    """Return the mistake of a name nobody holds, with the nearest one that somebody does."""
    like = nearest(name, known)
    if not known:
        do = f"Add a [[{kind}]] table of that name, or name a shop file that has one"
    else:
        do = f'Perhaps "{like}" is meant' if like else "Known: " + ", ".join(f'"{k}"' for k in sorted(set(known)))
    return Mistake(place, to_say('{subject}there is no {kind} "{name}"', subject=subject, kind=kind, name=name), do)


def _unknown_names(files: list[TomlFile[Any]]) -> list[Mistake]:
    """Recipes that name a machine or a resin nobody has."""
    return [
        unknown_name(file.place(("recipe", n, kind)), f'recipe "{table.get("name", n + 1)}": ', kind, name, known)
        for file in files
        for n, table in file.tables("recipe")
        for kind in ("machine", "resin")
        if isinstance(name := table.get(kind), str) and name not in (known := known_names(files, kind))
    ]


def _unknown_in_job(job: TomlFile[schema.JobFile], files: list[TomlFile[Any]], to: str | None) -> list[Mistake]:
    """Names in the [job] table that nobody has."""
    table = job.raw.get("job")
    if not isinstance(table, dict):
        return []
    asked = [("recipe", "recipe", job.place(("job", "recipe")), table.get("recipe"))]
    asked.append(("resin", "resin", job.place(("job", "resin")), table.get("resin")))
    asked.append(("machine", "to", job.place(("job", "to")) if to is None else "to", to or table.get("to")))
    return [
        unknown_name(place, f"job.{key}: " if place != "to" else "", kind, name, known)
        for kind, key, place, name in asked
        if isinstance(name, str) and name not in (known := known_names(files, kind))
    ]


def _no_target(job: TomlFile[schema.JobFile], files: list[TomlFile[Any]], to: str | None) -> list[Mistake]:
    """Find out whether a job says where to."""
    table = job.raw.get("job")
    if to is not None or not isinstance(table, dict) or "to" in table:
        return []
    return [
        Mistake(
            job.place(("job",)),
            to_say("job has no to"),
            to_say("Add {one_of}", one_of=_one_of("to", "machine", known_names(files, "machine"))),
        )
    ]


def _one_of(key: str, kind: str, known: list[str]) -> str:
    """A line to write where a name is missing: the names there are, or where one would come from."""
    if not known:
        return f'{key} = "..." and a [[{kind}]] table of that name'
    *others, last = (f'"{name}"' for name in known)
    return f"{key} = {', '.join(others)}{' or ' if others else ''}{last}"


def _no_resin(job: TomlFile[schema.JobFile], files: list[TomlFile[Any]]) -> list[Mistake]:
    """Find out whether a job without a recipe says what it prints with."""
    table = job.raw.get("job")
    if not isinstance(table, dict) or "recipe" in table or "resin" in table:
        return []
    recipes = known_names(files, "recipe")
    do = f"{_one_of('recipe', 'recipe', recipes)}; where none is proven, " if recipes else ""
    resin = _one_of("resin", "resin", known_names(files, "resin"))
    return [
        Mistake(
            job.place(("job",)),
            to_say("job has neither recipe nor resin"),
            to_say("Add {do}{resin}", do=do, resin=resin),
        )
    ]


def part_mistakes(file: TomlFile[Any]) -> list[Mistake]:
    """Part files that are not there, and folders of layer bitmaps whose pixels have no size."""
    if file.model is None:
        return []
    parts: list[PartUse] = []
    if isinstance(file.model, schema.JobFile):
        parts.extend(_parts(file, file.model))
    for recipe in shop_of(file).recipes:
        parts.extend(recipe.proof.parts)
    found = []
    for part in parts:
        path = Path(part.file)
        if not _is_there(path):
            found.append(
                Mistake(
                    part.where,
                    to_say('there is no part file "{path}"', path=path),
                    to_say("Write its path from this file's folder"),
                )
            )
        elif path.is_dir() and part.pixel_m is None:
            found.append(
                Mistake(
                    part.where,
                    to_say('"{path}" is a folder of layer bitmaps without a pixel size', path=path),
                    to_say("Add pixel_mm"),
                )
            )
    return found


def told_once(mistakes: list[Mistake]) -> list[Mistake]:
    """Return the mistakes in order, each once."""
    return list(dict.fromkeys(mistakes))


def _parts(file: TomlFile[Any], model: schema.JobFile) -> tuple[PartUse, ...]:
    return part_records(model.part, PartFiles(file.path.absolute().parent, lambda n: file.place(("part", n, "file"))))


def shop_of(file: TomlFile[Any]) -> Shop:
    """Return the records of a file that is free of mistakes."""
    model: Any = file.model
    folder = file.path.absolute().parent
    recipes = tuple(
        recipe_record(
            table,
            PartFiles(folder, lambda i, n=n: file.place(("recipe", n, "proven", "part", i, "file"))),  # type: ignore[misc]
        )
        for n, table in enumerate(model.recipe)
    )
    return Shop(
        machines=tuple(machine_record(t) for t in model.machine),
        resins=tuple(resin_record(t) for t in model.resin),
        recipes=recipes,
    )


def _job(
    file: TomlFile[schema.JobFile], model: schema.JobFile, shop: TomlFile[schema.ShopFile] | None, to: str | None
) -> Job:
    """Put a job together from files that are free of mistakes."""
    shops = ([shop_of(shop)] if shop else []) + [shop_of(file)]  # the job's own come last and win
    machines = {m.name: m for s in shops for m in s.machines}
    resins = {r.name: r for s in shops for r in s.resins}
    target = machines[to or model.job.to or ""]
    named = {r.name: r for s in shops for r in s.recipes}.get(model.job.recipe or "")
    recipe = named or common_recipe(target, resin=resins[model.job.resin or ""])
    job = Job(
        name=model.job.name or file.path.stem,
        recipe=recipe,
        origin=machines[recipe.machine],
        target=target,
        resin_from=resins[recipe.resin],
        resin=resins[model.job.resin or recipe.resin],
        parts=_parts(file, model),
        **job_fields(model.job),
    )
    return job_on(job, target)
