"""What goes wrong, as programs read it: problem details (RFC 9457)."""

from __future__ import annotations

from typing import Any

from fastapi.responses import JSONResponse
from pydantic import BaseModel

from vatwright.errors import InputError

MEDIA_TYPE = "application/problem+json"

TITLES = {
    400: "This request cannot be read",
    403: "Not allowed",
    404: "There is no such thing here",
    405: "This cannot be done here",
    409: "Not as things stand",
    413: "Too large",
    415: "Of another kind than is wanted",
    421: "This bench does not go by that name",
    422: "Something handed in cannot be used",
    429: "Too many tries",
    500: "A fault of ours",
    503: "Too much work waiting",
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


def title_of(status: int) -> str:
    """Return the heading of a problem."""
    return TITLES.get(status, "This did not work")
