"""Answers kept: told apart by every bit of the question, and forgotten in order."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import frozen

from vatwright.kept_answers import KeptAnswers, fingerprint, kept


@frozen
class _Said:
    one: float
    rest: tuple


def test_a_question_is_told_apart_by_every_bit():
    """One unit in the last place of a double (IEEE 754) is another question."""
    one = np.ones(3)
    questions = [
        (one,), (np.nextafter(one, 2.0),), (one.reshape(3, 1),), (one.astype(np.float32),), (1.0,), (1,), ("1.0",),
        ({"a": one},), ({"b": one},), ({"a": one, "b": one},), (_Said(1.0, (one,)),), (_Said(1.0, (one, one)),),
        (_Said(2.0, (one,)),), ((one,), one), (one, (one,)), (None,), ((),),
    ]  # fmt: skip
    seen = {fingerprint(*q) for q in questions}
    assert len(seen) == len(questions)
    assert fingerprint(_Said(1.0, (np.ones(3),))) == fingerprint(_Said(1.0, (one,)))
    assert fingerprint(np.asfortranarray(np.eye(3))) == fingerprint(np.eye(3))


def test_what_was_asked_longest_ago_goes_first_and_nobody_writes_into_an_answer():
    answers, worked = KeptAnswers(room=2), []

    def work_out(name):
        worked.append(name)
        return np.array([float(len(worked))])

    for name in "abacab":
        answers.answer(name.encode(), lambda name=name: work_out(name))
    assert worked == ["a", "b", "c", "b"]
    with pytest.raises(ValueError, match="read-only"):
        answers.answer(b"b", lambda: work_out("never"))[0] = 0.0


def test_a_function_that_keeps_answers_works_each_out_once_and_gives_none_away_to_be_changed():
    worked = []

    @kept(room=4)
    def halves(x, *, of=2.0):
        worked.append((x, of))
        return x / of, np.array([x, of])

    assert halves(1.0)[0] == halves(1.0)[0] == 0.5
    assert halves(1.0, of=4.0)[0] == 0.25
    assert worked == [(1.0, 2.0), (1.0, 4.0)]
    with pytest.raises(ValueError, match="read-only"):
        halves(1.0)[1][0] = 3.0
