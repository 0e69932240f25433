"""What is handed to a landowner: a page with a map, and a statement, without any position."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from saltreach.assessment.files import assessment_in
from saltreach.assessment.landowner import COARSENESS_M, holding_of, past_months, places_on
from saltreach.folders.claim import Claim, result_set
from saltreach.outputs.html import asset_text, framed, page_policy, render_template
from saltreach.outputs.landowner.drawing import map_svg
from saltreach.outputs.landowner.statement import statement_pdf
from saltreach.outputs.landowner.words import landowner_words

if TYPE_CHECKING:
    import geopandas as gpd

    from saltreach.assessment.result import Assessment
    from saltreach.intake.holding import Holding

PAGE_FILE = "landowner.html"
STATEMENT_FILE = "landowner.pdf"


@dataclass(frozen=True, repr=False)
class ForLandowner:
    """What may be given away: no anchor, no sector, no route, no note and no position is in it.

    `places`: GeoDataFrame of coarse areas, the worst first (columns:
    `saltreach.assessment.landowner.Places`). `page`: HTML without script or request.
    `statement`: PDF of one page. `files`: where both were written, if they were. `notes`: what the
    one who gives them away should know, as a planned month that is past.
    """

    places: gpd.GeoDataFrame
    page: str
    statement: bytes
    files: tuple[Path, ...] = ()
    notes: tuple[str, ...] = ()

    def __repr__(self) -> str:
        where = f", written to {self.files[0].parent}" if self.files else ""
        return f"<ForLandowner: {len(self.places)} places{where}>"

    def _repr_html_(self) -> str:
        return framed(self.page, "The landowner's page")


def landowner(
    result: Assessment | Path | str,
    holding: Holding | Path | str,
    out: Path | str | Claim | None = None,
    *,
    contact: Path | str | None = None,
    coarseness_m: float = COARSENESS_M,
    beside_other_files: bool = False,
) -> ForLandowner:
    """Map and one-page statement for a landowner, in plain words and without any position.

    Parameters
    ----------
    result : Assessment, or path
        From `assess`, or the folder of its results.
    holding : Holding, path or str
        The land, or the crags; a file as `saltreach.intake.holding.read_holding` reads it.
        Anchors count as on the land when their cell of the grid touches it.
    out : path or str, optional
        Folder for the page and the statement; made if absent. Without it nothing is written.
    contact : path or str, optional
        TOML that completes the holding's file: who to call, what is planned and when.
    coarseness_m : float
        Side of the grid that hides positions, m.
    beside_other_files : bool
        As for `saltreach.write_results`.

    Returns
    -------
    ForLandowner
        The same input gives the same bytes.

    Raises
    ------
    OptionError
        When the holding is unusable, no anchor is on it, or a crag named is not in the register.
    """
    result = assessment_in(result)
    land = holding_of(holding, contact)
    found = places_on(result, land, coarseness_m=coarseness_m)
    data = landowner_words(found, land, result)
    page, statement = landowner_page(data), statement_pdf(data)
    notes = past_months(land, result.provenance["assessed_for"])
    if out is None:
        return ForLandowner(found.table, page, statement, notes=notes)
    with result_set(
        out, "landowner", assessment=result.provenance["time"],
        beside_other_files=beside_other_files,
    ) as work:  # fmt: skip
        (work / PAGE_FILE).write_text(page, encoding="utf-8", newline="\n")
        (work / STATEMENT_FILE).write_bytes(statement)
    folder = out.shown if isinstance(out, Claim) else Path(out)
    files = (folder / PAGE_FILE, folder / STATEMENT_FILE)
    return ForLandowner(found.table, page, statement, files, notes)


def landowner_page(data: Mapping[str, Any]) -> str:
    """The page as HTML: no script, no request.

    Parameters
    ----------
    data : mapping
        From `saltreach.outputs.landowner.words.landowner_words`.

    Returns
    -------
    str
        All text passes through the template's escaping.
    """
    styles = [asset_text("landowner/landowner.css")]
    return render_template(
        "landowner/landowner.html",
        **data,
        policy=page_policy([], styles),
        styles=styles,
        map_svg=map_svg(data, standalone=False),
        phone_link="".join(c for c in data["contact"]["phone"] if c in "+0123456789"),
    )
