"""A notebook as open files: everything comes back, twice does no harm, and no archive can do any.

Compared with: what was put in, two independent readers (tomlkit for TOML, the standard library for JSON and zip), and what
the zip format allows that an importer must not (PKWARE APPNOTE 4.3.6, 4.4.4, 4.4.17).
"""

from __future__ import annotations

import json
import tomllib
import zipfile
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st
from tests.store.things import SLATE, STOCK, WREN, noted_job, noted_run, recipe_page, shop_pages

from vatwright.errors import InputError
from vatwright.files import notebook_files
from vatwright.files.documents import TomlDocuments
from vatwright.files.fields import YEARS
from vatwright.files.notebook_files import FILES, export_texts, read_export, write_export
from vatwright.files.read import read_shop
from vatwright.files.stock_file import entries_of_text, read_stock, stock_text
from vatwright.records.notebook import Contents, TablePage, Version
from vatwright.records.stock import FittedFilm, Lot, Price, Screen, Station, StationKind

AT = datetime(2026, 3, 1, 18, 0, tzinfo=UTC)
JOB = noted_job()
CONTENTS = Contents(
    pages=shop_pages(),
    stock=STOCK,
    versions=(
        Version(
            recipe="slate on Wren",
            saved=datetime(2026, 1, 2, 3, 4, 5, 678, tzinfo=UTC),
            document=recipe_page(1).document,
        ),
    ),
    jobs=(JOB,),
    runs=(noted_run("run 1", JOB), noted_run("run 2")),
)
COSTS = "margin_percent = 12\n"
TEXTS = export_texts(CONTENTS, release="0.1", at=AT, costs=COSTS)


def exported(folder, **changes):
    """An export in a folder, with some of its files changed."""
    write_export(folder / "out", TEXTS | {name.replace("__", ".").replace("_", "-"): t for name, t in changes.items()})
    return folder / "out"


def mistakes(path):
    with pytest.raises(InputError) as error:
        read_export(path)
    assert all(m.do for m in error.value.mistakes)
    return [str(m) for m in error.value.mistakes]


@pytest.mark.parametrize("name", ["folder", "archive.zip"])
def test_everything_comes_back(tmp_path, name):
    write_export(tmp_path / name, TEXTS)
    found = read_export(tmp_path / name)
    assert found.entries == (*CONTENTS.pages, *CONTENTS.stock, *CONTENTS.jobs, *CONTENTS.runs)
    assert found.versions == CONTENTS.versions
    assert found.costs == COSTS


def test_a_cost_file_that_is_none_is_refused_and_none_need_be_there(tmp_path):
    assert "margin_percnt" in mistakes(exported(tmp_path, costs__toml="margin_percnt = 12"))[0]
    (tmp_path / "out" / "costs.toml").unlink()
    assert read_export(tmp_path / "out").costs == ""


def test_other_readers_read_it_too(tmp_path):
    write_export(tmp_path / "n.zip", TEXTS)
    with zipfile.ZipFile(tmp_path / "n.zip") as archive:
        assert archive.testzip() is None
        assert archive.namelist() == list(FILES)
        shop = tomlkit.parse(archive.read("shop.toml").decode())
        assert [m["name"] for m in shop["machine"]] == ["Wren", "Heron", "Albatross"]
        assert tomllib.loads(archive.read("stock.toml").decode())["film"][0]["layers"] == 12
        runs = [json.loads(line) for line in archive.read("runs.jsonl").decode().splitlines()]
        assert [r["outcome"]["schema"] for r in runs] == ["vatwright.outcome/1"] * 2
        assert runs[0]["outcome"]["events"][0] == {"what": "layer_split", "layer": 412}


def test_the_shop_of_an_export_is_a_shop_file(tmp_path):
    demo = read_shop(Path(__file__).parents[2] / "demo" / "shop.toml")
    assert read_shop(exported(tmp_path) / "shop.toml") == demo


def test_equal_notebooks_make_equal_files(tmp_path):
    for name in ("a.zip", "b.zip"):
        write_export(tmp_path / name, TEXTS)
    assert (tmp_path / "a.zip").read_bytes() == (tmp_path / "b.zip").read_bytes()


def test_a_folder_that_holds_something_is_left_alone(tmp_path):
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(InputError, match="not an empty folder"):
        write_export(tmp_path, TEXTS)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_every_mistake_of_every_file_is_told_at_once(tmp_path):
    told = mistakes(
        exported(
            tmp_path, shop__toml='[[resin]]\nnam = "slate"\n', stock__toml="[[price]]\namount = -1\n",
            runs__jsonl='{"job": "x", "outcome": {}}\n{\n', jobs__jsonl='{"noted": "today"}\n',
            recipe_versions__jsonl="[1]\n",
        )
    )  # fmt: skip
    for name, at_least in (
        ("shop.toml", 2), ("stock.toml", 2), ("runs.jsonl:1", 1), ("runs.jsonl:2", 1), ("jobs.jsonl:1", 3),
        ("recipe-versions.jsonl:1", 1),
    ):  # fmt: skip
        assert sum(f"/{name}:" in line for line in told) >= at_least, (name, told)


def test_what_refers_to_nothing_is_told(tmp_path):
    run = TEXTS["runs.jsonl"].splitlines()[0].replace(JOB.digest, "0" * 64)
    assert "run 'run 1' names a job that is not in jobs.jsonl" in mistakes(exported(tmp_path, runs__jsonl=run))[0]
    (tmp_path / "two").mkdir()
    only_films = exported(tmp_path / "two", shop__toml="")
    assert 'names the machine "Wren", which is not in shop.toml' in mistakes(only_films)[0]


@pytest.mark.parametrize(
    ("head", "told"),
    [
        ("", "is not an exported notebook"), ('schema = "vatwright.notebook/2"', "Install the newer version"),
        ('schema = "vatwright.carry/1"', "is not an exported notebook"), ("schema = ", "is not valid TOML"),
    ],
)  # fmt: skip
def test_another_format_is_refused(tmp_path, head, told):
    assert told in mistakes(exported(tmp_path, notebook__toml=head))[0]


class TestArchivesThatMeanHarm:
    def archive(self, tmp_path, *members):
        path = tmp_path / "n.zip"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            archive.writestr("notebook.toml", TEXTS["notebook.toml"])
            for name, data in members:
                archive.writestr(name, data)
        return path

    @pytest.mark.parametrize("name", ["../shop.toml", "/etc/shop.toml", "a/../../shop.toml", "..\\shop.toml"])
    def test_a_path_that_leads_out(self, tmp_path, name):
        path = self.archive(tmp_path, (name, "x"))
        assert "leads out of it" in mistakes(path)[0]
        assert [p.name for p in tmp_path.iterdir()] == ["n.zip"]

    def test_a_bomb_that_admits_its_size(self, tmp_path, monkeypatch):
        monkeypatch.setattr(notebook_files, "MAX_BYTES", 100_000)
        assert "would unpack to 5000000 bytes" in mistakes(self.archive(tmp_path, ("runs.jsonl", b"\n" * 5_000_000)))[0]

    def test_a_bomb_that_lies_about_its_size(self, tmp_path, monkeypatch):
        monkeypatch.setattr(notebook_files, "MAX_BYTES", 100_000)
        path = self.archive(tmp_path, ("runs.jsonl", b"\n" * 5_000_000))
        data = bytearray(path.read_bytes())
        for mark, place in (
            (b"PK\x03\x04", 22),
            (b"PK\x01\x02", 24),
        ):  # the size as each header states it: 4.3.7, 4.3.12
            at = data.rfind(mark)
            assert int.from_bytes(data[at + place : at + place + 4], "little") == 5_000_000
            data[at + place : at + place + 4] = (1000).to_bytes(4, "little")
        path.write_bytes(data)
        assert mistakes(path)

    def test_many_files(self, tmp_path):
        assert "holds 2001 files" in mistakes(self.archive(tmp_path, *((f"{n}.txt", "") for n in range(2000))))[0]

    @pytest.mark.filterwarnings("ignore:Duplicate name")
    def test_one_name_twice(self, tmp_path):
        assert "'shop.toml' twice" in mistakes(self.archive(tmp_path, ("shop.toml", ""), ("shop.toml", "x = 1")))[0]

    def test_an_encrypted_file(self, tmp_path):
        path = self.archive(tmp_path, ("shop.toml", ""))
        data = bytearray(path.read_bytes())
        data[data.rfind(b"PK\x01\x02") + 8] |= 1  # general purpose bit 0: 4.4.4
        path.write_bytes(data)
        assert "is encrypted" in mistakes(path)[0]

    @pytest.mark.parametrize("data", [b"", b"PK\x03\x04 and no more", b"\x00" * 1000])
    def test_what_is_no_zip(self, tmp_path, data):
        (tmp_path / "n.zip").write_bytes(data)
        assert "is no export" in mistakes(tmp_path / "n.zip")[0]

    def test_a_damaged_file(self, tmp_path):
        write_export(tmp_path / "n.zip", TEXTS)
        data = bytearray((tmp_path / "n.zip").read_bytes())
        data[data.find(b"shop.toml") + 40] ^= 0xFF
        (tmp_path / "n.zip").write_bytes(data)
        assert mistakes(tmp_path / "n.zip")

    def test_nothing_there(self, tmp_path):
        assert "there is no such folder or zip" in mistakes(tmp_path / "none")[0]


# ----------------------------------------------------------------------------------------------------- stock files

name = st.text(st.characters(exclude_categories=["Cc", "Cs"]), min_size=1, max_size=20).filter(str.strip)
a_day = st.dates(date(YEARS.start, 1, 1), date(YEARS.stop - 1, 12, 31))
days = st.lists(st.none() | a_day, min_size=2, max_size=2).map(lambda two: sorted(two) if None not in two else two)
inside = st.floats(0.0011, 4.9)
records = st.one_of(
    st.builds(
        lambda d, **v: FittedFilm(fitted=d[0], removed=d[1], **v), days, name=name, machine=name,
        material=st.just("") | name, layers=st.integers(0, 10**9), used_s=st.floats(0, 1e9),
    ),
    st.builds(
        lambda d, **v: Screen(fitted=d[0], removed=d[1], **v), days, name=name, machine=name, used_s=st.floats(0, 1e9)
    ),
    st.builds(
        Lot, name=name, resin=name, left_m3=st.floats(0, 0.9), opened=st.none() | a_day,
        expires=st.none() | a_day,
    ),
    st.builds(
        Station, name=name, kind=st.sampled_from(StationKind), width_m=inside, depth_m=inside, height_m=inside,
        bath_m3=st.none() | st.floats(2e-6, 0.9), solvent=st.just("") | name,
        irradiance_w_m2=st.none() | st.floats(0.2, 1900),
    ),
    st.builds(Price, name=name, amount=st.floats(0, 1e8), per=name),
)  # fmt: skip


@given(st.lists(records, max_size=4, unique_by=lambda r: (type(r), r.name)))
def test_any_stock_reads_back_to_the_last_bit(stock):
    text = stock_text(stock)
    assert sorted(entries_of_text("x", text), key=repr) == sorted(stock, key=repr)
    tomlkit.parse(text)


def test_what_was_written_stays_as_it_was_written():
    (page,) = [p for p in shop_pages() if p.name == "Heron"]
    assert "{ load_kg = 2, deflection_um = 76 }," in page.document, "a reading has become something else"
    assert "stiffness" not in page.document, "what nobody said is said now"
    again = entries_of_text("x", page.document)
    assert again == (page,)


def test_part_files_are_kept_with_their_whole_path():
    (recipe,) = [p for p in shop_pages() if p.kind == "recipe"]
    (found,) = TomlDocuments("x").shop([p.document for p in shop_pages()]).recipes
    assert all(Path(part.file).is_file() for part in found.proof.parts)
    assert recipe.machine == "Wren"
    assert recipe.resin == "slate"


class TestStockFile:
    def read(self, tmp_path, text, **known):
        (tmp_path / "s.toml").write_text(text, encoding="utf-8")
        return read_stock(tmp_path / "s.toml", known)

    def test_it_may_lean_on_what_the_notebook_knows(self, tmp_path):
        text = '[[film]]\nname = "f"\nmachine = "Wren"\n'
        assert self.read(tmp_path, text, machine=["Wren"]) == (FittedFilm(name="f", machine="Wren"),)
        with pytest.raises(InputError, match='film "f": there is no machine "Wren"'):
            self.read(tmp_path, text)

    def test_every_mistake_is_told_at_once_with_its_line(self, tmp_path):
        text = (
            '[[film]]\nname = "f"\nmachine = "Wrn"\nfitted = "yesterday"\n[[film]]\nname = "f"\nmachine = "Wren"\n'
            '[[lot]]\nname = "l"\nresin = "slate"\nleft_ml = -1\n[[station]]\nname = "s"\nkind = "dry"\n'
        )
        with pytest.raises(InputError) as error:
            self.read(tmp_path, text, machine=["Wren"], resin=["slate"])
        told = {m.where.rpartition(":")[2]: str(m) for m in error.value.mistakes}
        assert "a day is wanted" in told["4"]
        assert 'Perhaps "Wren" is meant' in told["3"]
        assert "is there already" in told["5"]
        assert "outside 0 to 1000000 ml" in told["11"]
        assert told.keys() >= {"3", "4", "5", "11", "12", "14"}

    def test_days_in_the_wrong_order(self, tmp_path):
        text = '[[screen]]\nname = "s"\nmachine = "Wren"\nfitted = 2026-02-01\nremoved = 2026-01-01\n'
        with pytest.raises(InputError, match="2026-01-01 is before it was fitted"):
            self.read(tmp_path, text, machine=["Wren"])


def test_pages_of_one_kind_need_no_link():
    assert (WREN.machine, SLATE.resin) == ("", "")
    with pytest.raises(ValueError, match="kind"):
        TablePage(kind="spaceship", name="x", document="")
