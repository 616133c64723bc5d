"""Level a platform: from readings to the plane, whether it matters, what to turn, how to hold it down."""

from __future__ import annotations

from vatwright.errors import InputError
from vatwright.planning.level.hold_down import hold_down
from vatwright.planning.level.levelling import (
    answer_of,
    check_base,
    compare_sizes,
    corners_of,
    corrections_of,
    fitted_plane,
    notes_of,
    reading_mistakes,
    verdict_words,
)
from vatwright.records.level import LevelSheet, LevelSurvey

GEOMETRY_SOURCES = ("draper:1998", "birge:1932", "practice:bench", "estimate:vatwright")
BASE_SOURCES = ("reynolds:1886", "jacobs:1992", "joe:2008")


def level_platform(survey: LevelSurvey) -> LevelSheet:
    """Return what the readings of a survey say, and what to do.

    Parameters
    ----------
    survey : LevelSurvey
        Readings, machine, screws, and the base to judge for where there is one.

    Returns
    -------
    LevelSheet
        The answer and its reasons.

    Raises
    ------
    InputError
        With everything that keeps the readings from making a plane.
    """
    if mistakes := reading_mistakes(survey.machine, survey.gauge, survey.readings):
        raise InputError(mistakes)
    plane = fitted_plane(survey)
    base, corners = check_base(survey, plane) if survey.base else (None, corners_of(survey, plane))
    return LevelSheet(
        survey=survey,
        plane=plane,
        corners=corners,
        base=base,
        answer=answer_of(corners, base),
        verdict=verdict_words(plane, corners, base),
        sizes=compare_sizes(survey, plane, base),
        corrections=corrections_of(survey, plane, corners),
        hold=hold_down(survey.machine, survey.screws, wanted_s=survey.hold_s),
        notes=notes_of(survey, plane),
        sources=tuple(dict.fromkeys((survey.gauge.source, *GEOMETRY_SOURCES, *(BASE_SOURCES if base else ())))),
    )
