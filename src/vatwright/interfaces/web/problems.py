"""What goes wrong, as programs read it: problem details (RFC 9457)."""

from __future__ import annotations

from typing import Any

from fastapi.responses import JSONResponse
from pydantic import BaseModel

from vatwright.errors import InputError
from vatwright.wording import to_say

MEDIA_TYPE = "application/problem+json"

TITLES = {
    400: to_say("This request cannot be read"),
    403: to_say("Not allowed"),
    404: to_say("There is no such thing here"),
    405: to_say("This cannot be done here"),
    409: to_say("Not as things stand"),
    413: to_say("Too large"),
    415: to_say("Of another kind than is wanted"),
    421: to_say("This bench does not go by that name"),
    422: to_say("Something handed in cannot be used"),
    429: to_say("Too many tries"),
    500: to_say("A fault of ours"),
    503: to_say("Too much work waiting"),
}


class MistakeShape(BaseModel):
    """One mistake."""

    where: str
    what: str
    do: str


class Problem(BaseModel):
    """Problem details, with every mistake where there are several."""

    type: str
    title: str
    status: int
    detail: str
    mistakes: list[MistakeShape] | None = None


class ProblemResponse(JSONResponse):
    """A problem on its way out."""

    media_type = MEDIA_TYPE


def problem_response(status: int, detail: str, *, mistakes: InputError | None = None) -> ProblemResponse:
    """Return a problem as a response."""
    body: dict[str, Any] = {"type": "about:blank", "title": title_of(status), "status": status, "detail": detail}
    if mistakes is not None:
        body["mistakes"] = [m._asdict() for m in mistakes.mistakes]
    return ProblemResponse(body, status_code=status)


def problems(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """Return what the description of the interface says of the answers that tell a problem."""
    schema = {"$ref": "#/components/schemas/Problem"}
    return {s: {"description": "Problem details", "content": {MEDIA_TYPE: {"schema": schema}}} for s in statuses}


def title_of(status: int) -> str:
    """Return the heading of a problem."""
    return TITLES.get(status, "This did not work")
