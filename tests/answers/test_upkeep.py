"""What is due in words: what to do first, then the count, its limit and whose limit it is."""

from datetime import date

from vatwright.answers.upkeep import due_sentence, due_sentences
from vatwright.records.upkeep import Counted, Due, Task

FAILED = Due(
    task=Task.FILTER, machine="Wren", after=Counted.FAILURE, used=2, limit=1, since=date(2026, 3, 2)
)  # fmt: skip
SCREEN = Due(task=Task.SCREEN, machine="Wren", what="Wren, first screen", after=Counted.HOURS, used=6.84e6, limit=7.2e6)


def test_a_failure_says_what_to_do_and_since_when():
    said = due_sentence(FAILED)
    assert said.startswith("Wren: pour the resin through a filter")
    assert "2 noted runs failed since 02 Mar 2026" in said


def test_what_is_not_due_yet_is_said_to_be_soon_and_left_out_of_a_sheet():
    said = due_sentence(SCREEN)
    assert said.startswith("Wren: soon read the light again")
    assert "First screen has printed 1900 h" in said.replace(",", "")
    assert due_sentences((FAILED, SCREEN), now=True) == (due_sentence(FAILED),)
    assert len(due_sentences((FAILED, SCREEN))) == 2


def test_whose_limit_it_is():
    assert "by common practice" in due_sentence(SCREEN)
    stated = Due(task=Task.VAT, machine="Wren", after=Counted.HOURS, used=4e5, limit=3.6e5, stated=True)
    assert "as the shop says" in due_sentence(stated)
    assert "so far" in due_sentence(stated)
