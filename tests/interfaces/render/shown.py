"""A carry sheet as each renderer shows it."""

from vatwright.answers.carry import carry_answer, carry_on_paper
from vatwright.interfaces.render.page import answer_page
from vatwright.interfaces.render.paper import answer_pdf
from vatwright.interfaces.render.terminal import answer_text


def carry_text(sheet, *, cite, width=80, whole=True, colour=False):
    """The sheet in a terminal."""
    return answer_text(carry_answer(sheet, cite=cite), width=width, whole=whole, colour=colour)


def carry_html(sheet, *, cite):
    """The sheet as a page of its own."""
    return answer_page(carry_answer(sheet, cite=cite))


def carry_pdf(sheet, *, cite, appendix=False):
    """The sheet on paper."""
    return answer_pdf(carry_on_paper(sheet, cite=cite), appendix=appendix)
