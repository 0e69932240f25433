"""An assessment in a notebook, and its map in a browser."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from saltreach.assessment.attributions import attributions_of
from saltreach.vocabulary.columns import columns_of

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment

MOST_ANCHORS = 5_000
"""Beyond it a notebook that holds the map grows too large to keep and to send."""
MOST_CRAGS = 20


def assessment_html(result: Assessment) -> str:
    """What a notebook shows of an assessment: its map, or a few crags of a large one.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`.

    Returns
    -------
    str
        HTML; all text is escaped, and the map runs in a frame of its own without network.
    """
    from saltreach.outputs.html import framed
    from saltreach.outputs.map.page import map_of

    said = f"<p>{escape(repr(result).strip('<>'))}</p>"
    if len(result.flat.anchors) <= MOST_ANCHORS:
        return said + framed(map_of(result), "Map of the assessment")
    columns = list(columns_of("crags", shown="brief"))
    worst = result.flat.crags.sort_values("priority_rank", kind="stable").head(MOST_CRAGS)
    more = len(result.flat.crags) - len(worst)
    thanks = escape(" · ".join(attributions_of(result.provenance, result.backdrop)))
    return (
        f"{said}{worst[columns].to_html(index=False)}<p>"
        + (f"And {more} more crags. " if more else "")
        + f"The map is left out beyond {MOST_ANCHORS:,} anchors: saltreach.show_map(result) opens "
        f"it in the browser.</p><p><small>{thanks}</small></p>"
    )


def show_map(result: Assessment, path: Path | str | None = None) -> Path:
    """Write the map of an assessment and open it in the browser.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`.
    path : path or str, optional
        The HTML file; one in a new temporary folder unless given.

    Returns
    -------
    pathlib.Path
        Where the map is, to be opened by hand where there is no browser.
    """
    import tempfile
    import webbrowser

    from saltreach.outputs.map.page import write_map

    file = Path(path) if path is not None else Path(tempfile.mkdtemp()) / "map.html"
    write_map(result, file)
    webbrowser.open(file.resolve().as_uri())
    return file
