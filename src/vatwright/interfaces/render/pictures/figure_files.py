"""A picture as files of its own: the drawing for any program that reads SVG, its data for a spreadsheet."""

from __future__ import annotations

import csv
import io
import itertools
import math
from typing import TYPE_CHECKING

from vatwright.interfaces.render.pictures.svg import for_print

if TYPE_CHECKING:
    from vatwright.interfaces.render.pictures.plots import Drawing

DIGITS = 6
"""Significant digits of a number in a file: more than any of them is known to."""

FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet takes for a formula at the beginning of a cell; a text of somebody's own may begin so."""


def figure_svg(figure: Drawing) -> str:
    """Return the picture as a file on its own, its colours those of paper."""
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{for_print(figure.picture)}\n'


def figure_csv(figure: Drawing) -> str:
    """Return the data of a picture, all of it (RFC 4180: comma, CRLF, a head); a number that is not finite is left empty.

    References
    ----------
    Y. Shafranovich, Common Format and MIME Type for Comma-Separated Values (CSV) Files, RFC 4180, 2005, section 2.
    [rfc4180:2005]
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out)
    if figure.full:
        writer.writerow([c.name for c in figure.full])
        writer.writerows(map(_number, row) for row in itertools.zip_longest(*(c.values for c in figure.full)))
    else:
        writer.writerow(figure.columns)
        writer.writerows(map(_text, row) for row in figure.rows)
    return out.getvalue()


def _number(value: float | None) -> str:
    return "" if value is None or not math.isfinite(value) else f"{value:.{DIGITS}g}"


def _text(cell: str) -> str:
    """Return a cell that no spreadsheet works out: a number stays one, a text that looks like a formula is quoted."""
    if not cell.startswith(FORMULA):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell
