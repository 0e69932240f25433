"""The landowner's map: a file of its own from data of its own, without any position.

What may be published is made first, by `landowner_data`, as a table of coarse areas and words;
the page and the statement are drawn from that table alone. It holds no anchor, no sector, no
route and no note. How positions are made coarse: `saltreach.outputs.landowner.generalise`.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.errors import OptionError
from saltreach.outputs.html import asset_text, page_policy, render_template, write_text
from saltreach.outputs.landowner.drawing import BADGE, coast_source, drawing
from saltreach.outputs.landowner.generalise import (
    COARSENESS_M,
    Areas,
    Grid,
    count_range,
    generalised,
)
from saltreach.outputs.map.page import BAND_STYLES, UNKNOWN_STYLE
from saltreach.vocabulary.metals import MATERIAL_NAMES
from saltreach.vocabulary.words import BANDS, OUT_OF_USE

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment
    from saltreach.intake.holding import Holding

PAGE_FILE = "landowner.html"
STATEMENT_FILE = "landowner.pdf"
STYLES = {style.word: style for style in (*BAND_STYLES, UNKNOWN_STYLE)}


def landowner_data(
    result: Assessment, holding: Holding, *, coarseness_m: float = COARSENESS_M
) -> dict[str, Any]:
    """What a landowner may know of the anchors on a holding.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`.
    holding : Holding
        The land, or the crags; see `saltreach.intake.holding`. Anchors count as on the land when
        their cell of the grid touches it.
    coarseness_m : float
        Side of the grid's cells, m.

    Returns
    -------
    dict
        `title`, `lead` (sentences), `places` (number, names, band, count, visit, work: words
        only), `map` (see `saltreach.outputs.landowner.drawing.drawing`), `contact`, and the words
        around them. Nothing in it depends on where in its cell an anchor lies.

    Raises
    ------
    OptionError
        When no anchor is on the holding, or a crag named is not in the register.
    """
    texts = json.loads(asset_text("landowner_en.json"))
    _check_crags(holding, result)
    grid = Grid(coarseness_m)
    anchors = result.flat.anchors[_on_holding(result, holding, grid)]
    if not len(anchors):
        raise OptionError(
            f"{holding.name}: no anchor of the register is on this land or within a cell of it; "
            "check the polygon's position, or name the crags"
        )
    crag, names = pd.factorize(anchors["crag"], sort=True)
    areas = generalised(anchors.geometry.x.to_numpy(), anchors.geometry.y.to_numpy(), crag, grid)
    places = _places(result.flat.sectors, anchors, areas.area_of_group[crag], holding, texts)
    order = sorted(places, key=lambda place: (-place["rank"], place["names"]))
    shapes = tuple(areas.shapes[place["area"]] for place in order)
    numbers = list(range(1, len(order) + 1))
    drawn = drawing(
        Areas(shapes, areas.area_of_group, areas.centre_lon),
        numbers,
        [asdict(STYLES[place["band"]]) for place in order],
        holding.land,
        result.provenance["options"]["coast_file"],
        coarseness_m,
    )
    for place, number in zip(order, numbers, strict=True):
        place |= {"number": number}
        del place["area"], place["rank"]
    organisation = holding.contact.organisation or holding.contact.person
    phone = holding.contact.phone.replace(" ", "\u00a0")  # a number stays on one line
    reach = f" {texts['or']} ".join(filter(None, (phone, holding.contact.email)))
    late = [place for place in order if place["overdue"]]
    month = result.provenance["assessed_for"][:7]
    ahead = bool(late) and all(place["planned"] >= month for place in late)
    return {
        "texts": texts,
        "title": texts["title"].format(name=holding.name),
        "as_of": texts["as_of"].format(month=_month(result.provenance["assessed_for"], texts)),
        "time": result.provenance["time"],
        "lead": [
            texts["lead_one" if len(order) == 1 else "lead_many"].format(
                count=_count(len(anchors), texts), places=len(order)
            ),
            _counted(texts, "lead_planned" if ahead else "lead_overdue", len(late)),
            texts["lead_who"].format(organisation=organisation),
        ],
        "contact": asdict(holding.contact),
        "emergency": texts["emergency"].format(phone=holding.contact.emergency_phone)
        if holding.contact.emergency_phone
        else texts["emergency_general"],
        "steps": [
            step.format(organisation=organisation, reach=reach) for step in texts["problem_steps"]
        ],
        "places": order,
        "bands": [
            {**asdict(STYLES[band]), "meaning": texts["bands"][band]}
            for band in (*BANDS, UNKNOWN_STYLE.word)
            if band != UNKNOWN_STYLE.word or any(place["band"] == band for place in order)
        ],
        "map": drawn,
        "map_note": texts["map_note"].format(
            side=_length(coarseness_m), margin=_length(coarseness_m)
        ),
        "source": texts["source"].format(
            coast=coast_source(result.provenance), software=result.provenance["software"]
        ),
    }


def write_landowner(
    result: Assessment, holding: Holding, out: Path, *, coarseness_m: float = COARSENESS_M
) -> tuple[Path, Path]:
    """Write the landowner's map (HTML) and the statement (PDF, one page) into a folder.

    Parameters
    ----------
    result, holding, coarseness_m
        As for `landowner_data`.
    out : pathlib.Path
        Folder; made if absent.

    Returns
    -------
    tuple of pathlib.Path
        The page and the statement. The same input gives the same bytes.

    Raises
    ------
    OptionError
        As `landowner_data`.
    """
    from saltreach.outputs.landowner.statement import statement_pdf, write_bytes

    data = landowner_data(result, holding, coarseness_m=coarseness_m)
    page, statement = landowner_page(data), statement_pdf(data)
    return write_text(out / PAGE_FILE, page), write_bytes(out / STATEMENT_FILE, statement)


def landowner_page(data: Mapping[str, Any]) -> str:
    """The page as HTML: no script, no request.

    Parameters
    ----------
    data : mapping
        From `landowner_data`.

    Returns
    -------
    str
        All text passes through the template's escaping.
    """
    styles = [asset_text("landowner.css")]
    return render_template(
        "landowner.html",
        **data,
        policy=page_policy([], styles),
        styles=styles,
        map_svg=map_svg(data, standalone=False),
        phone_link="".join(c for c in data["contact"]["phone"] if c in "+0123456789"),
    )


def map_svg(data: Mapping[str, Any], *, standalone: bool) -> str:
    """The map as SVG, for the page or as a picture of its own with its colours.

    Parameters
    ----------
    data : mapping
        From `landowner_data`.
    standalone : bool
        Carry the colours in the file instead of taking them from the page.

    Returns
    -------
    str
        SVG; lengths in metres on the ground.
    """
    return render_template(
        "landowner_map.svg",
        map=data["map"],
        texts=data["texts"],
        bands=data["bands"],
        badge=BADGE,
        standalone=standalone,
    )


def _on_holding(result: Assessment, holding: Holding, grid: Grid) -> np.ndarray:
    """Anchors of the crags named, or whose cell touches the land: cells decide, not positions."""
    import shapely

    chosen = np.ones(len(result.flat.anchors), dtype=bool)
    if holding.crags:
        chosen &= result.flat.anchors["crag"].isin(holding.crags).to_numpy()
    if holding.land is not None and chosen.any():
        lon, lat = (
            result.flat.anchors.geometry.x.to_numpy(),
            result.flat.anchors.geometry.y.to_numpy(),
        )
        row, column = grid.cell_of(lon, lat)
        boxes = shapely.box(*grid.boxes(row, column, np.zeros_like(row)).T)
        shapely.prepare(holding.land)
        chosen &= shapely.intersects(holding.land, boxes)
    return chosen


def _check_crags(holding: Holding, result: Assessment) -> None:
    known = sorted(set(result.flat.anchors["crag"]))
    named = [*holding.crags, *holding.visits, *(work.crag for work in holding.works)]
    for crag in named:
        if crag not in known:
            near = get_close_matches(crag, known, 1)
            hint = f"did you mean {near[0]!r}?" if near else "use a name of the register"
            raise OptionError(f"{holding.name}: crag {crag!r} is not in the register; {hint}")


def _places(
    sectors: pd.DataFrame,
    anchors: pd.DataFrame,
    area: np.ndarray,
    holding: Holding,
    texts: Mapping[str, Any],
) -> list[dict[str, Any]]:
    """One record per area: the worst band, the next visit and the work, in words."""
    keys = anchors[["crag", "sector"]].assign(area=area)
    touched = keys.drop_duplicates().merge(sectors, on=["crag", "sector"], how="left")
    touched = touched.assign(
        band=touched["risk_band"].map({band: at for at, band in enumerate(BANDS)}).fillna(-1),
        metal=touched["material_recommended"]
        .map({name: at for at, name in enumerate(MATERIAL_NAMES)})
        .fillna(-1),
        by_the_sea=touched["sea_cliff"].eq("yes") if "sea_cliff" in touched else False,
        due=touched["next_inspection_on"].replace("", None),
        months=pd.to_numeric(touched["inspection_interval_months"], errors="coerce"),
    )
    places = []
    for at, group in touched.groupby("area", sort=True):
        rank = int(group["band"].max())
        names = sorted(set(group["crag"]))
        overdue = bool((group["overdue"] == "yes").any())
        planned = sorted(month for crag, month in holding.visits.items() if crag in names)
        places.append(
            {
                "area": int(at),
                "rank": rank,
                "names": _joined(names, texts),
                "band": BANDS[rank] if rank >= 0 else UNKNOWN_STYLE.word,
                "letter": (STYLES[BANDS[rank]] if rank >= 0 else UNKNOWN_STYLE).letter,
                "band_text": BANDS[rank] if rank >= 0 else texts["unknown"],
                "count": _count(int((area == at).sum()), texts),
                "overdue": overdue,
                "planned": planned[0] if planned else "",
                "visit": _visit(planned, overdue, group["due"], texts),
                "interval": _interval(group["months"].min(), texts),
                "work": [
                    *_pressing(anchors[area == at], texts),
                    *_work(names, _metal(group, texts), holding, texts),
                ],
            }
        )
    return places


def _visit(planned: list[str], overdue: bool, due: pd.Series, texts: Mapping[str, Any]) -> str:
    if planned:
        words = texts["overdue_planned" if overdue else "planned"]
        return str(words.format(month=_month(planned[0], texts)))
    if overdue:
        return str(texts["overdue"])
    days = sorted(due.dropna().astype(str))
    return str(texts["by"].format(month=_month(days[0], texts)) if days else texts["not_set"])


def _metal(group: pd.DataFrame, texts: Mapping[str, Any]) -> str:
    """The best metal that a sector of the place needs, in words; empty where none is known.

    It is called the coast's only where a sector that needs it is a sea cliff.
    """
    metal = int(group["metal"].max())
    if metal < 0:
        return ""
    name = MATERIAL_NAMES[metal]
    by_the_sea = group.loc[group["metal"] == metal, "by_the_sea"].any()
    words = texts["metals"] | (texts["metals_by_the_sea"] if by_the_sea else {})
    return str(words[name])


def _pressing(anchors: pd.DataFrame, texts: Mapping[str, Any]) -> list[str]:
    """What cannot wait for a visit: anchors out of use, and the first day by which some go."""
    said = []
    if (anchors["action"] == OUT_OF_USE).any():
        said.append(str(texts["out_of_use"]))
    going = anchors.loc[anchors["action"] != "find out", "replace_by"]
    days = sorted(going.replace("", None).dropna().astype(str))
    if days:
        said.append(str(texts["replace_by"].format(month=_month(days[0], texts))))
    return said


def _work(names: list[str], metal: str, holding: Holding, texts: Mapping[str, Any]) -> list[str]:
    planned = [
        texts["work_by"].format(what=work.what.rstrip(". "), by=_month(work.by, texts))
        if work.by
        else texts["work_open"].format(what=work.what.rstrip(". "))
        for work in sorted(holding.works, key=lambda work: work.by or "9")
        if work.crag in names
    ]
    if metal:
        planned.append(texts["renewal"].format(metal=metal))
    return planned or [texts["renewal_open"]]


def _interval(months: float, texts: Mapping[str, Any]) -> str:
    if not np.isfinite(months):
        return ""
    whole = int(months)
    if whole % 12 == 0:
        years = whole // 12
        span = texts["year_one"] if years == 1 else texts["years_many"].format(n=years)
    else:
        span = texts["month_one"] if whole == 1 else texts["months_many"].format(n=whole)
    return str(texts["then_every"].format(span=span))


def _joined(names: list[str], texts: Mapping[str, Any]) -> str:
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} {texts['and']} {names[-1]}"


def _counted(texts: Mapping[str, Any], key: str, n: int) -> str:
    ending = "none" if n == 0 else "one" if n == 1 else "many"
    return str(texts[f"{key}_{ending}"].format(n=n))


def _count(count: int, texts: Mapping[str, Any]) -> str:
    low, high = count_range(count)
    if high is None:
        return str(texts["range_more"].format(low=low - 1))
    return str(texts["range"].format(low=low, high=high))


def _month(day: str, texts: Mapping[str, Any]) -> str:
    return f"{texts['months'][int(day[5:7]) - 1]} {day[:4]}"


def _length(metres: float) -> str:
    return f"{metres / 1000:g} km" if metres >= 1000 else f"{metres:g} m"
