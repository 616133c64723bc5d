"""What a cost and a comparison say: nothing of money where no price is known, and which field to fill."""

from __future__ import annotations

import re

import pytest
from attrs import evolve
from tests.planning.cost.test_cost import case, side

from vatwright.answers.blocks import Figure, every
from vatwright.answers.compare import comparable, pay_sentences, verdict
from vatwright.answers.cost import cost_answer, cost_lead
from vatwright.answers.money import missing_sentence, missing_sentences
from vatwright.interfaces.render.terminal import answer_text
from vatwright.planning.cost.cost import cost_figures
from vatwright.records.after import AfterPlan, BottlePlan, Span
from vatwright.records.cost import CostSheet, Missing, PayBack
from vatwright.records.fleet import BreakEven
from vatwright.records.plan import Success

WORTH = BreakEven(larger="Heron", smaller="Wren", area=4.0, layer=1.5, run=1.4, worth=2.9, pieces=7)


def sheet(machine="Wren", *, print_s=3600.0, **changed):
    found = cost_figures(case(**changed))
    bottle = BottlePlan(
        resin="slate", pour_m3=3e-4, pool_m3=2e-4, wanted_m3=1e-4, left_m3=None, enough=None, lots=(),
        warm_bottle_s=None, warm_vat_s=None, stir_s=Span(low=3600.0, value=7200.0, high=14400.0), sources=(),
    )  # fmt: skip
    return CostSheet(
        job="tiles", machine=machine, resin="slate", currency="marks", pieces=6, plates=1,
        success=Success(low=0.8, mean=0.9, high=0.95), attempts=found.attempts, per_piece=found.per_piece,
        total=found.total, quote=None, margin=None, lines=found.lines, failures=found.failures, swings=found.swings,
        missing=found.missing, print_s=print_s, hands_s=600.0, visits=0,
        after=AfterPlan(fits=(), baths=(), air=(), cure=(), notes=(), cautions=(), sources=()), bottle=bottle, assumed=(),
    )  # fmt: skip


def unpriced(machine="Wren", **changed):
    return sheet(machine, prices=(), resin_per_kg=None, **changed)


def test_without_prices_no_amount_is_said_and_nothing_is_drawn():
    answer = cost_answer(unpriced(), cite=str)
    text = answer_text(answer, width=80, whole=True)
    assert cost_lead(unpriced()).startswith("No price is known")
    assert "marks" not in text
    assert not re.search(r"costs (at least )?0\b", text)
    assert not [b for p in answer.pages for b in every(p.blocks) if isinstance(b, Figure)]


def test_with_some_prices_the_least_is_told_and_no_quote():
    some = evolve(
        sheet(),
        missing=(Missing(field="price", of="work", per=("h",)),),
        quote=Span(low=1, value=2, high=3),
        margin=0.4,
    )
    said = cost_lead(some)
    assert said.count("at least") == 2
    assert "Quote" not in said
    assert "Quote" in cost_lead(evolve(some, missing=()))


@pytest.mark.parametrize(
    ("gap", "words"),
    [
        (Missing(field="price", of="slate", per=("kg", "l")), ("[[price]]", 'name = "slate"', 'per = "kg" or "l"')),
        (Missing(field="power_W", of="Wren"), ("power_W", '[[machine]] "Wren"', "cost file")),
        (Missing(field="life_h", of="Wren"), ("life_h", '[[machine]] "Wren"', "cost file")),
        (Missing(field="bath_ml"), ("bath_ml", "[[station]]", "stock")),
    ],
)
def test_each_gap_names_its_field(gap, words):
    said = missing_sentence(gap)
    assert all(word in said for word in words)
    assert missing_sentences([gap, gap]) == (said,)


def test_every_gap_of_a_cost_can_be_said():
    asked = missing_sentences(unpriced(bath_batches=None).missing)
    assert len(asked) == len(unpriced(bath_batches=None).missing)


def beside(machine, cost, *, holds=True):
    return evolve(side(machine, pieces=6, layer_s=10.0), cost=cost, holds=holds)


def test_none_is_called_the_cheapest_where_prices_differ_in_what_is_missing():
    one, other = sheet("Wren", print_s=9000.0), unpriced("Heron", print_s=3000.0)
    assert not comparable([one, other])
    said = verdict([beside("Wren", one), beside("Heron", other)])
    assert said.startswith("Heron prints the order soonest.")
    assert said.endswith("Prices are missing, so none is called the cheapest.")


def test_the_cheapest_and_the_soonest_are_named_where_all_is_priced():
    one = sheet("Wren", print_s=9000.0)
    dear = evolve(one, machine="Heron", print_s=3000.0, per_piece=Span(low=90.0, value=100.0, high=110.0))
    assert (
        verdict([beside("Wren", one), beside("Heron", dear)])
        == "Wren is the cheapest a piece; Heron prints the order soonest."
    )
    assert "measure first" in verdict([beside("Wren", one, holds=False)])


def test_nothing_takes_the_order():
    assert "None" in verdict([side("Wren", pieces=1, layer_s=10.0)])


def test_what_it_saves_is_not_said_without_prices():
    nothing = Span(low=0.0, value=0.0, high=0.0)
    pay = PayBack(
        work=WORTH, fixed=None, rent_per_piece=None, saves=nothing, pieces=None, pieces_range=(None, None),
        months=None, missing=(),
    )  # fmt: skip
    said = " ".join(pay_sentences(pay, "", priced=False))
    assert "saves 0" not in said
    assert "nothing is said about what it saves" in said
