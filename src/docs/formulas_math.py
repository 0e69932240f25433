"""Equations as MathML, made while the pages are built: a browser needs no script for them."""

from __future__ import annotations

from docutils import nodes
from latex2mathml.converter import convert
from sphinx.application import Sphinx
from sphinx.writers.html5 import HTML5Translator


def _write(page: HTML5Translator, node: nodes.math | nodes.math_block) -> None:
    block = isinstance(node, nodes.math_block)
    mathml = convert(node.astext(), display="block" if block else "inline")
    page.body.append(f'<div class="equation">{mathml}</div>' if block else mathml)
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, bool]:
    """Put the writer of equations in the place of the one that loads a script."""
    app.add_html_math_renderer("mathml", (_write, None), (_write, None))
    return {"parallel_read_safe": True, "parallel_write_safe": True}
