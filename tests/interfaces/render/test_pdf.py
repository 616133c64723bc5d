import re

import pytest
import typst
from attrs import evolve
from tests.interfaces.render.sample_sheet import (
    HOSTILE_HTML,
    HOSTILE_TYPST,
    bare_sheet,
    cite,
    crowded_sheet,
    sample_sheet,
)
from tests.interfaces.render.shown import carry_pdf

from vatwright.answers.run_sheet import NOT_OBEYED, checks, run_sheet_words, typed_rows
from vatwright.interfaces.render import paper as module
from vatwright.interfaces.render.paper import run_sheet_pdf as printed_form


def run_sheet_pdf(sheet, *, cite):
    """The run sheet, which names no sources."""
    del cite
    return printed_form(run_sheet_words(sheet))


MAKERS = pytest.mark.parametrize("make", [carry_pdf, run_sheet_pdf])


def pages(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", pdf))


@pytest.fixture
def compiled(monkeypatch):
    """Record what is handed to typst."""
    calls = []
    real = typst.compile

    def watch(source, **more):
        calls.append((source, more))
        return real(source, **more)

    monkeypatch.setattr(module.typst, "compile", watch)
    return calls


@MAKERS
@pytest.mark.parametrize("sheet", [sample_sheet(), crowded_sheet(), bare_sheet()], ids=["sample", "crowded", "bare"])
def test_it_renders_tagged_and_without_a_date(make, sheet):
    pdf = make(sheet, cite=cite)
    assert pdf.startswith(b"%PDF-1.")
    assert pdf.rstrip().endswith(b"%%EOF")
    # ISO 32000-1, 14.8 (tagged: /MarkInfo, /StructTreeRoot) and 14.3.3 (/CreationDate); ISO 14289-1 (pdfuaid:part 1)
    assert b"/StructTreeRoot" in pdf
    assert b"/MarkInfo" in pdf
    assert b"pdfuaid:part" in pdf
    assert b"CreationDate" not in pdf
    assert b"ModDate" not in pdf


@MAKERS
def test_the_same_sheet_gives_the_same_bytes(make):
    assert make(sample_sheet(), cite=cite) == make(sample_sheet(), cite=cite)
    assert make(sample_sheet(), cite=cite) != make(sample_sheet(job="chess pieces"), cite=cite)


@pytest.mark.parametrize("sheet", [sample_sheet(), bare_sheet()], ids=["sample", "bare"])
def test_the_carry_sheet_is_three_pages_and_more_with_its_appendix(sheet):
    assert pages(carry_pdf(sheet, cite=cite)) <= 3
    assert pages(carry_pdf(sheet, cite=cite, appendix=True)) > 3


def test_the_run_sheet_is_two_pages():
    assert pages(run_sheet_pdf(sample_sheet(), cite=cite)) == 2


@MAKERS
@pytest.mark.parametrize(
    "hostile", [HOSTILE_TYPST, HOSTILE_HTML, '"] #panic("x") //', "\\ ` ``` $ # @ < > ~ ' \" = - + /"]
)
def test_user_words_are_never_code(make, hostile, compiled):
    sheet = sample_sheet(part=hostile, job=hostile)
    sheet = evolve(
        sheet, verdict=hostile, target=hostile, cautions=(hostile,), risks=(evolve(sheet.risks[0], what=hostile),)
    )
    assert make(sheet, cite=lambda _: hostile).startswith(b"%PDF")
    source, more = compiled[0]
    assert hostile.encode() not in source  # the words went in as data ...
    assert set(more["sys_inputs"]) == {"sheet"}
    assert source == (make(bare_sheet(), cite=cite), compiled[-1][0])[1]  # ... and the code is the same for every sheet


def test_hostile_words_are_printed_as_they_are():
    # typst's own query tells what the title became once the page was laid out.
    source = (module.resources.files("vatwright.interfaces.render") / "templates" / "bench.typ").read_text(
        encoding="utf-8"
    )
    title = typst.query(
        (source + "\n#metadata(data.title) <title>").encode(),
        "<title>",
        field="value",
        one=True,
        sys_inputs={"sheet": module.json.dumps({"title": HOSTILE_TYPST})},
    )
    assert module.json.loads(title) == HOSTILE_TYPST


def test_a_script_that_the_fonts_lack_still_prints(compiled):
    assert carry_pdf(sample_sheet(job="\u706f"), cite=cite).startswith(b"%PDF")
    assert [more["ignore_system_fonts"] for _, more in compiled] == [True, False]


def test_what_to_type_in_follows_the_controller():
    rows = {r["label"]: r for r in typed_rows(sample_sheet())}
    assert rows["settle"]["base"] == rows["settle"]["body"] == "45 s, then by hand"
    assert rows["soak"]["body"] == NOT_OBEYED
    assert rows["clear lift"]["body"] == "5 mm"
    assert rows["base layers"]["base"] == "4 layers"
    assert len(rows) == 12


def test_the_timer_is_only_asked_for_where_hands_are_needed():
    assert any("Timer" in c for c in checks(sample_sheet()))
    assert not any("Timer" in c for c in checks(bare_sheet()))
    assert any("Pour 750 ml" in c for c in checks(sample_sheet()))
