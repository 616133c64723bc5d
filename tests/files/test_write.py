"""Writing: readable TOML, whole files or none."""

import stat
import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from attrs import evolve

from vatwright.errors import InputError
from vatwright.files.atomic import new_folder, write_text_atomically
from vatwright.files.bench_numbers import exact_bench, exact_si
from vatwright.files.read import read_job, read_shop
from vatwright.files.write import write_job, write_shop
from vatwright.units import BENCH_UNITS

DEMO = Path(__file__).parents[2] / "demo"


@pytest.fixture
def job(tmp_path):
    (tmp_path / "parts").mkdir()
    for part in ("lantern", "lantern-base", "cup", "bishop", "lamp-bracket"):
        (tmp_path / "parts" / f"{part}.stl").touch()
    for file in ("chess-bishops.toml", "shop.toml"):
        (tmp_path / file).write_text((DEMO / file).read_text(encoding="utf-8"), encoding="utf-8")
    return read_job(tmp_path / "chess-bishops.toml")


def test_bench_numbers_come_out_as_they_went_in(tmp_path):
    written = tomllib.loads(write_shop(read_shop(DEMO / "shop.toml"), beside=DEMO))
    given = tomllib.loads((DEMO / "shop.toml").read_text(encoding="utf-8"))
    for new, old in zip(written["machine"], given["machine"], strict=True):
        assert {k: new[k] for k in ("name", "height_mm", "platform", "window", "vat")} == {
            k: old[k] for k in ("name", "height_mm", "platform", "window", "vat")
        }
        assert new["light"] == old["light"]
    assert written["recipe"][0]["body"].items() >= given["recipe"][0]["body"].items()
    assert written["recipe"][0]["proven"]["part"][0]["file"] == "parts/lantern.stl"


def test_no_whole_micrometre_is_bent():
    assert all(exact_bench(exact_si(Decimal(n), "um"), "um") == n for n in range(1, 100_000, 7))


def test_every_bench_unit_of_a_file_converts_as_the_table_of_units_says():
    for name, unit in BENCH_UNITS.items():
        assert exact_si(exact_bench(unit.times / unit.over, name), name) == unit.times / unit.over


def test_a_prior_is_a_remark_and_not_a_value():
    text = write_shop(read_shop(DEMO / "shop.toml"))
    assert "# stiffness_N_mm: 250 (125 to 500), engineering estimate" in text
    assert text.count("\nstiffness_N_mm = ") == 2


def test_a_job_that_names_its_shop_holds_no_records(job, tmp_path):
    text = write_job(job, shop="shop.toml", beside=tmp_path)
    assert set(tomllib.loads(text)) == {"job", "part"}
    again = tmp_path / "again.toml"
    write_text_atomically(again, text)
    assert same(read_job(again)) == same(job)


def same(job):
    """The job without the lines that its parts stand on."""

    def bare(parts):
        return tuple(evolve(p, where="") for p in parts)

    proof = evolve(job.recipe.proof, parts=bare(job.recipe.proof.parts))
    return evolve(job, parts=bare(job.parts), recipe=evolve(job.recipe, proof=proof))


def test_two_machines_of_one_name_cannot_be_written(job):
    with pytest.raises(InputError, match='two different machines are called "Wren"'):
        write_job(evolve(job, target=evolve(job.target, name="Wren")))


def test_text_is_escaped(tmp_path):
    shop = read_shop(DEMO / "shop.toml")
    odd = evolve(shop.resins[0], name='so-called "slate" \\ grey µ 灰')
    path = tmp_path / "s.toml"
    write_text_atomically(path, write_shop(evolve(shop, resins=(odd,), recipes=())))
    assert read_shop(path).resins[0].name == odd.name


def test_writing_replaces_the_whole_file_keeps_its_permissions_and_leaves_nothing_behind(tmp_path):
    path = tmp_path / "shop.toml"
    path.write_text("old and longer\n", encoding="utf-8")
    path.chmod(0o640)
    write_text_atomically(path, "new µ\r\n")
    assert path.read_bytes() == "new µ\r\n".encode()
    assert stat.S_IMODE(path.stat().st_mode) == 0o640
    assert list(tmp_path.iterdir()) == [path]


def test_a_link_keeps_pointing_at_what_was_written(tmp_path):
    target, link = tmp_path / "real.toml", tmp_path / "link.toml"
    target.touch()
    link.symlink_to(target)
    write_text_atomically(link, "x")
    assert link.is_symlink()
    assert target.read_text(encoding="utf-8") == "x"


def test_a_failed_write_leaves_the_old_file_and_says_why(tmp_path, monkeypatch):
    path = tmp_path / "shop.toml"
    path.write_text("old", encoding="utf-8")

    def full(self, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(InputError, match="cannot be written: No space left on device"):
        write_text_atomically(path, "new")
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]
    with pytest.raises(InputError, match="cannot be written"):
        write_text_atomically(tmp_path / "no" / "folder.toml", "new")


def test_a_folder_comes_whole_or_not_at_all(tmp_path):
    def stopped(folder):
        with new_folder(folder) as making:
            (making / "one.txt").write_text("half", encoding="utf-8")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped(tmp_path / "demo")
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "empty").mkdir()
    for name in ("new", "empty"):
        with new_folder(tmp_path / name) as making:
            (making / "one.txt").write_text("whole", encoding="utf-8")
        assert [p.name for p in (tmp_path / name).iterdir()] == ["one.txt"]
    assert sorted(p.name for p in tmp_path.iterdir()) == ["empty", "new"]
