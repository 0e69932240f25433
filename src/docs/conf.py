"""Settings of the documentation: `make docs` builds it into build/docs, with no network."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

project = "saltreach"
extensions = ["myst_parser", "sphinx.ext.autodoc", "sphinx.ext.napoleon", "pages", "formulas_math"]
html_theme = "furo"
html_title = project
html_static_path = ["_static"]
html_css_files = ["wide.css"]
html_show_copyright = html_show_sphinx = html_copy_source = False
html_math_renderer = "mathml"

myst_enable_extensions = ["attrs_inline", "deflist"]
myst_heading_anchors = 3
default_role = "obj"
autodoc_typehints = "none"
autodoc_member_order = "bysource"
napoleon_google_docstring = False
napoleon_use_ivar = True
napoleon_use_rtype = False
