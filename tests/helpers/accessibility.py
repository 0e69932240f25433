"""Accessibility of a page, judged by axe-core (Deque Systems, MPL-2.0; see axe/LICENSE).

axe-core 4.14.1 comes unchanged from the npm package of that name. It is a test fixture and
never part of a page that saltreach writes.
"""

from __future__ import annotations

from pathlib import Path

AXE = Path(__file__).with_name("axe") / "axe.min.js"
SERIOUS = ("serious", "critical")


def findings(page, *, impacts=SERIOUS, within=None):
    """Rules that a page in its present state breaks, worst kinds only.

    Parameters
    ----------
    page : playwright Page
        Its content security policy does not matter: the rules are run from outside the page.
    impacts : tuple of str
        Any of minor, moderate, serious, critical.
    within : str, optional
        CSS selector of the part to judge; the whole page by default.

    Returns
    -------
    list of str
        One line for each element that breaks a rule: rule, impact, element, what to do.
    """
    page.evaluate(AXE.read_text(encoding="utf-8"))
    result = page.evaluate(
        "(within) => axe.run(within || document, { resultTypes: ['violations'] })", within
    )
    assert result["testEngine"]["name"] == "axe-core"
    assert len(result["passes"]) > 5, "axe-core judged next to nothing: is the page empty?"
    return [
        f"{rule['id']} ({rule['impact']}) {node['target']}: {node['failureSummary']}"
        for rule in result["violations"]
        if rule["impact"] in impacts
        for node in rule["nodes"]
    ]


def assert_accessible(page, **options):
    """No serious or critical finding."""
    found = findings(page, **options)
    assert not found, "\n".join(found)
