"""The desk: everything that lives as long as the bench is open, and what the pages and the programs' interface ask of it."""

from __future__ import annotations

import os
import secrets
import threading
import tomllib
from collections import OrderedDict
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from attrs import define, field

from vatwright import wiring
from vatwright.answers.blocks import Answer
from vatwright.errors import InputError
from vatwright.files.level_file import LevelOptions, read_level
from vatwright.files.read import Given, read_shop
from vatwright.interfaces.web.forms import CarryAsked, JobAsked, LevelAsked, PartAsked, StudyAsked, in_bench_words
from vatwright.interfaces.web.jobs import TooBusyError, Turns, Work, WorkBench
from vatwright.interfaces.web.kept import KeptCarries, KeptCarry, PhonesFile
from vatwright.interfaces.web.live_runs import LiveRuns
from vatwright.interfaces.web.pairing import Pairing, Tries
from vatwright.interfaces.web.settings import BenchSettings
from vatwright.interfaces.web.uploads import PartOnTray, Tray
from vatwright.records.job import Job, Shop
from vatwright.records.part import PartUse, Place
from vatwright.sources import source
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from vatwright.records.level import LevelSheet
    from vatwright.records.plan import CarrySheet
    from vatwright.records.progress import Progress
    from vatwright.records.study import Study

MOST_CARRIES = 50
DEMO_JOB = "harbour-lanterns.toml"
MM = 1000
LOOK_AGAIN_S = 2.0
"""How often the notebook is asked whether the shop has changed [s]."""


def cite(key: str) -> str:
    """Return the citation of a source."""
    return str(source(key))


@define(eq=False)
class Carry:
    """One carry on the desk: what is asked, the work on it, and the carry it was changed from."""

    id: str
    parts: tuple[PartAsked, ...] = ()
    job: JobAsked | None = None
    work: Work | None = None
    before: str | None = None
    made_s: float = 0.0
    demo: bool = False
    """Whether it is of the demo workshop: then it stays so, whoever's shop is open."""

    answers: dict[str, Answer] = field(factory=dict)
    """The sheet in words, by language, once somebody asked for a page of it: a sheet never changes."""

    again: KeptCarry | None = None
    """What was kept of it, where the bench has been closed since and nobody has opened it again."""

    @property
    def sheet(self) -> CarrySheet | None:
        """The sheet, once it is there."""
        result: CarrySheet | None = self.work.result if self.work else None
        return result


class ShopOnDesk(NamedTuple):
    """The shop that is open, the file it is in, and whether it is the demo workshop."""

    records: Shop
    path: str
    demo: bool


def demo_asked() -> CarryAsked:
    """Return the demo workshop's main job, for where that workshop is open."""
    raw = tomllib.loads((wiring.demo_folder() / DEMO_JOB).read_text(encoding="utf-8"))
    parts = [PartAsked.model_validate({**p, "file": f"demo-{Path(p['file']).stem}"}) for p in raw["part"]]
    return CarryAsked(job=JobAsked.model_validate(raw["job"]), part=parts)


class Desk:
    """What is on the desk while the bench is open."""

    def __init__(self, settings: BenchSettings) -> None:
        self.settings = settings
        folder = wiring.live_run_folder(settings.store).parent / "bench"
        phones = PhonesFile(folder / f"phones-{settings.port}.json") if settings.wide else None
        self.pairing = Pairing(settings.clock, settings.token_s, Tries(settings.clock), settings.now, phones)
        self.turns = Turns()
        self.work = WorkBench(self.turns)
        demo_parts = sorted((wiring.demo_folder() / "parts").glob("*.stl"))
        self.tray = Tray((f"demo-{p.stem}", p) for p in demo_parts)
        self.runs = LiveRuns(settings.store, settings.now, self.turns)
        self._files = KeptCarries(folder / "carries")
        self._carries: OrderedDict[str, Carry] | None = None
        self._guard = threading.RLock()
        self._shop: tuple[tuple[str, int], ShopOnDesk] | None = None
        self._demo: ShopOnDesk | None = None
        self._left_file = False
        self.had_notebook = False
        self._kept: tuple[float, Path | None] | None = None

    def close(self) -> None:
        """Stop the work and forget what was handed in."""
        self.work.close()
        self.tray.close()

    # --- the shop -----------------------------------------------------------------------------------------------------

    def shop(self) -> ShopOnDesk:
        """Return the shop, read again where it has changed."""
        path, demo = self._shop_file()
        try:
            stamp = (str(path), path.stat().st_mtime_ns)
        except OSError:
            stamp = (str(path), -1)
        if self._shop is None or self._shop[0] != stamp:
            self._shop = (stamp, ShopOnDesk(read_shop(path), str(path), demo))
        return self._shop[1]

    def shop_of(self, carry: Carry) -> ShopOnDesk:
        """Return the shop that a carry is of: the demo workshop's carries stay with it."""
        return self._demo_shop() if carry.demo else self.shop()

    def _demo_shop(self) -> ShopOnDesk:
        if self._demo is None:
            path = wiring.demo_folder() / "shop.toml"
            self._demo = ShopOnDesk(read_shop(path), str(path), demo=True)
        return self._demo

    def books(self, shop: ShopOnDesk) -> wiring.ShopBooks:
        """Return where stock and prices are for answers about a shop: never another shop's."""
        stock = str(Path(shop.path).parent / "stock.toml") if shop.demo else None
        return wiring.ShopBooks(stock=stock, store=self.settings.store, own=bool(self.opened_file))

    @property
    def opened_file(self) -> str:
        """The shop file that the bench follows; empty where it follows the notebook."""
        settings = self.settings
        if self._left_file:
            return ""
        return settings.shop or ("" if settings.store else os.environ.get(wiring.SHOP_VARIABLE, ""))

    def leave_file(self) -> None:
        """Follow the notebook from now on, whatever file the bench was opened with."""
        self._left_file = True
        self.look_again()

    def look_again(self) -> None:
        """See at once what was just changed in the notebook's shop."""
        self._kept = None

    def _shop_file(self) -> tuple[Path, bool]:
        """Return the file of the shop: as told, as the environment says, of the notebook, of the demo workshop."""
        if named := self.opened_file:
            return Path(named), False
        now = self.settings.clock()
        if self._kept is None or now - self._kept[0] >= LOOK_AGAIN_S:
            self._kept = (now, self._of_notebook())
        return self._kept[1] or wiring.demo_folder() / "shop.toml", self._kept[1] is None

    def _of_notebook(self) -> Path | None:
        """Write the notebook's shop as a file, where there is a notebook with a shop in it."""
        kept = wiring.kept_shop(self.settings.store)
        if kept is None:
            if self.settings.store:
                do = "Make one with vatwright shop init, then vatwright shop add"
                raise InputError.one(self.settings.store, to_say("is no notebook with a shop in it"), do)
            return None
        path = self.tray.folder / "shop-of-notebook.toml"
        if not path.exists() or path.read_text(encoding="utf-8") != kept.text:
            path.write_text(kept.text, encoding="utf-8")
        return path

    # --- carries ------------------------------------------------------------------------------------------------------

    def new_carry(
        self,
        parts: Sequence[PartAsked],
        *,
        job: JobAsked | None = None,
        before: str | None = None,
        demo: bool | None = None,
    ) -> Carry:
        """Put a carry on the desk, of the shop that is open unless told; the oldest goes when there are too many."""
        demo = self.shop().demo if demo is None else demo
        carry = Carry(secrets.token_urlsafe(9), tuple(parts), job, None, before, self.settings.now(), demo)
        with self._guard:
            on_desk = self._on_desk()
            on_desk[carry.id] = carry
            self._keep(carry, asked=False)
            while len(on_desk) > MOST_CARRIES:
                self._files.forget(on_desk.popitem(last=False)[0])
        return carry

    def carry(self, carry_id: str) -> Carry | None:
        """Return a carry that is still on the desk; one from before the bench was closed is worked out again."""
        with self._guard:
            carry = self._on_desk().get(carry_id)
            if carry is not None and carry.again is not None:
                kept, carry.again = carry.again, None
                for file in kept.files:
                    self.tray.put_back(*file)
                if kept.asked and kept.job is not None:
                    with suppress(InputError, TooBusyError):  # then its question shows, with what was said
                        carry.work = self.work_out(CarryAsked(job=kept.job, part=list(kept.parts)), self.shop_of(carry))
        return carry

    def carries(self) -> list[Carry]:
        """Return the carries, newest first."""
        with self._guard:
            return list(reversed(self._on_desk().values()))

    def begin(self, carry: Carry, asked: CarryAsked) -> None:
        """Start on the sheet of a carry, and keep that it was asked for."""
        carry.work = self.work_out(asked, self.shop_of(carry))
        self._keep(carry, asked=True)

    def _on_desk(self) -> OrderedDict[str, Carry]:
        """Return the carries by handle, oldest first; read from the disk at the first look."""
        if self._carries is None:
            self._carries = OrderedDict()
            for kept in self._files.all()[-MOST_CARRIES:]:
                self._carries[kept.id] = Carry(
                    kept.id, kept.parts, kept.job, None, kept.before, kept.made_s, kept.demo, again=kept
                )
        return self._carries

    def _keep(self, carry: Carry, *, asked: bool) -> None:
        """Keep what was asked; the parts of the demo workshop are ours and always there."""
        found = [self.tray.find(part.file) for part in carry.parts]
        kept = KeptCarry(carry.id, carry.made_s, carry.parts, carry.job, carry.before, asked, (), carry.demo)
        self._files.put(kept, [f for f in found if f is not None and not f.ours])

    def demo_carry(self) -> Carry:
        """Put the demo workshop's main job on the desk."""
        asked = demo_asked()
        return self.new_carry(asked.part, job=asked.job, demo=True)

    def work_out(self, asked: CarryAsked, shop: ShopOnDesk | None = None) -> Work:
        """Start on a carry sheet; every mistake that shows before the parts are read is raised at once."""
        of = shop or self.shop()
        opened, labels = self.opened(asked, of)
        books = self.books(of)
        job = wiring.with_stock_at_hand(opened, of.path, books)

        def task(told: Progress) -> CarrySheet:
            with _speaking(labels, "this job"):
                return wiring.carry_with_floor(job, of.path, books, progress=told)

        work = self.work.start("carry", job.name, task)
        work.about = job
        return work

    def opened(
        self, asked: CarryAsked, shop: ShopOnDesk | None = None, *, within: Mapping[str, Any] | None = None
    ) -> tuple[Job, dict[str, str]]:
        """Return the job that is asked for, and what its owner calls our paths; tables `within` it go before the shop's."""
        tables, labels = self._job_tables(asked)
        with _speaking(labels, "this job"):
            given = Given("this job", tables | dict(within or {}))
            return wiring.open_job(given, shop=(shop or self.shop()).path), labels

    def _job_tables(self, asked: CarryAsked) -> tuple[dict[str, Any], dict[str, str]]:
        """Return the tables of a job; the paths of its parts are ours, whatever their owner called them."""
        on_tray = self._on_tray(asked.part)
        parts = [
            {**part.table(), "file": str(kept.path), "name": part.name or Path(kept.name).stem}
            for part, kept in zip(asked.part, on_tray, strict=True)
        ]
        job = asked.job.table()
        job.setdefault("name", ", ".join(t["name"] for t in parts)[:200])
        return {"job": job, "part": parts}, {str(k.path): k.name for k in on_tray}

    def _on_tray(self, parts: Sequence[PartAsked]) -> list[PartOnTray]:
        found = [self.tray.find(p.file) for p in parts]
        missing = [p.name or p.file for p, kept in zip(parts, found, strict=True) if kept is None]
        if missing:
            raise InputError.one(
                "parts",
                to_say("no longer on the tray: {missing}", missing=", ".join(missing)),
                to_say("Hand the files in again"),
            )
        return [kept for kept in found if kept is not None]

    # --- studies and levels -------------------------------------------------------------------------------------------

    def study(self, asked: StudyAsked) -> Work:
        """Start on a study."""
        on_tray = self._on_tray(asked.part)
        machine = None if asked.machine is None else wiring.machine_of_shop(asked.machine, self.shop().path)
        labels = {str(k.path): k.name for k in on_tray} | {self.shop().path: "the shop"}
        uses = [_use(part, kept) for part, kept in zip(asked.part, on_tray, strict=True)]

        def task(told: Progress) -> Study:
            with _speaking(labels, "these parts"):
                return wiring.study_files(
                    uses, layer_nm=round(asked.layer_mm * 1_000_000), machine=machine, progress=told
                )

        return self.work.start("study", ", ".join(u.name for u in uses), task)

    def level(self, asked: LevelAsked) -> LevelSheet:
        """Return what readings say."""
        # The planner brings compiled kernels with it: a bench opens without.
        from vatwright.services.level_platform import level_platform

        shop = self.shop().path
        with _speaking({shop: "the shop"}, "these readings"), self.turns.short():
            given = Given("these readings", asked.table())
            return level_platform(read_level(given, LevelOptions({}, {}), shop_path=shop))


@contextmanager
def _speaking(labels: dict[str, str], whole: str) -> Iterator[None]:
    """Tell mistakes in the words of the person who made them."""
    try:
        yield
    except InputError as problem:
        raise in_bench_words(problem, labels, whole) from problem


def _use(part: PartAsked, kept: PartOnTray) -> PartUse:
    return PartUse(
        name=part.name or kept.name,
        file=str(kept.path),
        unit=part.unit,
        count=part.count or max(1, len(part.places)),
        places=tuple(Place(x_m=p.x_mm / MM, y_m=p.y_mm / MM, turn_deg=p.turn_deg) for p in part.places),
        as_drawn=part.as_drawn or (part.count is None and not part.places),
    )
