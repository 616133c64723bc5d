"""What a user may hand in by mistake: exit 2, a message that names the file, the fault and the remedy, nothing written."""

from __future__ import annotations

import contextlib
import io
import re
import zipfile

import pytest
from tests.files.part_files import RELATIONS, binary_stl
from tests.journeys.conftest import box, vatwright

from vatwright.interfaces.cli.main import outcome

OUTPUTS = ("--html", "out.html", "--pdf", "out.pdf", "--csv", "out.csv")


def refused(folder, *words):
    """Run a command that must refuse: return its lines on the error stream; it must leave the folder as it was.

    In this process, through the function that the script calls: the runs are many, and each process takes a second to start.
    """
    before = {p: p.stat().st_mtime_ns for p in folder.rglob("*")}
    out, err = io.StringIO(), io.StringIO()
    with contextlib.chdir(folder), contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = outcome([str(word) for word in words])
    assert code == 2, err.getvalue()
    assert out.getvalue() == ""
    assert "Traceback" not in err.getvalue()
    assert {p: p.stat().st_mtime_ns for p in folder.rglob("*")} == before
    return err.getvalue().strip().splitlines()


def carry(folder, *words, job="tiles.toml"):
    return refused(folder, "carry", job, *OUTPUTS, *words)


def study(folder, *words):
    return refused(folder, "study", *words)


def change(folder, name, *pairs):
    text = (folder / name).read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    (folder / name).write_text(text, encoding="utf-8")


# ---- files


def test_a_missing_job_shop_or_part(bench):
    assert carry(bench, job="tils.toml") == ["tils.toml: there is no such file. Check the name and the folder."]
    (line,) = carry(bench, "--shop", "workshop.toml")
    assert line == "workshop.toml: there is no such file. Check the name and the folder."
    change(bench, "tiles.toml", ("tile.stl", "tille.stl"))
    (line,) = carry(bench)
    assert re.match(r'tiles\.toml:\d+: there is no part file ".*tille\.stl"\. Write its path', line)
    assert study(bench, "tille.stl", "--unit", "mm") == ["tille.stl: there is no such file. Did you mean tile.stl?"]


def test_a_job_that_is_a_folder(bench):
    assert carry(bench, job="parts") == ["parts: is a folder. Name a TOML file."]


def test_a_job_that_is_not_utf_8(bench):
    (bench / "tiles.toml").write_bytes('[job]\nname = "Glühlampe"\n'.encode("latin-1"))
    assert carry(bench) == ["tiles.toml:2: is not UTF-8 text. Save the file as UTF-8 text."]


def test_a_job_that_is_no_toml(bench):
    (bench / "tiles.toml").write_text("[job]\nroom_c = 20,5\n", encoding="utf-8")
    (line,) = carry(bench)
    assert line.startswith("tiles.toml:2: is not valid TOML")
    assert line.endswith("Write a decimal point instead of the comma, such as 0.05.")


@pytest.mark.parametrize("text", ["", "[job]\n"])
def test_an_empty_job(bench, text):
    (bench / "tiles.toml").write_text(text, encoding="utf-8")
    lines = carry(bench)
    assert any("the file has no part. Add a [[part]] table" in line for line in lines)
    assert any("no job" in line or "job has neither recipe nor resin" in line for line in lines)


def test_text_in_an_stl(bench):
    (bench / "tile.stl").write_text("please print this twice\n", encoding="utf-8")
    (line,) = study(bench, "tile.stl", "--unit", "mm")
    assert line == (
        "tile.stl: it is a text, but not a part: it starts with 'please print this twice\\n'. Copy or export the part again."
    )
    (line,) = carry(bench)
    assert re.match(r"tiles\.toml:\d+: .*tile\.stl: it is a text", line)


def test_a_truncated_binary_stl(bench):
    whole = (bench / "tile.stl").read_bytes()
    (bench / "tile.stl").write_bytes(whole[:-70])
    (line,) = study(bench, "tile.stl", "--unit", "mm")
    # Binary STL: 80 bytes of header, 4 of counter and 50 for each of the 12 triangles.
    assert line.startswith("tile.stl: its counter says 12 triangles, which is 684 bytes; the file has 614")
    assert line.endswith("export or copy the part again.")


def test_a_3mf_that_unpacks_without_end(bench):
    store = io.BytesIO()
    with zipfile.ZipFile(store, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("_rels/.rels", RELATIONS)
        archive.writestr("3D/3dmodel.model", b" " * 50_000_000)
    (bench / "bomb.3mf").write_bytes(store.getvalue())
    (line,) = study(bench, "bomb.3mf")
    assert line.startswith("bomb.3mf")
    assert "times" in line


def test_a_part_without_a_unit_and_a_folder_without_a_pixel_size(bench):
    (line,) = study(bench, "tile.stl")
    assert line.startswith("tile.stl: STL files have no unit of length.")
    assert "--unit mm" in line
    lines = study(bench, "parts")
    assert "--pixel-mm 0.05" in lines[0]


# ---- settings


def test_every_absurd_setting_is_told_at_once_with_its_line(bench):
    change(
        bench,
        "tiles.toml",
        ("room_c = 20.0", "room_c = nan\nvisits = -3\nconfidence_percent = 200"),
        ("layer_mm = 0.05", "layer_mm = 0"),
        ("exposure_s = 2.6", "exposure_s = 0"),
        ("settle_s = 2.0", "settle_s = -1"),
        ("peel_speed_mm_s = 1", "peel_speed_mm_s = 1e9"),
        ("clear_lift_mm = 3", 'clear_lift_mm = "three"'),
        ("count = 6", "count = 0"),
    )
    lines = carry(bench)
    text = (bench / "tiles.toml").read_text(encoding="utf-8").splitlines()
    for key, said in (
        ("room_c", "NaN"),
        ("visits", "-3, outside 0 to 20"),
        ("confidence_percent", "200 %, outside 50 to 99.9 %"),
        ("layer_mm", "0 mm, outside"),
        ("exposure_s = 0", "0 s, outside"),
        ("settle_s = -1", "-1 s, outside"),
        ("peel_speed_mm_s", "outside"),
        ("clear_lift_mm", "three"),
        ("count", "0, outside 1 to 10000"),
    ):
        number = next(n for n, line in enumerate(text, 1) if line.startswith(key))
        (found,) = (line for line in lines if line.startswith(f"tiles.toml:{number}: "))
        assert said in found
        assert key.split(" ", 1)[0] in found
    assert len(lines) == 9


def test_a_misspelt_key_is_told_with_the_right_one(bench):
    change(bench, "tiles.toml", ("settle_s = 2.0", "setle_s = 2.0"))
    assert any("unknown key 'setle_s'. Perhaps settle_s is meant." in line for line in carry(bench))


def test_unknown_names_are_told_with_the_nearest(bench):
    assert carry(bench, "--to", "Herron") == ['to: there is no machine "Herron". Perhaps "Heron" is meant.']
    change(bench, "tiles.toml", ('resin = "slate"', 'resin = "slade"'), ('to = "Heron"', 'to = "Albatros"'))
    lines = carry(bench)
    assert any('there is no resin "slade". Perhaps "slate" is meant.' in line for line in lines)
    assert any('there is no machine "Albatros". Perhaps "Albatross" is meant.' in line for line in lines)
    (line,) = study(bench, "tile.stl", "--unit", "mm", "--machine", "Wern", "--shop", "shop.toml")
    assert line == "shop.toml: holds no machine called 'Wern'. Perhaps Wren is meant."
    (line,) = study(bench, "tile.stl", "--unit", "mm", "--machine", "Cormorant", "--shop", "shop.toml")
    assert line == "shop.toml: holds no machine called 'Cormorant'. It holds: Wren, Heron, Albatross."


# ---- parts and platforms


def test_a_part_larger_than_the_platform(bench):
    (bench / "tile.stl").write_bytes(binary_stl(box((230, 20, 2))))
    (line,) = carry(bench)
    assert re.match(
        r"tiles\.toml:\d+: tile is 230\.0 x 20\.0 mm and does not fit the platform of Heron \(216 x 134 mm\)", line
    )
    assert line.endswith("Check its unit, turn or split it, or pick a larger machine.")
    (line,) = study(bench, "tile.stl", "--unit", "mm", "--count", "1", "--machine", "Heron", "--shop", "shop.toml")
    assert line.startswith("tile.stl: tile.stl is 230.0 x 20.0 mm and does not fit")


def test_a_part_taller_than_the_machine(bench):
    (bench / "tile.stl").write_bytes(binary_stl(box((20, 20, 231))))
    (line,) = carry(bench)
    assert re.match(r"tiles\.toml:\d+: tile is 231\.0 mm tall, Heron prints 230 mm\. Check its unit, lay it down", line)


def test_a_part_in_the_wrong_unit_is_refused_where_it_does_not_fit(bench):
    change(bench, "tiles.toml", ('unit = "mm"', 'unit = "in"'))
    (line,) = carry(bench)
    # 20 mm read as inches.
    assert "tile is 508.0 x 508.0 mm and does not fit the platform of Heron" in line
    assert "Check its unit" in line


def test_a_place_beyond_the_platform(bench):
    change(bench, "tiles.toml", ("count = 6", "places = [{ x_mm = 100, y_mm = 0 }]"))
    (line,) = carry(bench)
    # The tile is drawn from 0 to 20 mm: it would reach to x = 120 mm, the platform ends at 108.
    assert line.startswith("tile: as placed it reaches 12.0 mm beyond the platform of Heron. Move it inwards")


# ---- options and outputs


@pytest.mark.parametrize("json_too", [[], ["--json"]])
@pytest.mark.parametrize(
    ("given", "said"),
    [
        ("0", "--layer-mm: must be a finite number above 0, got 0."),
        ("-0.05", "--layer-mm: must be a finite number above 0, got -0.05."),
        ("nan", "--layer-mm: 'nan' is not a finite number."),
        ("thin", "--layer-mm: 'thin' is not a number."),
        ("50", "--layer-mm: 50 is not a layer thickness. Give a thickness between 0.001 and 1 mm, such as 0.05."),
        ("1s", "--layer-mm: '1s' is a time, a length is wanted."),
    ],
)
def test_a_layer_that_is_none(bench, given, said, json_too):
    (line,) = study(bench, "tile.stl", "--unit", "mm", "--layer-mm", given, *json_too)
    assert line.startswith(said)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["carry", "tiles.toml", "--tto", "Heron"], "No such option '--tto'"),
        (["carry"], "Missing argument 'JOB.toml'"),
        (["study"], "Missing argument 'PART...'"),
        (["carry", "tiles.toml", "tiles.toml"], "unexpected extra argument"),
        (["study", "tile.stl", "--unit", "furlong"], "'furlong' is not one of"),
        (["study", "tile.stl", "--unit", "mm", "--count", "0"], "0 is not in the range"),
        (["carri", "tiles.toml"], "No such command 'carri'"),
    ],
)
def test_options_that_there_are_not(bench, words, said):
    assert said in " ".join(refused(bench, *words))


def test_an_output_in_a_missing_folder_is_told_before_any_work(bench):
    lines = refused(bench, "carry", "tiles.toml", "--html", "here.html", "--pdf", "nowhere/sheet.pdf", "--csv", "parts")
    assert lines == [
        "nowhere/sheet.pdf: there is no folder nowhere. Make it first, or write elsewhere.",
        "parts: is a folder. Name a file in it.",
    ]
    assert refused(bench, "sheet", "tiles.toml", "--pdf", "nowhere/run.pdf")[0].startswith(
        "nowhere/run.pdf: there is no"
    )


def test_an_output_never_takes_the_place_of_an_input_or_of_another_output(bench):
    assert refused(bench, "carry", "tiles.toml", "--html", "tiles.toml", "--csv", "tile.stl") == [
        "tiles.toml: is what a job or a part is called. Give a name that ends in .html.",
        "tile.stl: is what a job or a part is called. Give a name that ends in .csv.",
    ]
    (line,) = refused(bench, "carry", "tiles.toml", "--html", "sheet", "--csv", "./sheet")
    assert line == "./sheet: is named twice. Give every answer a file of its own."
    assert refused(bench, "demo", "tile.stl") == ["tile.stl: is a file. Name a folder: vatwright demo NAME."]
    assert refused(bench, "demo", "--run", "tile.stl")[0].startswith("tile.stl: is a file.")


def test_an_old_answer_is_replaced_whole_and_kept_when_the_new_one_is_refused(bench):
    (bench / "sheet.csv").write_text("an old answer", encoding="utf-8")
    refused(bench, "carry", "tiles.toml", "--to", "nobody", "--csv", "sheet.csv")
    assert (bench / "sheet.csv").read_text(encoding="utf-8") == "an old answer"
    ran = vatwright("carry", "tiles.toml", "--csv", "sheet.csv", cwd=bench)
    assert ran.code in {0, 1}
    assert (bench / "sheet.csv").read_text(encoding="utf-8").startswith("layer")
    assert [p.name for p in bench.glob(".*")] == []
