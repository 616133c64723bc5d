"""The notebook as the bench uses it: look at the shop and at runs, change one thing, take it back, hand it over whole."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from attrs import frozen

from vatwright import wiring
from vatwright.errors import InputError, Mistake
from vatwright.files.atomic import write_bytes_atomically
from vatwright.files.documents import TomlDocuments
from vatwright.files.read import Given, given_text
from vatwright.interfaces.web.forms import in_bench_words
from vatwright.interfaces.web.security import MOST_PHOTO_BYTES
from vatwright.records.job import Shop
from vatwright.records.notebook import STOCK_KINDS, TEXT_KINDS, TablePage
from vatwright.services.keep_shop import add_entries, not_needed
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.interfaces.web.desk import Desk
    from vatwright.records.notebook import Change, Entry, KeptEntries
    from vatwright.records.run import RunOutcome
    from vatwright.services.ports import AsSeen
    from vatwright.store.notebook import DatabaseNotebook

SHOP_KINDS = (*TEXT_KINDS, *STOCK_KINDS)
"""What a shop has, in the order in which the page shows it."""

PICTURES = {b"\xff\xd8\xff": ".jpg", b"\x89PNG\r\n\x1a\n": ".png"}
"""First bytes of a picture and its ending: JPEG (ISO/IEC 10918-1, B.1.1.3) and PNG (ISO/IEC 15948, 5.2)."""

PICTURE_KINDS = {".jpg": "image/jpeg", ".png": "image/png", ".webp": "image/webp"}
PHOTOS = "photos/"
_WEBP = (b"RIFF", b"WEBP")


@frozen(kw_only=True)
class Shelves:
    """What the shop has, to be shown.

    Parameters
    ----------
    kinds : mapping
        Entries by kind and name.
    records : Shop
        Machines, resins and recipes as records.
    address : str
        Of the notebook; empty where there is none.
    demo : bool
        Whether it is the demo workshop that nobody has taken over.
    file : str
        The shop file that the bench follows; empty where it follows the notebook.
    guests : tuple of (str, str)
        Kinds and names of what the notebook still has of the demo workshop, and nothing of one's own needs.
    """

    kinds: Mapping[str, Mapping[str, Any]]
    records: Shop
    address: str
    demo: bool
    file: str = ""
    guests: tuple[tuple[str, str], ...] = ()

    @property
    def writable(self) -> bool:
        """Whether the forms may change it."""
        return not self.demo and not self.file


def is_there(desk: Desk) -> bool:
    """Return whether there is a notebook; an address of a database counts as one.

    Raises
    ------
    InputError
        Where there was one since the bench was opened: a drive that is gone is no workshop without a past.
    """
    address = wiring.store_address(desk.settings.store)
    there = "://" in address or Path(address).expanduser().is_file()
    if desk.had_notebook and not there:
        do = "Bring its drive or its folder back and load the page again; until then nothing can be noted"
        raise InputError.one(address, to_say("the notebook was here when the bench was opened and is gone"), do)
    desk.had_notebook = there
    return there


@contextmanager
def notebook_of(desk: Desk, *, create: bool = False) -> Iterator[DatabaseNotebook]:
    """Open the notebook for as long as it is used."""
    is_there(desk)
    with wiring.open_store(desk.settings.store, create=create) as notebook:
        yield notebook


def shelves(desk: Desk) -> Shelves:
    """Return what the shop has that is open: of the file, else of the notebook, else of the demo workshop."""
    address, entries = _in_notebook(desk)
    file = desk.opened_file
    demo = not entries and not file
    guests = () if demo else _guests(entries)
    listed: list[Any] = wiring.entries_of_file(file) if file else entries or wiring.demo_entries()
    kinds: dict[str, dict[str, Any]] = {kind: {} for kind in SHOP_KINDS}
    of_record: dict[type, str] = {record: kind for kind, record in STOCK_KINDS.items()}
    for entry in listed:
        if isinstance(entry, TablePage):
            kinds[entry.kind][entry.name] = entry
        elif type(entry) in of_record:
            kinds[of_record[type(entry)]][entry.name] = entry
    documents = [e.document for e in listed if isinstance(e, TablePage)]
    records = TomlDocuments("the shop").shop(documents)
    return Shelves(kinds=kinds, records=records, address=address, demo=demo, file=file, guests=guests)


def _in_notebook(desk: Desk) -> tuple[str, list[Any]]:
    """Return where the notebook is and what its shop has; nothing where there is none."""
    if not is_there(desk):
        return "", []
    with notebook_of(desk) as notebook:
        stock = notebook.stock()
        entries = [*notebook.pages(), *stock.films, *stock.screens, *stock.lots, *stock.stations, *stock.prices]
        return notebook.address, entries


def _guests(entries: Sequence[Any]) -> tuple[tuple[str, str], ...]:
    """Return what of the demo workshop stands among one's own; nothing where it was only taken over, to play with."""
    demo = wiring.demo_entries()
    known = {(e.kind, e.name) for e in demo if isinstance(e, TablePage)}
    own = any(isinstance(e, TablePage) and (e.kind, e.name) not in known for e in entries)
    return tuple(not_needed(demo, entries)) if own else ()


def keep_text(desk: Desk, text: str, *, what: str, as_seen: AsSeen | None = None) -> KeptEntries:
    """Keep tables of a shop or stock file as one change.

    Parameters
    ----------
    desk : Desk
        Whose notebook.
    text : str
        The tables as TOML.
    what : str
        What mistakes call it, and the change in a few words.
    as_seen : mapping or None
        What must still be as it was seen.
    """
    return keep_tables(desk, given_text(what, text), as_seen=as_seen)


def keep_tables(desk: Desk, given: Given, *, as_seen: AsSeen | None = None, own: bool = False) -> KeptEntries:
    """Keep tables as one change that is called as they are; refused where what they change is no longer as it was seen.

    Where they are a shop of one's `own`, the demo workshop leaves with the same change.
    """
    with notebook_of(desk, create=True) as notebook:
        entries = wiring.read_for_store([given], notebook)
        leave = not_needed(wiring.demo_entries(), [*_in_notebook(desk)[1], *entries]) if own else []
        kept = add_entries(notebook, entries, source=given.name, as_seen=as_seen, leave=leave)
    desk.look_again()
    return kept


def mistakes_in(desk: Desk, given: Given) -> tuple[Mistake, ...]:
    """Return what is wrong with tables before they are kept."""
    try:
        with notebook_of(desk, create=True) as notebook:
            wiring.read_for_store([given], notebook)
    except InputError as problem:
        return problem.mistakes
    return ()


def keep_entries(desk: Desk, entries: Sequence[Entry], *, what: str, as_seen: AsSeen | None = None) -> KeptEntries:
    """Keep records as one change; refused where what they change is no longer as it was seen."""
    with notebook_of(desk, create=True) as notebook:
        kept = add_entries(notebook, entries, source=what, as_seen=as_seen)
    desk.look_again()
    return kept


def take_over_file(desk: Desk) -> None:
    """Put what the opened shop file holds into the notebook, and follow that from now on."""
    file = desk.opened_file
    entries = wiring.entries_of_file(file)
    with notebook_of(desk, create=True) as notebook:
        leave = not_needed(wiring.demo_entries(), [*_in_notebook(desk)[1], *entries])
        add_entries(notebook, entries, source=Path(file).name, leave=leave)
    desk.leave_file()


def leave_demo(desk: Desk) -> None:
    """Take out of the notebook what is the demo workshop's."""
    guests = shelves(desk).guests
    with notebook_of(desk) as notebook:
        notebook.keep("leave the demo workshop", [], leave=guests)
    desk.look_again()


def take_back(desk: Desk, number: int | None) -> Change:
    """Take a change back."""
    with notebook_of(desk) as notebook:
        change = notebook.undo(number)
    desk.look_again()
    return change


def history(desk: Desk) -> list[Change]:
    """Return every change, the newest first."""
    if not is_there(desk):
        return []
    with notebook_of(desk) as notebook:
        return list(reversed(notebook.changes()))


def export_zip(desk: Desk) -> bytes:
    """Return the whole notebook as open files in one zip."""
    path = desk.tray.folder / f"export-{secrets.token_urlsafe(9)}.zip"
    try:
        wiring.export_store(str(path), store=desk.settings.store)
        return path.read_bytes()
    finally:
        path.unlink(missing_ok=True)


def import_zip(desk: Desk, content: bytes) -> KeptEntries:
    """Take in what an export holds; what is there already is left alone."""
    path = desk.tray.folder / f"import-{secrets.token_urlsafe(9)}.zip"
    path.write_bytes(content)
    is_there(desk)
    try:
        kept, _ = wiring.import_store(str(path), store=desk.settings.store, source="an export")
    except InputError as problem:
        raise in_bench_words(problem, {str(path): "the export"}, "the export") from problem
    finally:
        path.unlink(missing_ok=True)
    desk.look_again()
    return kept


def runs_of(desk: Desk) -> list[RunOutcome]:
    """Return the runs noted, the newest first."""
    if not is_there(desk):
        return []
    with notebook_of(desk) as notebook:
        return list(reversed(notebook.runs()))


def change_of_run(desk: Desk, name: str) -> Change | None:
    """Return the change that noted a run and still stands."""
    return next(
        (
            c
            for c in history(desk)
            if c.undone_by is None and any(t.kind == "run" and t.name == name and t.stays for t in c.touched)
        ),
        None,
    )


def photo_folder(desk: Desk) -> Path:
    """Return where pictures are kept: beside the notebook."""
    return wiring.live_run_folder(desk.settings.store).parent / "photos"


def keep_photo(desk: Desk, content: BinaryIO) -> str:
    """Keep a picture beside the notebook under a name that says what it holds, and return the reference to it."""
    data = content.read(MOST_PHOTO_BYTES + 1)
    if len(data) > MOST_PHOTO_BYTES:
        do = "Take it smaller, or write where it is kept"
        raise InputError.one(
            to_say("the picture"),
            to_say("is larger than {MOST_PHOTO_BYTES} MB", MOST_PHOTO_BYTES=MOST_PHOTO_BYTES >> 20),
            do,
        )
    ending = next((e for head, e in PICTURES.items() if data.startswith(head)), None)
    if (data[:4], data[8:12]) == _WEBP:
        ending = ".webp"
    if ending is None:
        raise InputError.one(to_say("the picture"), to_say("is no JPEG, PNG or WebP"), to_say("Hand in one of these"))
    name = hashlib.sha256(data).hexdigest() + ending
    path = photo_folder(desk) / name
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        write_bytes_atomically(path, data)
    return PHOTOS + name
