"""Every renderer shows every kind of block, keeps its words, and stays within its width."""

import re

import numpy as np
import pytest
from attrs import frozen
from hypothesis import given
from hypothesis import strategies as st
from tests.interfaces.render.sample_sheet import sample_sheet

from vatwright.answers import blocks as b
from vatwright.interfaces.render.data import as_data, public_key
from vatwright.interfaces.render.page import answer_page
from vatwright.interfaces.render.paper import answer_pdf
from vatwright.interfaces.render.terminal import NARROWEST, WIDEST, answer_text, parts_text

WORDS = {
    "verdict": "It will hold on Heron.",
    "point": "Wear gloves.",
    "cell": "38 s",
    "margin": "Read the rise.",
    "step": "10:40",
    "finding": "The base may let go.",
    "folded": "Folded away.",
    "source": "J. Stefan, 1874.",
}


def every_block() -> b.Answer:
    table = b.Table(
        title="What to set",
        columns=(b.Column("setting"), b.Column("base", "s", number=True)),
        rows=(b.Row(("settle", WORDS["cell"]), "Waits"), b.Row(("light", "36 s"), "Waits")),
        note="Rounded to the machine's steps.",
    )
    step = b.Step(when=WORDS["step"], what="settle", value="30 s", layer="from layer 140", safe="4 min late")
    shown = (
        b.Sentence(WORDS["verdict"], "verdict"),
        b.Ledger((b.Entry("Measure", b.said(WORDS["margin"])),)),
        b.Steps(steps=(step,), clock="min:s"),
        table,
        b.More("All settings", "why"),
    )
    rest = (
        b.Heading("In short"),
        b.Points((WORDS["point"],)),
        b.Finding(what=WORDS["finding"], measure="layer 0", margin=0.8, why="It is cold.", do="Warm it."),
        b.Figure(slug="time", data=sample_sheet()),
        b.Working("The working", b.said(WORDS["folded"])),
        b.Source("stefan:1874", WORDS["source"]),
    )
    return b.Answer(name="carry", title="Lanterns", blocks=shown, pages=(b.Part("why", "Why?", rest, "Why"),))


@pytest.mark.parametrize("width", [NARROWEST, 80, WIDEST])
def test_the_terminal_says_every_word_within_its_width(width):
    text = answer_text(every_block(), width=width, whole=True)
    assert all(word in text for word in WORDS.values())
    assert max(map(len, text.splitlines())) <= width


def test_a_part_can_be_shown_alone():
    answer = every_block()
    alone = parts_text([answer.page("why")])
    assert WORDS["folded"] in alone
    assert WORDS["verdict"] not in alone
    assert answer.page("nowhere") is None
    assert WORDS["folded"] not in answer_text(answer)


def test_the_page_says_every_word():
    page = answer_page(every_block())
    text = " ".join(re.sub(r"<[^>]+>", " ", page).replace("\xa0", " ").split())
    assert [w for w in WORDS.values() if w not in text] == []
    assert '<a href="#page-why">' in page


def test_paper_shows_every_block():
    answer = every_block()
    blocks = (*answer.blocks, *answer.pages[0].blocks)
    whole = answer_pdf(b.Answer(name="x", title="x", blocks=blocks))
    assert whole == answer_pdf(b.Answer(name="x", title="x", blocks=blocks))
    for k, block in enumerate(blocks):
        if not isinstance(block, b.More):  # a pointer to another page says nothing on paper
            without = b.Answer(name="x", title="x", blocks=blocks[:k] + blocks[k + 1 :])
            assert answer_pdf(without) != whole, block


cells = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=90)


@given(st.lists(st.tuples(cells, cells, cells), min_size=1, max_size=4), st.integers(NARROWEST, WIDEST))
def test_no_table_is_wider_than_the_terminal_and_no_word_is_lost(rows, width):
    columns = (b.Column("setting"), b.Column("value"), b.Column("because"))
    table = b.Table(columns=columns, rows=tuple(b.Row(r) for r in rows))
    text = answer_text(b.Answer(name="x", title="x", blocks=(table,)), width=width)
    assert max(map(len, text.splitlines())) <= width
    for row in rows:
        for letter in set("".join(row)) - {" "}:
            assert "".join(text.split()).count(letter) >= sum(cell.count(letter) for cell in row)


@frozen
class Inner:
    value: float
    gap_m: float


@frozen
class Outer:
    room_k: float
    film_m: float
    parts: tuple[Inner, ...]
    pull_n: object
    layers: int
    inside_m: float = 0.0

    @property
    def double_m(self):
        return 2.0 * self.film_m


def test_data_walk_a_record_into_bench_units_by_its_names():
    record = Outer(293.15, 1.25e-4, (Inner(0.5, 5e-5),), np.array([1.0, np.inf]), 3)
    declared = {Outer: {"film_m": "film_um", "inside_m": None, "double_m": "double_um"}, Inner: {"gap_m": "gap_um"}}
    assert as_data(record, declared) == {
        "room_C": 20.0,
        "film_um": 125.0,
        "parts": [{"value": 0.5, "gap_um": 50.0}],
        "pull_N": [1.0, None],
        "layers": 3,
        "double_um": 250.0,
    }


def test_units_of_keys_by_the_rule():
    assert [public_key(n) for n in ("speed_m_s", "viscosity_pa_s", "energy_j_m2", "held")] == [
        "speed_mm_s",
        "viscosity_Pa_s",
        "energy_mJ_cm2",
        "held",
    ]
