"""The pages of the bench, in the order of the row at the top.  A new page is one file and one line here."""

from __future__ import annotations

from vatwright.interfaces.web import calc_page, carry_page, level_page, pair_page, run_page, today_page

PAGES = (today_page.PAGE, carry_page.PAGE, run_page.PAGE, level_page.PAGE, calc_page.PAGE, pair_page.PAGE)
