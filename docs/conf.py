"""How the documentation is built: ``make docs``; warnings are errors."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent / "_ext"))

project = "Vatwright"
author = "The Vatwright team"
copyright = "2026, the Vatwright team"
extensions = ["myst_parser", "sphinx.ext.autodoc", "numpydoc", "mathml", "sources_page", "api_page", "keys_page"]
myst_enable_extensions = ["dollarmath", "deflist"]
myst_heading_anchors = 3
source_suffix = {".md": "markdown", ".rst": "restructuredtext"}
exclude_patterns = ["_build"]
html_theme = "alabaster"
html_theme_options = {"description": "Carry a proven recipe to another machine, with reasons.", "fixed_sidebar": True}
html_static_path: list[str] = []
html_math_renderer = "mathml"
numpydoc_show_class_members = False
autodoc_typehints = "none"
autodoc_member_order = "bysource"
