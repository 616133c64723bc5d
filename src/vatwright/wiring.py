"""The one place that joins files, services and settings of the environment."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, TypeVar

from attrs import evolve, fields

from vatwright import __version__
from vatwright.errors import InputError, Mistake, VatwrightError
from vatwright.extras import require_extra
from vatwright.files.atomic import new_folder, write_bytes_atomically, write_text_atomically
from vatwright.files.bench_numbers import decimal_of
from vatwright.files.documents import TomlDocuments, job_page, run_page
from vatwright.files.fields import nearest
from vatwright.files.notebook_files import export_texts, write_export
from vatwright.files.outcome_words import CORNERS, Said, outcome_of_job
from vatwright.files.read import Given, NamedText, TableSource, read_job, read_shop
from vatwright.files.stock_file import read_stock
from vatwright.files.write import write_job
from vatwright.records.notebook import TEXT_KINDS, TablePage
from vatwright.records.progress import Progress, silent
from vatwright.services.keep_shop import known_names
from vatwright.services.ports import PartGeometry
from vatwright.services.recent_plans import recent
from vatwright.units import celsius_to_kelvin, from_si
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    import numpy as np
    from numpy.typing import NDArray

    from vatwright.evidence.belief import Belief
    from vatwright.files.parts.mesh import PartFile
    from vatwright.files.study_cache import StudyCache
    from vatwright.geometry.part_layers import OutlineStack
    from vatwright.planning.carry.quick_look import Planned
    from vatwright.records.commission import CommissionSheet
    from vatwright.records.cost import CompareSheet, Costing, CostSheet
    from vatwright.records.fleet import FleetPlan
    from vatwright.records.job import Job, Shop
    from vatwright.records.learned import LearnSheet
    from vatwright.records.machine import Machine
    from vatwright.records.notebook import Entry, KeptEntries
    from vatwright.records.orders import OrderBook, Past
    from vatwright.records.part import PartUse
    from vatwright.records.plan import CarrySheet, NotedRuns
    from vatwright.records.quick_look import QuickLook
    from vatwright.records.run import RunOutcome
    from vatwright.records.stand import StandSheet
    from vatwright.records.stock import OldLot, Station, Stock
    from vatwright.records.study import Study
    from vatwright.records.trial import Trial
    from vatwright.records.tried import TriedRun
    from vatwright.records.trim import TrimSheet
    from vatwright.records.upkeep import Due
    from vatwright.records.why import Observed, WhySheet
    from vatwright.services.cost_job import CostBench
    from vatwright.services.learn_from_runs import LearningBench
    from vatwright.services.note_outcome import Noted
    from vatwright.services.study_many import ManyDone, PartDone
    from vatwright.services.which_runs import WeighedRuns
    from vatwright.store.notebook import DatabaseNotebook

# What studies and carries bring with them (compiled kernels, statistics) is imported where it is used: a command that
# only opens the notebook does without, and answers at once.

T = TypeVar("T")

STORE_NAME = "notebook.sqlite"
"""What the notebook is called in the platform's usual place."""

COSTS_NAME = "costs.toml"
"""What the cost file is called, beside a job, a shop file or the notebook."""

STORE_VARIABLE = "VATWRIGHT_STORE"
"""Environment variable that names the notebook where the command does not."""

SHOP_VARIABLE = "VATWRIGHT_SHOP"
"""Environment variable that names the shop file where neither the command nor the job does."""


def read_geometry(part: PartUse, *, layer_nm: int) -> PartGeometry:
    """Return the geometry of a part's file in metres; satisfies the services' PartReader."""
    from vatwright.files.parts.mesh import read_part

    try:
        file = read_part(part.file, unit=part.unit, pixel_m=part.pixel_m, layer_nm=layer_nm)
    except InputError as problem:
        if not part.where:
            raise
        raise InputError([m._replace(where=f"{part.where}: {m.where}") for m in problem.mistakes]) from problem
    if file.masks is not None:
        return PartGeometry(
            name=part.name, masks=file.masks, pixel_m=file.masks.pixel_m, layers=len(file.masks), warnings=file.warnings
        )
    if len(file.corners):
        return PartGeometry(name=part.name, mesh=file.mesh(), warnings=file.warnings)
    return PartGeometry(name=part.name, outlines=_outlines(file), warnings=file.warnings)


def _outlines(file: PartFile) -> tuple[OutlineStack, ...]:
    from vatwright.geometry.part_layers import OutlineStack

    return tuple(
        OutlineStack(
            bottom_m=stack.z_bottom,
            tops_m=tuple(s.z_top for s in stack.slices),
            rings_m=tuple(s.rings for s in stack.slices),
        )
        for stack in file.slices or ()
    )


def study_memory() -> StudyCache | None:
    """Return what remembers studies from run to run; None where VATWRIGHT_CACHE is empty."""
    from vatwright.files.study_cache import StudyCache, cache_folder

    folder = cache_folder()
    return StudyCache(folder) if folder else None


def warm_up(progress: Progress = silent) -> None:
    """Compile what studies and carries need, once per version and machine; later runs load it in a fraction of a second.

    Parameters
    ----------
    progress : Progress
        Told what is being compiled; may raise to stop.
    """
    from vatwright.files.study_cache import is_compiled

    if is_compiled():
        return
    _compile(progress)


def _compile(progress: Progress) -> None:
    """Run the smallest study and the smallest plan there are."""
    import numpy as np

    from vatwright.files.study_cache import note_compiled
    from vatwright.records.part import PartUse
    from vatwright.services.study_parts import PartBench, study_plate

    stages = ("mending", "areas", "sections", "regions", "torsion", *_PLANNER_STAGES)

    def told(what: str, done: int, total: int) -> None:  # noqa: ARG001 - a Progress
        stage = what.rpartition(": ")[2]
        progress("compiling for this machine, once", stages.index(stage) if stage in stages else 0, len(stages))

    def two_boxes_that_overlap(part: PartUse, *, layer_nm: int) -> PartGeometry:
        boxes = np.concatenate((_box(2 * layer_nm), _box(3 * layer_nm) + 1e-4))
        return PartGeometry(name=part.name, corners_m=boxes.astype(np.float32))  # as in most part files

    part = PartUse(name="box", file="box", as_drawn=True)
    with _planner_beside(told):
        study_plate([part], PartBench(two_boxes_that_overlap, layer_nm=50_000, progress=told), machine=None)
    _warm_planner(told)
    progress("compiling for this machine, once", len(stages), len(stages))
    note_compiled()


_PLANNER_STAGES = ("platform", "layers", "settles", "hands", "release")


@contextmanager
def _planner_beside(told: Progress) -> Iterator[None]:
    """Compile the planner in a process of its own meanwhile, where there is a second core; both keep what they compiled."""
    if (os.cpu_count() or 1) < 2 or not sys.executable:
        yield
        return
    command = [sys.executable, "-c", "from vatwright import wiring; wiring.compile_planner()"]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    with subprocess.Popen(  # noqa: S603 - this Python, with words of our own
        command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    ) as other:
        try:
            yield
            while other.poll() is None:
                told(_PLANNER_STAGES[0], 0, 1)  # may raise to stop
                time.sleep(0.1)
        finally:
            other.terminate()


def compile_planner() -> None:
    """Compile what plans need and keep it on disk; what studies need is compiled elsewhere."""
    _warm_planner(silent)


def _warm_planner(told: Progress) -> None:
    """Compile what a carry needs, on a platform of a few nodes and a stack of two layers."""
    import numpy as np

    from vatwright.geometry.pressure import effective_torsion, platform_grid, raft_arms
    from vatwright.geometry.release_front import rectangular_window, release
    from vatwright.physics.layer_stack import least_settle, run_stacks, settle_demands
    from vatwright.planning.hands.visits import plan_visits

    told("platform", 0, 1)
    square = np.array([(0.0, 0.0), (0.1, 0.0), (0.1, 0.1), (0.0, 0.1)])
    grid = platform_grid(square, cells=8)
    effective_torsion(grid, raft_arms(grid, [square / 2.0]), gap_m=5e-5, printed_m=5e-5)
    stack: dict[str, Any] = {
        "torsion_m4": 1e-7, "platform_torsion_m4": 1e-6, "platform_extra_gap_m": np.array([0.0, 5e-5]), "layer_m": 5e-5,
        "settle_s": 1.0, "descent_m_s": 1e-3, "viscosity_pa_s": 0.3, "stiffness_n_m": 2e5, "force_ceiling_n": 200.0,
    }  # fmt: skip
    told("layers", 0, 1)
    run_stacks(**stack)
    told("settles", 0, 1)
    settle_demands(limit_m=5.5e-5, **stack)
    least_settle(
        first=0, last=2, hard_limit_m=5.5e-5, soft_low_m=0.0, soft_high_m=1.0, soft_allowed=0, longest_s=60.0, **stack
    )
    told("hands", 0, 1)
    plan_visits(demand_s=[3.0, 2.0], rest_s=[9.0, 9.0], maximum_s=9.0, step_s=1.0, visits=1)
    told("release", 0, 1)
    window = rectangular_window(0.05, 0.05, cells=16)
    release((window.inside_m > 0.02).astype(float), window)


def _box(height_nm: int) -> NDArray[np.float64]:
    """Return the twelve triangles of a box of 10 mm x 10 mm (12, 3, 3) [m]."""
    import numpy as np

    corner = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)]) * (0.01, 0.01, height_nm * 1e-9)
    sides = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
    return corner[[face for a, b, c, d in sides for face in ((a, b, c), (a, c, d))]]


def open_job(path: TableSource, *, shop: str | None = None, to: str | None = None, notebook: bool = True) -> Job:
    """Return a job from a file or tables, its shop from the option, the job, the folder, the environment or the notebook."""
    shop_path = shop
    beside = None if isinstance(path, Given) else Path(path).parent / "shop.toml"
    if shop_path is None and (beside is None or not beside.exists()):
        shop_path = os.environ.get(SHOP_VARIABLE)
    return read_job(path, shop_path=shop_path, to=to, kept_shop=kept_shop if notebook else None)


def carry_job(job: Job, *, store: str | None = None, notebook: bool = True, progress: Progress = silent) -> CarrySheet:
    """Return the carry sheet of a job whose part files are on disk.

    Parameters
    ----------
    job : Job
        The job.
    store : str or None
        Path or address of the notebook; else as :func:`store_address` finds it.
    notebook : bool
        Weigh the runs noted there.
    progress : Progress
        Told how far the work is; may raise to stop.
    """
    from vatwright.files.first_look import require_usable

    require_usable(job.parts, job.target)
    require_usable(job.recipe.proof.parts)
    noted, unread = _noted_or_why_not(job, store, progress) if notebook else (None, ())
    belief, tried = (noted.belief, noted.tried) if noted else (None, ())

    def work_out() -> CarrySheet:
        from vatwright.services.carry_recipe import carry_recipe

        warm_up(progress)
        return carry_recipe(job, read_geometry, progress=progress, memory=study_memory(), belief=belief, tried=tried)

    def plan() -> Planned:
        from vatwright.services.carry_recipe import plan_job

        warm_up()
        return plan_job(job, read_geometry, memory=study_memory(), belief=belief)

    recent.promise(job, plan)
    sheet = _kept_answer("carry", job, belief, tried, work_out)
    sheet = evolve(sheet, cautions=(*unread, *sheet.cautions))
    return evolve(sheet, noted=noted.record) if noted else sheet


def _noted_or_why_not(job: Job, store: str | None, progress: Progress) -> tuple[_Noted | None, tuple[str, ...]]:
    """Return what the notebook teaches about a job; or nothing and why it cannot be read: a carry goes on without."""
    try:
        return _noted_runs(job, store, progress), ()
    except InputError as problem:
        return None, (f"No run of yours is weighed, for the notebook cannot be read. {problem.mistakes[0]}",)


def _kept_answer(
    kind: str,
    job: Job,
    belief: Belief | None,
    asked: tuple[Any, ...],
    work_out: Callable[[], T],
    parts: Sequence[PartUse] | None = None,
) -> T:
    """Answer the same question about the same job, parts and belief once: another command needs it at once."""
    from vatwright.files.answer_cache import keep_answer, key_of, recall_answer
    from vatwright.files.study_cache import cache_folder
    from vatwright.kept_answers import fingerprint

    folder, memory = cache_folder(), study_memory()
    parts = (*job.parts, *job.recipe.proof.parts) if parts is None else parts
    contents = [memory.content_of(part.file) for part in parts] if memory else [None]
    if folder is None or None in contents:
        return work_out()
    learnt = (belief.unknowns, belief.samples, belief.notes) if belief else ()
    question = fingerprint(job, *learnt, *asked).hex()
    key = key_of([question, *(c for c in contents if c)], version=_learner_version())
    answer: T | None = recall_answer(folder, kind, key)
    if answer is None:
        answer = work_out()
        keep_answer(folder, kind, key, answer)
    return answer


def look_quickly(
    job: Job, *, changed: Job | None = None, values: Mapping[str, float] | None = None
) -> QuickLook | None:
    """Return what moves on the sheet of a job carried in this process; None where its plan is no longer kept."""
    from vatwright.services.carry_recipe import look_quickly

    return look_quickly(job, changed=changed, values=values)


class _Noted(NamedTuple):
    belief: Belief | None
    record: NotedRuns
    tried: tuple[TriedRun, ...] = ()


def _noted_runs(job: Job, store: str | None, progress: Progress) -> _Noted | None:
    """What the notebook's runs teach about a job; None where there is no notebook, or no run in it that concerns the job."""
    from vatwright.records.job import Shop
    from vatwright.services.tried_runs import tried_runs
    from vatwright.services.which_runs import concerned, record_of, weighed_runs

    if not _store_is_there(store):
        return None
    with open_store(store) as notebook:
        machines, resins = (job.origin.name, job.target.name), (job.resin_from.name, job.resin.name)
        weighed = weighed_runs(notebook, machines=tuple(dict.fromkeys(machines)), resins=tuple(dict.fromkeys(resins)))
        runs = concerned(job, weighed.outcomes)
        if not runs:
            return None
        today = Shop(machines=(job.origin, job.target), resins=(job.resin_from, job.resin))

        def learn() -> Belief | None:
            from vatwright.services.learn_from_runs import shop_belief

            return shop_belief(_learning_bench(notebook, today, progress), weighed)

        belief = _kept_belief([*_taught_by(notebook, weighed), repr(today)], learn)
        tried = tried_runs(_learning_bench(notebook, today, progress), job, weighed.outcomes)
        return _Noted(belief, record_of(runs, machine=job.target.name), tried)


def _learning_bench(notebook: DatabaseNotebook, today: Shop, progress: Progress) -> LearningBench:
    from vatwright.files.belief_cache import LessonCache
    from vatwright.files.study_cache import cache_folder
    from vatwright.services.learn_from_runs import LearningBench

    folder = cache_folder()
    return LearningBench(
        store=notebook, read=read_geometry, now=_this_month(), progress=progress, memory=study_memory(), today=today,
        lessons=LessonCache(folder, version=_learner_version()) if folder else None,
    )  # fmt: skip


def _this_month() -> datetime:
    """The first of this month: runs fade by half in two years, so what is learned may stand until the next."""
    return datetime.now(UTC).replace(day=1, hour=0, minute=0, second=0, microsecond=0)


def _learner_version() -> str:
    from vatwright.files.study_cache import kernels_version, planner_version

    return f"{__version__} {kernels_version()} {planner_version()}"


def _taught_by(notebook: DatabaseNotebook, weighed: WeighedRuns) -> list[str]:
    """Every text that changes what these runs teach: themselves, their jobs, the shop's pages, films and screens in use."""
    from vatwright.services.which_runs import stock_told

    runs = weighed.outcomes
    jobs = notebook.job_digests([run.run for run in runs])
    pages = [page.document for page in notebook.pages()]
    return [*map(repr, runs), *sorted(map(repr, jobs.items())), *pages, *stock_told(runs, notebook.stock())]


def _kept_belief(texts: list[str], learn: Callable[[], Belief | None]) -> Belief | None:
    """Learn once from the same runs, machines and resins in one month."""
    from vatwright.files.answer_cache import key_of
    from vatwright.files.belief_cache import keep_belief, recall_belief
    from vatwright.files.study_cache import cache_folder

    folder = cache_folder()
    key = key_of([_this_month().isoformat(), *texts], version=_learner_version())
    belief = recall_belief(folder, key) if folder else None
    if belief is None and (belief := learn()) is not None and folder:
        keep_belief(folder, key, belief)
    return belief


class ShopBooks(NamedTuple):
    """Where stock and cost file are, as a command says it: files, the notebook, and whether its runs are weighed in."""

    stock: str | None = None
    costs: str | None = None
    store: str | None = None
    notebook: bool = True
    own: bool = False
    """Whether what the notebook still has of the demo workshop, as it came, is nobody's stock here."""


def cost_of_job(
    path: str, books: ShopBooks, *, shop: str | None = None, to: str | None = None, progress: Progress = silent
) -> CostSheet:
    """Return what the job in a file costs on its machine, or on the one named."""
    job = with_stock_at_hand(open_job(path, shop=shop, to=to), path, books)
    return cost_of_opened(job, path, books, progress=progress)


def cost_of_opened(
    job: Job, beside: str, books: ShopBooks, *, sheet: CarrySheet | None = None, progress: Progress = silent
) -> CostSheet:
    """Return what a job costs; stock and cost file stand beside a file, the carry sheet is made where there is none."""
    from vatwright.services.cost_job import cost_job

    bench = _cost_bench(_stock(beside, books), _costing(beside, books), job, progress)
    if sheet is None:
        sheet = carry_job(job, store=books.store, notebook=books.notebook, progress=progress)
    return cost_job(job, sheet, bench).sheet


def carry_with_floor(job: Job, beside: str, books: ShopBooks, *, progress: Progress = silent) -> CarrySheet:
    """Return the carry sheet with the resin at hand, washing, curing and the air; stock and cost file stand beside a file."""
    stock, costing = _stock_or_none(beside, books), _costing(beside, books)
    old = _old_lots(job, stock)
    carried = carry_job(job, store=books.store, notebook=books.notebook, progress=progress)

    def work_out() -> CarrySheet:
        from vatwright.services.cost_job import around_print

        around = around_print(job, carried, _cost_bench(stock, costing, job, progress))
        sources = dict.fromkeys((*carried.sources, *around.bottle.sources, *around.after.sources))
        return evolve(carried, around=around, sources=tuple(sources))

    sheet = _kept_answer("floor", job, None, (carried, stock, costing), work_out)
    return evolve(sheet, old_lots=old, upkeep=due_beside(job.target, costing, stock, books))


def with_stock_at_hand(job: Job, beside: str, books: ShopBooks) -> Job:
    """Return a job that knows its resin's date and its film's layers, by the stock beside a file or the notebook's."""
    from vatwright.planning.upkeep.upkeep import film_layers

    stock = _stock_or_none(beside, books)
    old = any(lot.only for lot in _old_lots(job, stock))
    return evolve(job, aged=old, film_layers=film_layers(job.target.name, stock.films))


def _old_lots(job: Job, stock: Stock) -> tuple[OldLot, ...]:
    from vatwright.planning.after.bottle import old_lots

    return old_lots(stock.lots, resin=job.resin.name, today=datetime.now(UTC).date())


def due_beside(machine: Machine, costing: Costing, stock: Stock, books: ShopBooks) -> tuple[Due, ...]:
    """Return what is due on a machine or soon will be, the notebook's runs counted where it is read."""
    from vatwright.services.look_after import COUNTED_RUNS, due_of

    runs: tuple[RunOutcome, ...] = ()
    if books.notebook and _store_is_there(books.store):
        with suppress(InputError), open_store(books.store) as notebook:  # the carry itself says what is wrong with it
            runs = notebook.runs(machine=machine.name, newest=COUNTED_RUNS)
    return due_of(machine, costing, stock, runs)


def due_in_shop(machines: Sequence[Machine], beside: str, books: ShopBooks) -> tuple[Due, ...]:
    """Return what is due on the machines of a shop, stock and cost file beside a file or the notebook's stock."""
    costing, stock = _costing(beside, books), _stock_or_none(beside, books)
    return tuple(due for machine in machines for due in due_beside(machine, costing, stock, books))


def compare_of_job(
    path: str, machines: Sequence[str], books: ShopBooks, *, shop: str | None = None, progress: Progress = silent
) -> CompareSheet:
    """Return the job in a file on several machines, side by side."""
    jobs = [open_job(path, shop=shop, to=name) for name in dict.fromkeys(machines)]
    return compare_of_opened(jobs[0], [j.target for j in jobs], path, books, progress=progress)


def compare_of_opened(
    job: Job, machines: Sequence[Machine], beside: str, books: ShopBooks, *, progress: Progress = silent
) -> CompareSheet:
    """Return a job on several machines, side by side; stock and cost file stand beside a file."""
    from vatwright.services.compare_machines import compare_machines

    bench = _cost_bench(_stock(beside, books), _costing(beside, books), job, progress)

    def carried(job: Job) -> CarrySheet:
        known = with_stock_at_hand(job, beside, books)
        return carry_job(known, store=books.store, notebook=books.notebook, progress=progress)

    return compare_machines(job, machines, bench, carried, progress)


def stations_beside(beside: str, books: ShopBooks) -> tuple[Station, ...]:
    """Return the stations to wash and cure in, of the stock beside a file or of the notebook."""
    return _stock(beside, books).stations


def _cost_bench(stock: Stock, costing: Costing, job: Job, progress: Progress) -> CostBench:
    from vatwright.services.cost_job import CostBench
    from vatwright.services.study_parts import PartBench

    warm_up(progress)
    parts = PartBench(read_geometry, layer_nm=job.recipe.settings.layer_nm, progress=progress, memory=study_memory())
    return CostBench(stock=stock, costing=costing, parts=parts)


def _costing(path: str, books: ShopBooks) -> Costing:
    """Lives, minutes and margin of the cost file as named, else as it stands beside the job, else beside the notebook."""
    from vatwright.files.cost_file import read_costs
    from vatwright.records.cost import Costing

    wanted = [
        books.costs,
        str(Path(path).parent / COSTS_NAME),
        str(costs_path(books.store)) if books.notebook else None,
    ]
    costs = books.costs or next((c for c in wanted if c is not None and Path(c).is_file()), None)
    return Costing() if costs is None else read_costs(costs)


def _stock(path: str, books: ShopBooks) -> Stock:
    """Stock as named, else as it stands beside the job, else from the notebook."""
    from vatwright.files.stock_file import stock_of_file
    from vatwright.records.stock import Stock

    beside = Path(path).parent / "stock.toml"
    named = books.stock or (str(beside) if beside.is_file() and books.store is None else None)
    if named is not None:
        return stock_of_file(named)
    if not books.notebook or not _store_is_there(books.store):
        return Stock()
    with open_store(books.store) as notebook:
        found = notebook.stock()
    return _without_demo(found) if books.own else found


def _without_demo(stock: Stock) -> Stock:
    """Return a stock without what the demo workshop has, just as it has it."""
    demo = set(map(repr, demo_entries()))
    kept = {f.name: tuple(e for e in getattr(stock, f.name) if repr(e) not in demo) for f in fields(type(stock))}
    return evolve(stock, **kept)


def _stock_or_none(path: str, books: ShopBooks) -> Stock:
    """Return the stock, or none where only the notebook has it and cannot be read: the carry says so."""
    from vatwright.records.stock import Stock

    try:
        return _stock(path, books)
    except InputError:
        if books.stock is not None or (Path(path).parent / "stock.toml").is_file():
            raise
        return Stock()


def observed_of_words(job: Job, words: Sequence[str]) -> Observed:
    """Return what words say of a failed run of a job: as `vatwright note` takes them; InputError with every mistake."""
    from vatwright.records.why import Observed

    said = outcome_of_job(job, Said((*(_placed(word, job) for word in words), "failed"), {}), now=datetime.now(UTC))
    return Observed(events=said.events, readings=said.readings, settings=said.settings)


def run_noted(name: str, *, store: str | None = None) -> RunOutcome:
    """Return a run of the notebook by its name; InputError where it has none of that name."""
    with open_store(store) as notebook:
        runs = notebook.runs()
    found = next((r for r in runs if r.run == name), None)
    if found is None:
        like = nearest(name, [r.run for r in runs])
        do = f"Perhaps {like} is meant" if like else "See what is: vatwright shop show run"
        raise InputError.one("--run", to_say("the notebook has no run called {name!r}", name=name), do)
    return found


def observed_in_run(run: RunOutcome, observed: Observed | None = None) -> Observed:
    """Return what was seen of a noted run: all that its note says, or what is said now with what its hands really set."""
    from vatwright.records.why import Observed

    if observed is None:
        observed = Observed(events=run.events, readings=run.readings, settings=run.settings)
    return evolve(observed, hands=run.hands)


def _placed(word: str, job: Job) -> str:
    """Return a reading's word with a corner by its place in mm: a reading names places by number only."""
    head, _, place = word.rpartition("@")
    if "=" not in head or place not in CORNERS:
        return word
    x, y = (side * size / 2.0 for side, size in zip(CORNERS[place], _sides_mm(job), strict=True))
    return f"{head}@{x:g},{y:g}"


def _sides_mm(job: Job) -> tuple[float, float]:
    platform = job.target.platform
    return from_si(platform.width_m, "mm"), from_si(platform.depth_m, "mm")


def ask_about(
    job: Job, observed: Observed, *, store: str | None = None, notebook: bool = True, progress: Progress = silent
) -> WhySheet:
    """Return why a run of a job failed whose part files are on disk; the other arguments are those of :func:`carry_job`."""
    noted = _noted_runs(job, store, progress) if notebook else None
    belief = noted.belief if noted else None

    def work_out() -> WhySheet:
        from vatwright.services.ask_why import ask_why

        warm_up(progress)
        return ask_why(job, observed, read_geometry, progress=progress, memory=study_memory(), belief=belief)

    return _kept_answer("why", job, belief, (observed,), work_out)


def trim_of_job(
    job: Job,
    *,
    hold: Sequence[str] = (),
    store: str | None = None,
    notebook: bool = True,
    progress: Progress = silent,
) -> TrimSheet:
    """Return what of a job's waits and rises is needed, and what to run next; other arguments as of :func:`carry_job`."""
    noted, _ = _noted_or_why_not(job, store, progress) if notebook else (None, ())
    belief, tried = (noted.belief, noted.tried) if noted else (None, ())
    held = tuple(dict.fromkeys(hold))

    def work_out() -> TrimSheet:
        from vatwright.services.trim_job import trim_job

        warm_up(progress)
        return trim_job(
            job, read_geometry, hold=held, progress=progress, memory=study_memory(), belief=belief, tried=tried
        )

    return _kept_answer("trim", job, belief, (held, *tried), work_out)


class TrialAsked(NamedTuple):
    """Which trial, as somebody asked for it: names, the room in degrees Celsius, where its solids go, and for which job."""

    kind: str
    machine: str
    resin: str | None
    room_c: float | None
    stl_path: str
    of: Job | None = None


class TrialMade(NamedTuple):
    """A trial, its solids as a file's bytes, and its job."""

    trial: Trial
    stl: bytes
    job: Job

    def job_text(self, path: str) -> str:
        """Return the job as the text of a job file that needs no shop, with part files as seen from its folder."""
        return write_job(self.job, beside=Path(path).resolve().parent)


def trial_of_shop(asked: TrialAsked, shop: str | None, *, progress: Progress = silent) -> TrialMade:
    """Return a trial for a machine of a shop file, or of the notebook's shop where there is no such file."""
    from vatwright.records.job import Shop
    from vatwright.records.trial import TrialKind
    from vatwright.services.trial_job import TrialWanted, trial_job

    found = _shop_here(shop) if asked.of is None else Shop()
    wanted = TrialWanted(
        kind=TrialKind(asked.kind),
        machine=asked.machine,
        resin=asked.resin,
        room_k=None if asked.room_c is None else celsius_to_kelvin(asked.room_c),
        file=str(Path(asked.stl_path).resolve()),
        of=asked.of,
    )
    job = trial_job(found, wanted)
    noted = _noted_runs(job, None, progress)
    belief = noted.belief if noted else None

    def work_out() -> TrialMade:
        from vatwright.files.parts.write_stl import stl_bytes
        from vatwright.services.make_trial import make_trial

        warm_up(progress)
        made = make_trial(found, wanted, read_geometry, progress=progress, memory=study_memory(), belief=belief)
        return TrialMade(made.trial, stl_bytes(made.corners_m), made.job)

    plate = () if asked.of is None else asked.of.parts
    return _kept_answer("trial", job, belief, (wanted.kind, *plate), work_out, (*job.recipe.proof.parts, *plate))


def _shop_here(shop: str | None) -> Shop:
    """The shop of a file, else of shop.toml in this folder, else of the notebook."""
    path = shop or "shop.toml"
    kept = kept_shop() if shop is None and not Path(path).exists() else None
    return read_shop(path) if kept is None else TomlDocuments(kept.name).shop([kept.text])


class StandAsked(NamedTuple):
    """Which part on which machine, as somebody asked: names, the room in degrees Celsius, the layer in nanometres."""

    part: PartUse
    machine: str
    resin: str | None = None
    room_c: float | None = None
    layer_nm: int | None = None


def stand_of_shop(
    asked: StandAsked,
    shop: str | None,
    *,
    store: str | None = None,
    notebook: bool = True,
    progress: Progress = silent,
) -> StandSheet:
    """Return how a part should stand on a machine of a shop file, or of the notebook's shop where there is no such file.

    Parameters
    ----------
    asked : StandAsked
        Which part on which machine.
    shop : str or None
        The shop file; else shop.toml in this folder, else the notebook's shop.
    store, notebook, progress
        As for :func:`carry_job`.
    """
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(1) as beside:  # what is in a large file is digested while the planner is loaded
        if memory := study_memory():
            beside.submit(memory.content_of, asked.part.file)
        from vatwright.services.stand_part import StandWanted, stand_job

        room_k = None if asked.room_c is None else celsius_to_kelvin(asked.room_c)
        job = stand_job(_shop_here(shop), StandWanted(asked.part, asked.machine, asked.resin, room_k))
    noted, unread = _noted_or_why_not(job, store, progress) if notebook else (None, ())
    belief = noted.belief if noted else None
    layer_nm = asked.layer_nm or job.recipe.settings.layer_nm

    def work_out() -> StandSheet:
        from vatwright.services.stand_part import stand_part

        warm_up(progress)
        return stand_part(
            job, read_geometry, layer_nm=layer_nm, progress=progress, memory=study_memory(), belief=belief
        )  # fmt: skip

    sheet = _kept_answer("stand", job, belief, (layer_nm,), work_out)
    return evolve(sheet, warnings=(*unread, *sheet.warnings))


def standing_stl(part: PartUse, sheet: StandSheet, way: int | None = None) -> bytes:
    """Return a part as a way of the sheet has it stand, the advised one unless said, as the bytes of an STL file."""
    from vatwright.files.parts.write_stl import stl_bytes
    from vatwright.services.stand_part import standing_corners

    number = sheet.advice if way is None else way
    if not 0 <= number < len(sheet.ways):
        raise InputError.one(
            "--way",
            to_say("there is no way {number}", number=number),
            to_say("The list goes from 0, as drawn, to {ways}", ways=len(sheet.ways) - 1),
        )
    corners_m = standing_corners(part, sheet.ways[number], read_geometry, layer_nm=sheet.layer_nm)
    return stl_bytes(corners_m, what="part as it should stand")


def new_outputs(paths: dict[str, str | None], *, force: bool) -> None:
    """Refuse before any work what could not be written after it: a wrong ending, a missing folder, a file that is there."""
    from vatwright.files.parts.write_stl import require_new

    require_new(paths, force=force)


def study_files(
    parts: Sequence[PartUse], *, layer_nm: int, machine: Machine | None = None, progress: Progress = silent
) -> Study:
    """Return the study of part files on disk, on one plate: the fullest one, which says so, where they need several."""
    from vatwright.files.first_look import require_usable
    from vatwright.services.study_parts import PartBench, study_plate

    require_usable(parts, machine)
    warm_up(progress)
    bench = PartBench(read_geometry, layer_nm=layer_nm, progress=progress, memory=study_memory())
    plan = study_plate(parts, bench, machine=machine)
    if len(plan.layers) == 1:
        return plan.study
    where = f"{len(plan.layers)} plates of {machine.name}" if machine else f"{len(plan.layers)} plates"
    asked = sum(len(p.places) or p.count for p in parts)
    said = f"the {asked} pieces need {where}: this is the fullest one, with {plan.study.pieces} of them"
    return evolve(plan.study, warnings=(said, *plan.study.warnings))


def machine_of_shop(name: str, shop: str | None) -> Machine:
    """Return a machine of a shop file by its name."""
    path = shop or "shop.toml"
    kept = kept_shop() if shop is None and not Path(path).exists() else None
    found = read_shop(path).machines if kept is None else TomlDocuments(kept.name).shop([kept.text]).machines
    path = path if kept is None else kept.name
    for machine in found:
        if machine.name == name:
            return machine
    known = [m.name for m in found]
    like = nearest(name, known)
    do = f"Perhaps {like} is meant" if like else f"It holds: {', '.join(known) or 'none'}"
    raise InputError.one(path, to_say("holds no machine called {name!r}", name=name), do)


def commission_of_shop(
    kind: str, name: str, *, shop: str | None = None, store: str | None = None, progress: Progress = silent
) -> CommissionSheet:
    """Return what is worth reading of a machine or a resin of a shop file, or of the notebook's shop."""
    from vatwright.files.said import said_of
    from vatwright.planning.commission.commission import commissioned

    beside = shop or (None if store else "shop.toml")
    if shop is not None or (beside and Path(beside).exists()):
        path = Path(str(beside))
        found, text, where = read_shop(path), path.read_text(encoding="utf-8"), str(path)
    else:
        kept = kept_shop(store)
        if kept is None:
            raise InputError.one(
                to_say("the shop"),
                to_say("there is none here"),
                to_say("Name one with --shop, or: vatwright shop add shop.toml"),
            )
        found, text, where = TomlDocuments(kept.name).shop([kept.text]), kept.text, kept.name
    known = [entry.name for entry in (found.machines if kind == "machine" else found.resins)]
    if name not in known:
        raise InputError.one(
            where,
            to_say("holds no {kind} called {name!r}", kind=kind, name=name),
            to_say("It holds: {known}", known=", ".join(known) or "none"),
        )
    return commissioned(kind, name, said_of(text, kind, name), saved_by_reading(found, kind, name, progress))


def saved_by_reading(shop: Shop, kind: str, name: str, progress: Progress = silent) -> dict[str, float]:
    """Return by unknown, what the reading that narrows it is expected to save in a run of a common load [s]."""
    from vatwright.services.commission_savings import saved_on_a_common_load

    warm_up(progress)
    progress("what each reading may save", 0, 1)
    return saved_on_a_common_load(shop, kind, name)


def store_address(store: str | None = None) -> str:
    """Return where the notebook is: as the command says, else the environment, else the platform's usual place."""
    named = store or os.environ.get(STORE_VARIABLE)
    return named or _usual_notebook()


def _usual_notebook() -> str:
    if sys.platform == "win32":
        return str(Path(os.environ.get("LOCALAPPDATA") or Path.home() / "AppData" / "Local") / "Vatwright" / STORE_NAME)
    if sys.platform == "darwin":
        return str(Path.home() / "Library" / "Application Support" / "Vatwright" / STORE_NAME)
    return str(Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share") / "vatwright" / STORE_NAME)


def costs_path(store: str | None = None) -> Path:
    """Return where the cost file of a notebook's shop is: beside the notebook."""
    return live_run_folder(store).parent / COSTS_NAME


def live_run_folder(store: str | None = None) -> Path:
    """Return where runs that go on are kept: beside the notebook's file, or in the usual place of one."""
    address = store_address(store)
    if "://" in address:
        address = _usual_notebook()
    return Path(address).expanduser().parent / "runs"


def open_store(store: str | None = None, *, create: bool = False) -> DatabaseNotebook:
    """Return the notebook, its schema brought up to date; the caller closes it.

    Parameters
    ----------
    store : str or None
        Path or address; else as :func:`store_address` finds it.
    create : bool
        Make it where there is none.

    Raises
    ------
    InputError
        Where there is none, or it cannot be used.
    """
    from vatwright.store.notebook import DatabaseNotebook

    address = store_address(store)
    return DatabaseNotebook(address, TomlDocuments(f"notebook {address}"), create=create)


def _store_is_there(store: str | None) -> bool:
    """Whether there is a notebook to open; an address of a database counts as one."""
    try:
        address = store_address(store)
    except RuntimeError:  # nobody's home
        return False
    return "://" in address or Path(address).expanduser().is_file()


def kept_shop(store: str | None = None) -> NamedText | None:
    """Return the shop of the notebook as the text of a shop file; None where there is no notebook or no shop in it."""
    if not _store_is_there(store):
        return None
    with open_store(store) as notebook:
        pages = notebook.pages()
        return NamedText(notebook.address, "\n".join(p.document for p in pages)) if pages else None


def note_run(
    job: Job,
    outcome: RunOutcome,
    *,
    store: str | None = None,
    predict: bool = True,
    sheet: CarrySheet | None = None,
    progress: Progress = silent,
) -> Noted:
    """Note a run of a job, with what the carry of the job predicts.

    Parameters
    ----------
    job : Job
        With its part files where they are now.
    outcome : RunOutcome
        What happened.
    store : str or None
        Path or address of the notebook, which is made where there is none.
    predict : bool
        Carry the job first, and keep what that predicts.
    sheet : CarrySheet or None
        The sheet it was printed from, where that is at hand.
    progress : Progress
        Told how far the carry is.
    """
    from vatwright.services.note_outcome import note_outcome, prediction_of

    with open_store(store, create=True) as notebook:
        if sheet is None and predict:
            sheet = carry_job(job, store=store, progress=progress)
        if sheet is not None and outcome.prediction is None:
            outcome = evolve(outcome, prediction=prediction_of(sheet, release=__version__))
        page = job_page(job, noted=datetime.now(UTC))
        return note_outcome(notebook, outcome, page, run_page, sheet=sheet)


def learn_of_store(
    *, machine: str = "", resin: str = "", store: str | None = None, progress: Progress = silent
) -> LearnSheet:
    """Return what the runs in the notebook have taught; of one machine or one resin where named."""
    from vatwright.files.answer_cache import keep_answer, key_of, recall_answer
    from vatwright.files.study_cache import cache_folder
    from vatwright.records.job import Shop
    from vatwright.services.which_runs import require_runs, weighed_runs

    with open_store(store) as notebook:
        weighed = weighed_runs(notebook, machines=(machine,) if machine else (), resins=(resin,) if resin else ())
        counted = require_runs(notebook, weighed.machine or machine, resin)
        folder, texts = cache_folder(), [_this_month().isoformat(), machine, resin, *_taught_by(notebook, weighed)]
        key = key_of([*texts, *map(repr, counted)], version=_learner_version())
        sheet: LearnSheet | None = recall_answer(folder, "learnt", key) if folder else None
        if sheet is None:
            from vatwright.services.learn_from_runs import learn_from_runs

            warm_up(progress)
            bench = _learning_bench(notebook, Shop(), progress)
            sheet = learn_from_runs(bench, machine=machine, resin=resin, weighed=weighed)
            if folder:
                keep_answer(folder, "learnt", key, sheet)
        return sheet


def learn_ahead(job: Job, *, store: str | None = None, progress: Progress = silent) -> None:
    """Learn from what was just noted of a job, so that the next question about it finds it done."""
    with suppress(VatwrightError):  # the next question says what is wrong, this one was answered
        _noted_runs(job, store, progress)
        learn_of_store(machine=job.target.name, store=store, progress=progress)


def outcome_of_run(job: Job, words: Sequence[str], said: Mapping[str, Any], *, source: str | None = None) -> RunOutcome:
    """Return what happened in a run of a job, from words, from options, and from an outcome file.

    Parameters
    ----------
    job : Job
        The job.
    words : sequence of str
        As ``vatwright note --help`` lists them.
    said : mapping
        Options of that command by name; None or empty where not given.
    source : str or None
        An outcome file.

    Raises
    ------
    InputError
        With every mistake.
    """
    options = {"note" if key == "words" else key: value for key, value in said.items()}
    room = options.pop("room_c", None)
    if room is not None:
        options["room_C"] = decimal_of(room)
    options["photos"] = list(options.get("photos") or ())
    return outcome_of_job(job, Said(words, options, source), now=datetime.now(UTC).astimezone())


def read_for_store(files: Sequence[TableSource], notebook: DatabaseNotebook) -> list[Entry]:
    """Return what files or tables hold for the notebook; one may refer to what the notebook or one before it holds."""
    known = known_names(notebook)
    entries: list[Entry] = []
    mistakes: list[Mistake] = []
    for file in files:
        try:
            found = read_stock(file, known)
        except InputError as error:
            mistakes += error.mistakes
            continue
        entries += found
        for page in found:
            if isinstance(page, TablePage):
                known[page.kind].append(page.name)
    if mistakes:
        raise InputError(mistakes)
    return entries


def revision_of(entry: Entry) -> str:
    """Return what tells one state of an entry of a notebook from another."""
    from vatwright.store.to_records import revision_of

    return revision_of(entry)


def entries_of_file(path: str) -> list[Entry]:
    """Return what a shop file holds, and the stock file beside it, for a notebook."""
    shop = list(read_stock(Path(path), {}))
    names = {kind: [p.name for p in shop if isinstance(p, TablePage) and p.kind == kind] for kind in TEXT_KINDS}
    beside = Path(path).parent / "stock.toml"
    return [*shop, *(read_stock(beside, names) if beside.is_file() else ())]


def demo_entries() -> list[Entry]:
    """Return the demo workshop, for a notebook."""
    return entries_of_file(str(demo_folder() / "shop.toml"))


def export_store(path: str, *, store: str | None = None) -> list[str]:
    """Write everything in the notebook as open files, the cost file beside it among them, and return their names."""
    at = costs_path(store)
    costs = at.read_text(encoding="utf-8") if at.is_file() else ""
    with open_store(store) as notebook:
        texts = export_texts(notebook.contents(), release=__version__, at=datetime.now(UTC), costs=costs)
    write_export(path, texts)
    return list(texts)


def import_store(path: str, *, store: str | None = None, source: str) -> tuple[KeptEntries, str]:
    """Take in what an export holds; what is there already, a cost file too, is left alone.

    Parameters
    ----------
    path : str
        The folder or zip.
    store : str or None
        The notebook, made where there is none.
    source : str
        What the history calls the export.

    Returns
    -------
    KeptEntries, str
        What changed, and where the notebook is.
    """
    from vatwright.files.notebook_files import read_export
    from vatwright.services.keep_shop import import_entries

    found = read_export(path)
    with open_store(store, create=True) as notebook:
        kept = import_entries(notebook, found.entries, found.versions, source=source)
        address = notebook.address
    if found.costs and not costs_path(store).exists():
        write_text_atomically(costs_path(store), found.costs)
    return kept, address


def demo_folder() -> Path:
    """Return where the demo workshop's files are: inside the installed package, or in the source tree."""
    inside = Path(__file__).parent / "_demo"
    return inside if inside.is_dir() else Path(__file__).parents[2] / "demo"


def copy_demo(folder: str) -> list[Path]:
    """Copy the demo workshop into a new folder, whole or not at all, and return the files; refuses one that holds something."""
    target = Path(folder)
    if target.exists() and any(target.iterdir()):
        raise InputError.one(
            folder, to_say("is there already and not empty"), to_say("Name a new folder: vatwright demo NAME")
        )
    files = [s for s in sorted(demo_folder().rglob("*")) if s.suffix in {".toml", ".stl"}]
    with new_folder(target) as making:
        for source in files:
            copy = making / source.relative_to(demo_folder())
            copy.parent.mkdir(parents=True, exist_ok=True)
            write_bytes_atomically(copy, source.read_bytes())
    return [target / source.relative_to(demo_folder()) for source in files]


def plan_book(book: OrderBook, past: Past, *, dask: str | None = None, progress: Progress = silent) -> FleetPlan:
    """Return the plan of an order book whose part files are on disk; the notebook's stations serve where it names none."""
    require_extra("orders", "a plan of orders")
    from vatwright.services.plan_fleet import plan_orders

    warm_up(progress)
    if dask:
        for layer_nm in sorted({o.recipe.settings.layer_nm for o in book.orders}):
            parts = [p for o in book.orders if o.recipe.settings.layer_nm == layer_nm for p in o.parts]
            study_files_many(parts, layer_nm=layer_nm, dask=dask, progress=progress)
    if not book.stations:
        book = evolve(book, stations=_kept_stations())
    return plan_orders(book, read_geometry, past=past, progress=progress, memory=study_memory())


def study_files_many(
    parts: Sequence[PartUse],
    *,
    layer_nm: int,
    dask: str | None = None,
    workers: int | None = None,
    progress: Progress = silent,
) -> ManyDone:
    """Study many part files into the cache, on this computer's processors or on a dask cluster.

    Parameters
    ----------
    parts : sequence of PartUse
        What to study; files of equal content are studied once.
    layer_nm : int
        Layer thickness [nm].
    dask : str or None
        Address of a cluster whose workers see the same files and the same cache folder.
    workers : int or None
        Processes on this computer; as many as it has processors unless said.
    progress : Progress
        Told how far it is; what is kept when it stops is found by the next run.

    Raises
    ------
    InputError
        Where nothing is kept between runs, or the cluster does not answer.
    """
    from concurrent.futures import ProcessPoolExecutor
    from functools import partial
    from multiprocessing import get_context

    from vatwright.files.study_cache import cache_folder
    from vatwright.services.study_many import study_many

    folder = cache_folder()
    if folder is None:
        do = "Unset it, or name a folder that all workers see"
        raise InputError.one("VATWRIGHT_CACHE", to_say("is empty, and workers share their studies there"), do)
    distinct = list({(p.file, p.unit, p.pixel_m): p for p in parts}.values())
    work = partial(_study_on_worker, layer_nm=layer_nm, folder=str(folder))
    if dask is None:
        pools: list[ProcessPoolExecutor] = []

        def pool() -> ProcessPoolExecutor:
            pools.append(ProcessPoolExecutor(workers, mp_context=get_context("spawn")))
            return pools[-1]

        try:
            return study_many(distinct, work, pool(), renew=pool, progress=progress)
        finally:
            for each in pools:
                each.shutdown(cancel_futures=True)
    with _cluster(dask) as client:
        return study_many(distinct, work, client.get_executor(pure=False), progress=progress)


def _cluster(address: str) -> Any:
    """A client of a dask cluster, or InputError where nobody answers."""
    require_extra("cluster", "a dask cluster")
    from dask.distributed import Client

    try:
        return Client(address, timeout="20s", set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        do = "Check that its scheduler runs there, as in tcp://192.168.1.20:8786"
        raise InputError.one(address, to_say("no dask scheduler answers"), do) from error


def _study_on_worker(part: PartUse, *, layer_nm: int, folder: str) -> PartDone:
    """Study one part on a worker, its study kept where all workers find it."""
    from hashlib import sha256

    from vatwright.files.study_cache import StudyCache, pack
    from vatwright.services.study_many import study_one

    return study_one(
        part,
        layer_nm=layer_nm,
        read=read_geometry,
        memory=StudyCache(Path(folder)),
        digest=lambda layers: sha256(pack(layers)).hexdigest(),
    )


def _kept_stations() -> tuple[Station, ...]:
    """Stations of the notebook, none where there is no notebook."""
    try:
        address = store_address()
    except RuntimeError:  # nobody's home
        return ()
    if "://" not in address and not Path(address).expanduser().is_file():
        return ()
    with open_store() as notebook:
        return notebook.stock().stations
