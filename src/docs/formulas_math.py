"""Equations as MathML, made while the pages are built: a browser needs no script for them.

The font is given along (`conf.py`): without one made for equations, brackets do not grow and bars
and fractions run into each other.
"""

from __future__ import annotations

import re

from docutils import nodes
from latex2mathml.converter import convert
from sphinx.application import Sphinx
from sphinx.writers.html5 import HTML5Translator

FUNCTION = re.compile(r"<msub><mi>log</mi>.*?</msub>|<mi>(?:ln|log|cos|sin)</mi>")
THIN = '<mspace width="0.17em" />'


def _write(page: HTML5Translator, node: nodes.math | nodes.math_block) -> None:
    block = isinstance(node, nodes.math_block)
    mathml = convert(node.astext(), display="block" if block else "inline")
    mathml = FUNCTION.sub(lambda name: THIN + name[0] + THIN, mathml)
    page.body.append(f'<div class="equation">{mathml}</div>' if block else mathml)
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, bool]:
    """Put the writer of equations in the place of the one that loads a script."""
    app.add_html_math_renderer("mathml", (_write, None), (_write, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
