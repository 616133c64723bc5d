"""What may be asked about the shop floor: one order on several machines, a whole order book, and what went wrong with it."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

from pydantic import AfterValidator, AwareDatetime, Field

from vatwright.files.orders_file import BookTable, HoursTable, UnitTable
from vatwright.interfaces.web.forms import Asked, CarryAsked, Count, Name, Unit, like_shape

FIRST, LAST = datetime(2000, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)


def _in_our_time(moment: datetime) -> datetime:
    if not FIRST <= moment <= LAST:
        raise ValueError("is not in this century")
    return moment


Moment = Annotated[AwareDatetime, AfterValidator(_in_our_time)]
SPAN = r"^\d\d:\d\d-\d\d:\d\d$"
Span = Annotated[str, Field(pattern=SPAN)]
Spans = Annotated[list[Span], Field(max_length=12)]


class CompareAsked(CarryAsked):
    """One order on several machines; the job's own machine does not matter."""

    machines: Annotated[list[Name], Field(min_length=1, max_length=20)]


class TrimAsked(CarryAsked):
    """What of one order's waits may go; settings that stay as they are by name."""

    hold: Annotated[list[Name], Field(max_length=40)] = Field(default_factory=list)


if TYPE_CHECKING:
    BookAsked: TypeAlias = Any
    HoursAsked: TypeAlias = Any
    UnitAsked: TypeAlias = Any
else:
    BookAsked = like_shape(
        "BookAsked", "What holds for a whole order book; the same keys as ``[book]`` of an orders file.", BookTable,
        leave=("shop", "stock"), starts=(Moment, ...),
        persons=(Annotated[int, Field(ge=1, le=100)] | None, None), visits=(Annotated[int, Field(ge=0, le=20)] | None, None),
    )  # fmt: skip
    HoursAsked = like_shape(
        "HoursAsked", "When somebody is there; a span as in ``08:00-12:30``.", HoursTable,
        **{day: (Spans, Field(default_factory=list)) for day in HoursTable.model_fields},
    )  # fmt: skip
    UnitAsked = like_shape(
        "UnitAsked",
        "Machines of one kind that stand in the shop.",
        UnitTable,
        count=(Annotated[int, Field(ge=1, le=50)], 1),
    )


class OrderPartAsked(Asked):
    """Pieces of an order: the handle of their file on the tray, and how many."""

    file: Annotated[str, Field(max_length=100, description="handle of a file that was handed in")]
    name: Name | None = None
    unit: Unit | None = None
    count: Count


class OrderAsked(Asked):
    """One order."""

    name: Name
    due: Moment | None = None
    recipe: Name | None = None
    resin: Name | None = None
    machines: Annotated[list[Name], Field(max_length=20)] = Field(default_factory=list)
    part: Annotated[list[OrderPartAsked], Field(min_length=1, max_length=200)]


class FleetAsked(Asked):
    """A whole order book."""

    book: BookAsked
    hours: HoursAsked
    unit: Annotated[list[UnitAsked], Field(max_length=40)] = Field(default_factory=list)
    order: Annotated[list[OrderAsked], Field(min_length=1, max_length=200)]


class ReplanAsked(Asked):
    """What went wrong since a plan was made."""

    now: Moment
    failed: Annotated[list[Name], Field(max_length=500)] = Field(default_factory=list)
    down: Annotated[list[Name], Field(max_length=500)] = Field(default_factory=list)
