"""The pages of the bench, in the order of the row at the top.  A new page is one file and one line here."""

from __future__ import annotations

from vatwright.interfaces.web import (
    calc_page,
    carry_page,
    compare_page,
    cost_page,
    fleet_page,
    learn_page,
    level_page,
    notebook_page,
    pair_page,
    run_page,
    shop_page,
    today_page,
    trial_page,
    why_page,
)

PAGES = (
    today_page.PAGE,
    carry_page.PAGE,
    run_page.PAGE,
    notebook_page.PAGE,
    why_page.PAGE,
    trial_page.PAGE,
    learn_page.PAGE,
    level_page.PAGE,
    cost_page.PAGE,
    compare_page.PAGE,
    fleet_page.PAGE,
    shop_page.PAGE,
    calc_page.PAGE,
    pair_page.PAGE,
)

OFTEN = ("", "carry", "run", "notebook", "level", "shop")
"""What is wanted every day stands in the row at the top; the rest is one press away."""
