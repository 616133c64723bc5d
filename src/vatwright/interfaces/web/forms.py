"""What a request may ask for, and the same as a job or readings file that the readers of files check.

Pages and the programs' interface meet here: both make one of these shapes, and every mistake in them is found by the same
code that reads files.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Annotated, Any, Literal

import tomlkit
from pydantic import BaseModel, ConfigDict, Field, StrictBool

from vatwright.errors import InputError, Mistake

Name = Annotated[str, Field(max_length=400)]
Unit = Literal["um", "mm", "cm", "m", "in", "ft"]
Number = Annotated[float, Field(ge=-1e9, le=1e9)]
Count = Annotated[int, Field(ge=1, le=10_000)]


class Asked(BaseModel):
    """One shape: no key that it does not know, no number that is not finite."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False)

    def table(self) -> dict[str, Any]:
        """Return what was said, without what was not."""
        return self.model_dump(exclude_none=True)


class PlaceAsked(Asked):
    """Where one piece stands."""

    x_mm: Number
    y_mm: Number
    turn_deg: Number = 0.0


class PartAsked(Asked):
    """One part: the handle of its file on the tray, and how it is used."""

    file: Annotated[str, Field(max_length=100, description="handle of a file that was handed in")]
    name: Name | None = None
    unit: Unit | None = None
    count: Count | None = None
    places: Annotated[list[PlaceAsked], Field(max_length=1000)] = Field(default_factory=list)
    as_drawn: StrictBool = False


class JobAsked(Asked):
    """What is wanted; the same keys as ``[job]`` of a job file."""

    name: Name | None = None
    recipe: Name
    to: Name
    room_c: Number
    resin: Name | None = None
    visits: Annotated[int, Field(ge=0, le=20)] | None = None
    present_min: Number | None = None
    late_min: Number | None = None
    early_min: Number | None = None
    confidence_percent: Number | None = None
    tolerance_percent: Number | None = None


class CarryAsked(Asked):
    """A whole carry."""

    job: JobAsked
    part: Annotated[list[PartAsked], Field(min_length=1, max_length=200)]


class StudyAsked(Asked):
    """A study of parts on one plate."""

    part: Annotated[list[PartAsked], Field(min_length=1, max_length=200)]
    layer_mm: Annotated[float, Field(ge=0.001, le=1.0)] = 0.05
    machine: Name | None = None


class LevelHeadAsked(Asked):
    """What was read, with what; the same keys as ``[level]`` of a readings file."""

    machine: Name
    method: Name | None = None
    sigma_um: Number | None = None
    caliper_um: Number | None = None
    read_to: Name | None = None
    z_mm: Number | None = None
    mount: Name | None = None
    pitch_mm: Number | None = None
    clockwise: Name | None = None
    hold_s: Number | None = None


class LevelBaseAsked(Asked):
    """The base to judge for; the same keys as ``[base]``."""

    recipe: Name | None = None
    exposure_s: Number | None = None
    settle_s: Number | None = None
    layer_mm: Number | None = None
    resin: Name | None = None
    room_c: Number | None = None


class ReadingAsked(Asked):
    """One reading."""

    x_mm: Number
    y_mm: Number
    gap_um: Number | None = None
    thickness_um: Number | None = None
    leaves: Number | None = None
    sigma_um: Number | None = None


class ScrewAsked(Asked):
    """One screw."""

    name: Name
    x_mm: Number
    y_mm: Number


class LevelAsked(Asked):
    """A whole levelling."""

    level: LevelHeadAsked
    base: LevelBaseAsked | None = None
    reading: Annotated[list[ReadingAsked], Field(min_length=1, max_length=500)]
    screw: Annotated[list[ScrewAsked], Field(max_length=8)] = Field(default_factory=list)


def toml_of(asked: Asked) -> str:
    """Return what is asked as the file that would ask it."""
    return tomlkit.dumps(asked.table())


def in_bench_words(problem: InputError, labels: Mapping[str, str], whole: str) -> InputError:
    """Return mistakes that speak of files of ours in words of the person's: labels for paths, no line numbers.

    Parameters
    ----------
    problem : InputError
        As the readers of files tell it.
    labels : mapping of str to str
        From a path of ours to what the person calls it.
    whole : str
        What a mistake without a place of its own is about, such as "this job".
    """
    return InputError([Mistake(*(_relabelled(t, labels, whole) for t in m)) for m in problem.mistakes])


def _relabelled(text: str, labels: Mapping[str, str], whole: str) -> str:
    for path, label in labels.items():
        text = re.sub(re.escape(path) + r"(:\d+)?", lambda _, label=label: label, text)  # type: ignore[misc]
    return text.replace(f"{whole}: ", "", 1) if text.startswith(f"{whole}: ") else text
