"""What costs rest on: kept by the form as a cost file that the planner reads, with a link to the field from what is missing."""

from __future__ import annotations

import json
import re
import shutil
import tomllib
from decimal import Decimal
from html import unescape

import pytest
from tests.answers.test_cost_and_compare import unpriced
from tests.web.test_notebook_shop import SAID, rows_of, told

from vatwright import wiring
from vatwright.answers.cost import cost_answer
from vatwright.files.cost_file import read_costs
from vatwright.interfaces.render.terminal import blocks_text
from vatwright.interfaces.web.cost_fields import cost_groups, in_order, without_empty
from vatwright.interfaces.web.rendering import bench_templates
from vatwright.interfaces.web.shop_fields import heard_in, typed_in
from vatwright.wiring import demo_folder


@pytest.fixture
def own(desk):
    """A shop of one's own, Kite and Roc, without any price."""
    assert desk.post("/shop/setup", data={"token": desk.token("/shop"), **SAID}).status_code == 303
    return desk


def seen(page):
    """What the form says of the state it shows."""
    return {
        key: unescape(re.search(f'name="{key}" value="([^"]*)"', page.text)[1]) for key in ("token", "revision", "was")
    }


def test_a_form_left_as_it_is_says_the_demos_own_cost_file():
    raw = tomllib.loads((demo_folder() / "costs.toml").read_text(encoding="utf-8"), parse_float=Decimal)
    machines = [m["name"] for m in raw["machine"]]
    fields = [f for group in cost_groups(machines) for f in group.fields]
    table, mistakes = heard_in(fields, in_order(raw, machines), typed_in(fields, in_order(raw, machines)))
    assert (without_empty(table), mistakes) == (raw, [])


def test_what_the_form_says_is_what_a_cost_rests_on(own, app):
    desk = app.state.desk
    page = own.get("/shop/costs?field=film_layers&of=Roc#asked")
    assert re.search(r'id="asked">\s*<div class="field">\s*<label for="machine.1.film_layers">', page.text)
    form = seen(page)
    said = {"v.currency": "marks", "v.minutes.wash": "12,5", "v.minutes.wash±": "2", "v.machine.1.film_layers": "30000"}
    assert own.post("/shop/costs", data=form | said).status_code == 303
    costing = wiring._costing(desk.shop().path, desk.books(desk.shop()))
    assert costing == read_costs(wiring.costs_path())
    assert (costing.currency, costing.minutes["wash"].value, costing.machine("Roc").film_layers.value) == (
        "marks",
        750.0,
        3e4,
    )
    assert not any(m.name == "Kite" for m in costing.machines)  # nobody said anything of it: unknown, not nought
    # A second tab is refused and sees both; mistakes come at once in the words of the page.
    stale = own.post("/shop/costs", data=form | {"v.currency": "shells", "v.margin_percent": "40"})
    assert stale.status_code == 409
    assert ("What the shop calls its money", "marks", "shells") in rows_of(stale)
    assert read_costs(wiring.costs_path()) == costing
    wrong = {"v.margin_percent": "much", "v.minutes.cure": "99999", "v.machine.0.power_W": "0"}
    answer = own.post("/shop/costs", data=seen(own.get("/shop/costs")) | wrong)
    assert answer.status_code == 422
    words = " ".join(f"{where} {what}" for where, what in told(answer))
    for label in ("A quote puts on top of the cost", "Cure a plate", "Power while it prints"):
        assert label in words
    # The command reads the same file where neither job nor shop has one beside it; one beside it goes first.
    shutil.copy(demo_folder() / "costs.toml", desk.tray.folder / "costs.toml")
    assert wiring._costing(desk.shop().path, desk.books(desk.shop())).machine("Wren").power_w is not None


def test_the_demos_own_are_shown_and_not_to_be_changed(desk):
    page = desk.get("/shop/costs")
    assert "costs.toml" in page.text
    assert "Keep it" not in page.text
    answer = desk.post("/shop/costs", data=seen(page) | {"v.currency": "x"})
    assert answer.status_code == 422
    assert json.loads(seen(page)["was"])["currency"] == "marks"


def test_each_thing_that_is_missing_leads_to_its_field(own):
    answer = cost_answer(unpriced(), cite=str)
    shown = bench_templates().from_string(
        '{% from "blocks.html" import blocks with context %}{{ blocks(blks, "", 2) }}'
    )
    links = [unescape(a) for a in re.findall(r'<li><a href="([^"]+)"', shown.render(blks=answer.blocks))]
    assert len(links) == len(unpriced().missing)
    for address in links:
        assert own.get(address.partition("#")[0]).status_code == 200, address
    price = next(a for a in links if "name=work" in a)
    form = own.get(price).text
    assert re.search(r'name="new_name"[^>]*value="work"', form)
    assert re.search(r'name="v.per"[^>]*value="h"', form)
    assert '[[price]] with name = "work"' in blocks_text(answer.blocks, width=300)  # the command tells the file
