"""Science and decisions for the anchors of a whole region of sea cliffs and inland crags.

The main job in three lines::

    import saltreach as sr
    result = sr.assess(sr.read_register("anchors.csv"))
    result.sectors
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from saltreach.assessment.assess import assess
    from saltreach.assessment.files import read_results
    from saltreach.assessment.result import Assessment
    from saltreach.intake import Register, read_register
    from saltreach.intake.options import Options
    from saltreach.outputs.landowner.page import landowner
    from saltreach.outputs.notebook import show_map
    from saltreach.outputs.tables.results import write_results

_HOMES = {
    "Assessment": "saltreach.assessment.result",
    "Options": "saltreach.intake.options",
    "Register": "saltreach.intake",
    "assess": "saltreach.assessment.assess",
    "landowner": "saltreach.outputs.landowner.page",
    "read_register": "saltreach.intake",
    "read_results": "saltreach.assessment.files",
    "show_map": "saltreach.outputs.notebook",
    "write_results": "saltreach.outputs.tables.results",
}

__all__ = ["Assessment", "Options", "Register", "__version__", "assess", "landowner",
           "read_register", "read_results", "show_map", "write_results"]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load the heavy parts when they are first asked for."""
    if name in _HOMES:
        from importlib import import_module

        from saltreach.assessment.result import Assessment
        from saltreach.outputs.notebook import assessment_html

        Assessment._repr_html_ = assessment_html
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'saltreach' has no attribute {name!r}")
