"""What may be told of the anchors on a holding: coarse places, their worst band, what is due."""

from __future__ import annotations

from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING

from saltreach.errors import OptionError
from saltreach.vocabulary.words import BANDS, OUT_OF_USE, UNKNOWN, YES_NO

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy as np
    import pandas as pd

    from saltreach.assessment.generalise import Areas, Grid
    from saltreach.assessment.result import Assessment
    from saltreach.intake.holding import Holding

COARSENESS_M = 250.0
"""Side of the grid that hides positions unless another is asked for; judgement."""


@dataclass(frozen=True)
class Places:
    """What may be told; nothing in it depends on where in its cell of the grid an anchor lies.

    `table`: GeoDataFrame, one row per coarse area, the worst first: `crags` (tuple of names),
    `risk_band`, `anchors_least` and `anchors_most` (a range; no most in the highest), `overdue`
    (yes or no), `visit_planned` (month or empty), `next_inspection_on`,
    `inspection_interval_months`, `material_recommended` (the best that a sector needs),
    `by_the_sea` (whether a sector that needs it is a sea cliff), `out_of_use` (whether an anchor
    is), `replace_by` (the first day by which one goes), and the area, EPSG:4326, longitudes
    unwrapped around `centre_lon`. `anchors`: range of their count on the whole holding.
    `overdue`: places with an overdue visit; `overdue_planned`: each of them has one planned.
    """

    table: gpd.GeoDataFrame
    centre_lon: float
    coarseness_m: float
    anchors: tuple[int, int | None]
    overdue: int
    overdue_planned: bool


def holding_of(holding: Holding | Path | str, contact: Path | str | None = None) -> Holding:
    """The holding itself, or that of a file; see `saltreach.intake.holding.read_holding`."""
    from saltreach.intake.holding import Holding, read_holding

    if isinstance(holding, Holding):
        return holding
    return read_holding(Path(holding), None if contact is None else Path(contact))


def past_months(holding: Holding, assessed_for: str) -> tuple[str, ...]:
    """A note on each planned visit and work whose month lies before that of the assessment."""
    month = assessed_for[:7]
    planned = [("visit", crag, by) for crag, by in holding.visits.items()]
    planned += [("work", work.crag, work.by) for work in holding.works if work.by]
    return tuple(
        f"the {what} at {crag} in {by[:7]} lies before the month of the assessment ({month}); "
        "correct it, or leave it out if it is done"
        for what, crag, by in planned
        if by[:7] < month
    )


def places_on(
    result: Assessment, holding: Holding, *, coarseness_m: float = COARSENESS_M
) -> Places:
    """Coarse places of the anchors on a holding.

    Parameters
    ----------
    result : Assessment
        From `assess` or `read_results`.
    holding : Holding
        The land, or the crags. Anchors count as on the land when their cell of the grid touches
        it.
    coarseness_m : float
        Side of the grid's cells, m.

    Returns
    -------
    Places

    Raises
    ------
    OptionError
        When no anchor is on the holding, a crag named is not in the register, or the cells are
        too small or too large.
    """
    import pandas as pd

    from saltreach.assessment.generalise import Grid, count_range, generalised

    _check_crags(holding, result)
    grid = Grid(coarseness_m)
    anchors = result.flat.anchors[_on_holding(result, holding, grid)]
    if not len(anchors):
        raise OptionError(
            f"{holding.name}: no anchor of the register is on this land or within a cell of it; "
            "check the polygon's position, or name the crags"
        )
    crag, _ = pd.factorize(anchors["crag"], sort=True)
    areas = generalised(anchors.geometry.x.to_numpy(), anchors.geometry.y.to_numpy(), crag, grid)
    table = _table(result.flat.sectors, anchors, areas, areas.area_of_group[crag], holding)
    late = table["overdue"] == "yes"
    month = result.provenance["assessed_for"][:7]
    return Places(
        table,
        areas.centre_lon,
        coarseness_m,
        count_range(len(anchors)),
        int(late.sum()),
        bool(late.any() and (table.loc[late, "visit_planned"] >= month).all()),
    )


def _on_holding(result: Assessment, holding: Holding, grid: Grid) -> np.ndarray:
    """Anchors of the crags named, or whose cell touches the land: cells decide, not positions."""
    import numpy as np
    import shapely

    anchors = result.flat.anchors
    chosen = np.ones(len(anchors), dtype=bool)
    if holding.crags:
        chosen &= anchors["crag"].isin(holding.crags).to_numpy()
    if holding.land is not None and chosen.any():
        row, column = grid.cell_of(anchors.geometry.x.to_numpy(), anchors.geometry.y.to_numpy())
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


def _table(
    sectors: gpd.GeoDataFrame,
    anchors: gpd.GeoDataFrame,
    areas: Areas,
    area: np.ndarray,
    holding: Holding,
) -> gpd.GeoDataFrame:
    """One row per area: of the sectors it touches, and of its own anchors, the worst."""
    import geopandas as gpd
    import pandas as pd

    from saltreach.assessment.generalise import count_range
    from saltreach.vocabulary.metals import MATERIAL_NAMES

    keys = anchors[["crag", "sector"]].assign(area=area)
    touched = keys.drop_duplicates().merge(sectors, on=["crag", "sector"], how="left")
    of = touched["area"]
    metal = MATERIAL_NAMES.rank(touched["material_recommended"])
    best = metal.groupby(of).max()
    needs_best = metal == of.map(best)
    crags = touched.groupby("area")["crag"].agg(lambda names: tuple(sorted(set(names))))
    months = pd.to_numeric(touched["inspection_interval_months"], errors="coerce")
    count = keys.groupby("area").size().map(count_range)
    going = anchors["replace_by"].where(anchors["action"] != "find out", "")
    band = BANDS.rank(touched["risk_band"]).groupby(of).max()
    late = touched["overdue"].eq("yes")
    table = pd.DataFrame(
        {
            "crags": crags,
            "risk_band": BANDS.word(band, UNKNOWN),
            "anchors_least": count.str[0],
            "anchors_most": count.str[1].astype("Int64"),
            "overdue": YES_NO.word(late.groupby(of).any().astype(float)),
            "visit_planned": crags.map(
                lambda names: min((m for c, m in holding.visits.items() if c in names), default="")
            ),
            "next_inspection_on": _first_day(touched["next_inspection_on"], of),
            "inspection_interval_months": months.astype(float).groupby(of).min(),
            "material_recommended": MATERIAL_NAMES.word(best),
            "by_the_sea": (touched["sea_cliff"].eq("yes") & needs_best).groupby(of).any(),
            "out_of_use": (anchors["action"] == OUT_OF_USE).groupby(area).any(),
            "replace_by": _first_day(going, area),
        }
    )  # fmt: skip
    order = table.assign(rank=-band.fillna(-1.0)).sort_values(["rank", "crags"]).index
    shapes = pd.Series(areas.shapes)[order].to_numpy()
    return gpd.GeoDataFrame(table.loc[order].reset_index(drop=True), geometry=shapes, crs=4326)


def _first_day(days: pd.Series, of: pd.Series | np.ndarray) -> pd.Series:
    """The earliest ISO day of each group, empty where it has none."""
    known = days.where(days.notna() & (days != ""), None).astype(object)
    return known.groupby(of).agg(lambda some: min(some.dropna(), default=""))
