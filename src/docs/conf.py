"""Settings of the documentation: `make docs` builds it into build/docs, with no network."""

import sys
from importlib.resources import files
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

project = "saltreach"
extensions = ["myst_parser", "sphinx.ext.autodoc", "numpydoc", "pages", "formulas_math"]
html_theme = "furo"
html_title = project
html_static_path = ["_static", str(files("ziamath.fonts") / "STIXTwoMath-Regular.ttf")]
html_css_files = ["site.css"]
html_show_copyright = html_show_sphinx = html_copy_source = False
html_math_renderer = "mathml"

myst_enable_extensions = ["attrs_inline", "deflist"]
myst_heading_anchors = 3
smartquotes = False
default_role = "obj"
autodoc_typehints = "none"
autodoc_member_order = "bysource"
autodoc_preserve_defaults = True
numpydoc_show_class_members = False
numpydoc_attributes_as_param_list = True
