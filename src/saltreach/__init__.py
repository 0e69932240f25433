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
    from saltreach.assessment.result import Assessment
    from saltreach.intake import Register, read_register
    from saltreach.intake.options import Options
    from saltreach.outputs.tables.results import write_results

_HOMES = {
    "Assessment": "saltreach.assessment.result",
    "Options": "saltreach.intake.options",
    "Register": "saltreach.intake",
    "assess": "saltreach.assessment.assess",
    "read_register": "saltreach.intake",
    "write_results": "saltreach.outputs.tables.results",
}

__all__ = ["Assessment", "Options", "Register", "__version__", "assess", "read_register",
           "write_results"]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load the heavy parts when they are first asked for."""
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'saltreach' has no attribute {name!r}")
