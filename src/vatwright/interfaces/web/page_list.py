"""The pages of the bench, in the order of the row at the top.  A new page is one file and one line here."""

from __future__ import annotations

from vatwright.interfaces.web.pages import calc as calc_page
from vatwright.interfaces.web.pages import carry as carry_page
from vatwright.interfaces.web.pages import commission as commission_page
from vatwright.interfaces.web.pages import compare as compare_page
from vatwright.interfaces.web.pages import cost as cost_page
from vatwright.interfaces.web.pages import fleet as fleet_page
from vatwright.interfaces.web.pages import learn as learn_page
from vatwright.interfaces.web.pages import level as level_page
from vatwright.interfaces.web.pages import notebook as notebook_page
from vatwright.interfaces.web.pages import pair as pair_page
from vatwright.interfaces.web.pages import run as run_page
from vatwright.interfaces.web.pages import shop as shop_page
from vatwright.interfaces.web.pages import stand as stand_page
from vatwright.interfaces.web.pages import today as today_page
from vatwright.interfaces.web.pages import trial as trial_page
from vatwright.interfaces.web.pages import trim as trim_page
from vatwright.interfaces.web.pages import why as why_page

PAGES = (
    today_page.PAGE,
    carry_page.PAGE,
    run_page.PAGE,
    notebook_page.PAGE,
    why_page.PAGE,
    trial_page.PAGE,
    trim_page.PAGE,
    learn_page.PAGE,
    level_page.PAGE,
    stand_page.PAGE,
    commission_page.PAGE,
    cost_page.PAGE,
    compare_page.PAGE,
    fleet_page.PAGE,
    shop_page.PAGE,
    calc_page.PAGE,
    pair_page.PAGE,
)

OFTEN = ("", "carry", "run", "notebook", "level", "shop")
"""What is wanted every day stands in the row at the top; the rest is one press away."""
