"""Pictures of the report's drawing kit made fit for a page that allows no inline style."""

from __future__ import annotations

import html
import re

_STYLE = re.compile(r' style="([^"]*)"')


def without_styles(svg: str) -> str:
    """Return a picture of our drawing kit with every style written as presentation attributes.

    The Content-Security-Policy of the pages allows no ``style`` attribute.  Each property the kit uses is a presentation
    attribute too (SVG 2, section 6.7), and those may hold the theme's variables.  Quotes inside the kit's texts are
    escaped, so what looks like an attribute is one.

    Examples
    --------
    >>> without_styles('<path d="M0 0" style="fill:none;stroke:var(--ink,#222)"/>')
    '<path d="M0 0" fill="none" stroke="var(--ink,#222)"/>'
    """
    return _STYLE.sub(lambda found: _attributes(html.unescape(found[1])), svg)


def _attributes(style: str) -> str:
    pairs = (declaration.partition(":") for declaration in style.split(";") if declaration.strip())
    return "".join(f' {name.strip()}="{html.escape(value.strip())}"' for name, _, value in pairs)
