"""Render formulas as MathML at build time: the built pages need no script and ask nobody for anything."""

from __future__ import annotations

from typing import Any

from docutils import nodes
from latex2mathml.converter import convert


def _inline(writer: Any, node: nodes.math) -> None:
    writer.body.append(convert(node.astext()))
    raise nodes.SkipNode


def _display(writer: Any, node: nodes.math_block) -> None:
    writer.body.append(f'<div class="math">{convert(node.astext(), display="block")}</div>')
    raise nodes.SkipNode


def setup(app: Any) -> dict[str, Any]:
    """Register the renderer."""
    app.add_html_math_renderer("mathml", inline_renderers=(_inline, None), block_renderers=(_display, None))
    return {"version": "1", "parallel_read_safe": True}
