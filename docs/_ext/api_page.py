"""Write the page of the interface for programs, and its OpenAPI document, from what the bench itself says."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

HEAD = """# The interface for programs

What the pages of the bench do, programs can do too, under `/api/v1`. The bench itself hands out the whole description in
OpenAPI's form at `/api/v1/openapi.json`; {download}`a copy of it <openapi.json>` comes with these pages.

- Send JSON (or a part file as `application/octet-stream`); get JSON in the shapes of the command's `--json`, unit in every key.
- Long work answers `202` and a `location`: ask there how far it is, fetch its `result`, or `DELETE` it to stop it.
- What goes wrong is told as `application/problem+json` (RFC 9457), with every mistake where there are several.
- The computer on which the bench runs is let in; any other device must be paired, and sends its cookie.
- Work and its results are kept while the bench is open. Carries asked for on the pages, runs and paired phones outlive that.

| method | address | does |
| --- | --- | --- |
"""


def write_pages(app: Any) -> None:
    """Write both files before the build reads them."""
    out = Path(app.srcdir) / "reference" / "generated"
    out.mkdir(parents=True, exist_ok=True)
    document = openapi()
    (out / "openapi.json").write_text(json.dumps(document, indent=1, sort_keys=True), encoding="utf-8")
    (out / "api.md").write_text(api_page(document), encoding="utf-8")


def openapi() -> dict[str, Any]:
    """Return the OpenAPI document of a bench."""
    from vatwright.interfaces.web.app import make_app
    from vatwright.interfaces.web.settings import BenchSettings

    app = make_app(BenchSettings())
    document: dict[str, Any] = app.openapi()
    app.state.desk.close()
    return document


def api_page(document: dict[str, Any]) -> str:
    """Return the table of every address as Markdown."""
    rows = [
        f"| {method.upper()} | `{path}` | {said.get('description', said['summary']).splitlines()[0].replace('``', '`')} |"
        for path, methods in sorted(document["paths"].items())
        for method, said in methods.items()
    ]
    return HEAD + "\n".join(rows) + "\n"


def setup(app: Any) -> dict[str, Any]:
    """Write the pages whenever the docs are built."""
    app.connect("builder-inited", write_pages)
    return {"version": "1", "parallel_read_safe": True}
