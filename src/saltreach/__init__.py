"""Science and decisions for the anchors of a whole region of sea cliffs and inland crags.

The main job in three lines::

    import saltreach as sr
    result = sr.assess(sr.read_register("anchors.csv"))
    result.sectors
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from saltreach.assessment.result import Assessment

__version__ = "0.1.0"

if TYPE_CHECKING:
    from saltreach.assessment.assess import assess
    from saltreach.assessment.files import read_results
    from saltreach.intake import Register, read_register
    from saltreach.intake.options import Options
    from saltreach.intake.own_words import own_words
    from saltreach.outputs.landowner.page import landowner
    from saltreach.outputs.notebook import show_map
    from saltreach.outputs.tables.plan import write_plan
    from saltreach.outputs.tables.priorities import write_priorities
    from saltreach.outputs.tables.results import write_results
    from saltreach.planning.options import PlanOptions
    from saltreach.planning.plan import Plan, plan
    from saltreach.planning.priorities import Priorities, priorities

_HOMES = {
    "Options": "saltreach.intake.options",
    "Plan": "saltreach.planning.plan",
    "PlanOptions": "saltreach.planning.options",
    "Priorities": "saltreach.planning.priorities",
    "Register": "saltreach.intake",
    "assess": "saltreach.assessment.assess",
    "landowner": "saltreach.outputs.landowner.page",
    "own_words": "saltreach.intake.own_words",
    "plan": "saltreach.planning.plan",
    "priorities": "saltreach.planning.priorities",
    "read_register": "saltreach.records.reading",
    "read_results": "saltreach.assessment.files",
    "show_map": "saltreach.outputs.notebook",
    "write_plan": "saltreach.outputs.tables.plan",
    "write_priorities": "saltreach.outputs.tables.priorities",
    "write_results": "saltreach.outputs.tables.results",
}

__all__ = ["Assessment", "Options", "Plan", "PlanOptions", "Priorities", "Register", "__version__",
           "assess", "landowner", "own_words", "plan", "priorities", "read_register",
           "read_results", "show_map", "write_plan", "write_priorities",
           "write_results"]  # fmt: skip


def __getattr__(name: str) -> Any:
    """Load the heavy parts when they are first asked for."""
    if name in _HOMES:
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'saltreach' has no attribute {name!r}")


def _html(result: Assessment) -> str:
    from saltreach.outputs.notebook import assessment_html

    return assessment_html(result)


Assessment._repr_html_ = _html  # here, since the assessment knows no output
