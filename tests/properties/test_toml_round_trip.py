"""What is written reads back equal, to the last bit, for any records; two independent TOML parsers agree on it."""

import tempfile
import tomllib
from pathlib import Path

import pytest
import tomlkit
from attrs import evolve
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vatwright.errors import InputError
from vatwright.files import priors
from vatwright.files.read import read_job, read_shop
from vatwright.files.write import write_job, write_shop
from vatwright.quantities import FILM_YIELD_STRAIN
from vatwright.records.job import Hands, Job, Shop
from vatwright.records.machine import (
    Backing,
    Controller,
    Film,
    LevelReading,
    Light,
    Machine,
    Motion,
    Obeys,
    Opening,
    Platform,
    Rule,
    Vat,
    Window,
)
from vatwright.records.material import CureReading, Resin, ViscosityReading, WorkingCurve
from vatwright.records.part import PartUse, Place, PlateLoad
from vatwright.records.process import QUANTITY_NAMES, Phase, Proof, Recipe, Settings
from vatwright.records.sourced import Kind, Sourced

LOCAL = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


def f(low, high):
    return st.floats(low, high, allow_nan=False)


text = st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=20).filter(str.strip)


@st.composite
def sourced(draw, low, high, prior=None):
    if prior is not None and draw(st.booleans()):
        return prior
    value = draw(f(low, high))
    if draw(st.booleans()):
        return Sourced.about(value, factor=1.2, source="user:statement", kind=Kind.STATEMENT)
    down, up = draw(f(1, 5)), draw(f(1, 5))
    return Sourced(value=value, low=value / down, high=value * up, source=draw(text), kind=draw(st.sampled_from(Kind)))


levels = st.builds(LevelReading, x_m=f(-0.5, 0.5), y_m=f(-0.5, 0.5), gap_m=f(0, 0.01))

openings = st.lists(
    st.builds(
        Opening, x_m=f(-0.5, 0.5), y_m=f(-0.5, 0.5), width_m=f(0.001, 0.1), depth_m=f(0.001, 0.1), round_=st.booleans()
    )
    | f(0.001, 0.1).map(lambda d: Opening(x_m=0.0, y_m=0.0, width_m=d, depth_m=d)),
    max_size=2,
).map(tuple)


@st.composite
def rules(draw):
    obeys = draw(st.sampled_from(Obeys))
    return Rule(
        obeys=obeys, minimum=draw(st.just(0.0) | f(0, 5)), maximum=draw(st.just(1e9) | f(5, 100)),
        step=draw(st.just(1e-4) | f(1e-5, 1)), live=draw(st.booleans()),
        fixed=draw(f(0, 100)) if obeys == Obeys.NO else 0.0,
    )  # fmt: skip


@st.composite
def films(draw):
    """Films that stand their tension: one that would yield is refused."""
    thickness, modulus = draw(f(2e-5, 1e-3)), draw(f(1e8, 5e9))
    most = 0.9 * FILM_YIELD_STRAIN * modulus * thickness
    return Film(
        backing=draw(st.sampled_from(Backing)), thickness_m=thickness, modulus_pa=modulus,
        tension_n_m=draw(sourced(20, min(most, 10_000), priors.TENSION)),
    )  # fmt: skip


@st.composite
def machines(draw, name):
    width, depth = draw(f(0.02, 0.5)), draw(f(0.02, 0.5))
    meter = draw(st.just("") | text)
    return Machine(
        name=name,
        platform=Platform(width_m=width, depth_m=depth, corner_m=draw(f(0, 0.01)), openings=draw(openings)),
        window=Window(width_m=width * 1.1, depth_m=depth * 1.1, corner_m=draw(f(0, 0.01))),
        vat=Vat(width_m=width * 1.3, depth_m=depth * 1.3, full_m=draw(f(0.005, 0.1))),
        height_m=draw(f(0.05, 0.5)),
        film=draw(films()),
        stiffness_n_m=draw(sourced(1e4, 1e7, priors.STIFFNESS)),
        ceiling_n=draw(sourced(10, 1000, priors.CEILING)),
        screen_force_n=draw(st.none() | f(10, 1000)),
        light=Light(
            irradiance_w_m2=draw(sourced(1, 500, priors.IRRADIANCE)), meter=meter,
            dimmest=draw(st.just(0.9) | f(0.02, 1)), brightest=draw(st.just(1.1) | f(1, 9)),
        ),
        motion=Motion(acceleration_m_s2=draw(sourced(0.001, 10, priors.ACCELERATION)), fastest_m_s=draw(f(0.001, 0.1))),
        controller=Controller(
            rules=draw(st.dictionaries(st.sampled_from([*QUANTITY_NAMES, "base.layers", "ramp.layers", "layer_mm"]),
                                       rules(), max_size=4)),
            overhead_s=draw(f(0, 10)),
            ramp_covers=tuple(draw(st.lists(st.sampled_from(QUANTITY_NAMES), unique=True, max_size=3))),
        ),
        level=tuple(draw(st.lists(levels, max_size=3))),
        level_sigma_m=draw(f(1e-6, 1e-4)),
    )  # fmt: skip


@st.composite
def resins(draw, name):
    viscosity = st.builds(
        ViscosityReading, temperature_k=f(260, 350), viscosity_pa_s=f(0.01, 50), sigma_pa_s=f(0.001, 10)
    )
    return Resin(
        name=name,
        viscosity=tuple(draw(st.lists(viscosity, max_size=3))),
        curve=draw(st.none() | st.builds(WorkingCurve, depth_m=sourced(1e-5, 1e-3), critical_j_m2=sourced(1, 1000))),
        cure_readings=tuple(
            draw(st.lists(st.builds(CureReading, dose_j_m2=f(1, 1e4), depth_m=f(1e-5, 1e-3)), max_size=3))
        ),
        density_kg_m3=draw(f(600, 4000)),
        price_per_kg=draw(st.none() | f(0, 1000)),
    )


phases = st.builds(
    Phase, exposure_s=f(0.1, 100), settle_s=f(0, 100), soak_s=f(0, 100), refill_s=f(0, 100), peel_lift_m=f(1e-4, 0.02),
    clear_lift_m=f(0, 0.02), peel_speed_m_s=f(1e-5, 0.1), clear_speed_m_s=f(1e-5, 0.1), return_speed_m_s=f(1e-5, 0.1),
)  # fmt: skip


@st.composite
def parts(draw, folder):
    file, unit, pixel_m = draw(
        st.sampled_from([("lamp.stl", "mm", None), ("lamp.3mf", None, None), ("layers", None, 4.7e-5)])
    )
    places = tuple(
        draw(st.lists(st.builds(Place, x_m=f(-0.5, 0.5), y_m=f(-0.5, 0.5), turn_deg=f(-360, 360)), max_size=3))
    )
    return PartUse(
        name=draw(text), file=str(folder / file), unit=unit, pixel_m=pixel_m, places=places,
        count=len(places) or draw(st.integers(1, 10_000)), as_drawn=bool(places) and draw(st.booleans()),
    )  # fmt: skip


@st.composite
def recipes(draw, name, machine, resin, folder):
    runs = draw(st.integers(1, 1000))
    load = draw(
        st.none()
        | st.builds(
            PlateLoad, pieces=st.integers(1, 100), section_m2=f(1e-6, 1e-2), height_m=f(0.001, 1), reach=f(0, 1)
        )
    )
    proof = Proof(
        runs=runs, failed=draw(st.integers(0, runs)), room_k=draw(f(270, 330)), load=load,
        parts=() if load else tuple(draw(st.lists(parts(folder), max_size=2))),
    )  # fmt: skip
    run = Settings(
        layer_nm=draw(st.integers(1_000, 1_000_000)), base_layers=draw(st.integers(1, 200)),
        ramp_layers=draw(st.integers(0, 500)), base=draw(phases), body=draw(phases),
    )  # fmt: skip
    return Recipe(name=name, machine=machine, resin=resin, settings=run, proof=proof)


@st.composite
def jobs(draw, folder):
    origin, resin = draw(machines("Wren")), draw(resins("slate"))
    return Job(
        name=draw(text),
        recipe=draw(recipes("proven", "Wren", "slate", folder)),
        origin=origin,
        target=draw(st.just(origin) | machines("Heron")),
        resin_from=resin,
        resin=draw(st.just(resin) | resins("amber")),
        room_k=draw(f(270, 330)),
        parts=tuple(draw(st.lists(parts(folder), min_size=1, max_size=2))),
        hands=Hands(
            visits=draw(st.integers(0, 20)), present_s=draw(f(0, 1e5)), late_s=draw(f(0, 1e4)), early_s=draw(f(0, 1e4))
        ),
        confidence=draw(f(0.5, 0.999)),
        tolerance=draw(f(0.001, 1)),
    )


def bare(recipe):
    """A recipe without the lines that its parts stand on."""
    return evolve(recipe, proof=evolve(recipe.proof, parts=tuple(evolve(p, where="") for p in recipe.proof.parts)))


def parsers_agree(content):
    assert tomlkit.parse(content).unwrap() == tomllib.loads(content)


@LOCAL
@given(data=st.data())
def test_a_shop_reads_back_equal(data):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        shop = Shop(
            machines=(data.draw(machines("Wren")), data.draw(machines("Heron"))),
            resins=(data.draw(resins("slate")),),
            recipes=(data.draw(recipes("proven", "Wren", "slate", folder)),),
        )
        content = write_shop(shop, beside=data.draw(st.none() | st.just(folder)))
        parsers_agree(content)
        (folder / "shop.toml").write_text(content, encoding="utf-8")
        again = read_shop(folder / "shop.toml")
        assert evolve(again, recipes=tuple(bare(r) for r in again.recipes)) == shop


@LOCAL
@given(data=st.data())
def test_a_job_reads_back_equal_and_is_written_the_same_again(data):
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "lamp.stl").touch()
        (folder / "lamp.3mf").touch()
        (folder / "layers").mkdir()
        job = data.draw(jobs(folder))
        content = write_job(job)
        parsers_agree(content)
        (folder / "job.toml").write_text(content, encoding="utf-8")
        again = read_job(folder / "job.toml")
        parts_of = tuple(evolve(p, where="") for p in again.parts)
        assert evolve(again, recipe=bare(again.recipe), parts=parts_of) == job
        assert write_job(again) == content


KEYS = st.sampled_from(["machine", "resin", "recipe", "job", "part", "name", "height_mm", "platform", "file", "x"])
ANYTHING = st.recursive(
    st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.dates(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(KEYS, inner, max_size=4),
    max_leaves=20,
)


@LOCAL
@given(content=st.dictionaries(KEYS, ANYTHING, max_size=5).map(tomlkit.dumps) | st.text(max_size=200))
def test_whatever_stands_in_a_file_it_is_refused_with_places(content):
    with tempfile.TemporaryDirectory() as name:
        path = Path(name, "job.toml")
        path.write_text(content, encoding="utf-8", errors="replace")
        with pytest.raises(InputError) as caught:  # none of them is a whole job
            read_job(path)
        assert caught.value.mistakes
        assert all(m.where.startswith(str(path)) and m.what and m.do for m in caught.value.mistakes)
