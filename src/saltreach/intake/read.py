"""From anchors in a file or a frame to a checked register: good and refused rows, notes."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake import check, far_apart, formats, gis, names, near_names, positions
from saltreach.intake.headers import AS_GIVEN, Headers, resolve_headers
from saltreach.intake.placing import place_anchors
from saltreach.intake.tables import SURVEY
from saltreach.intake.values import grades_named, parse_column, trimmed
from saltreach.vocabulary.columns import REGISTER, REGISTER_BY_NAME, Column
from saltreach.vocabulary.metals import STAINLESS, STAINLESS_METALS
from saltreach.vocabulary.words import UNKNOWN

if TYPE_CHECKING:
    import geopandas as gpd

READERS: dict[str, Callable[[Path, bytes, formats.Request], formats.Table]] = {
    **formats.READERS,
    ".geojson": gis.read_geojson,
    ".json": gis.read_geojson,
    ".gpkg": gis.read_gpkg,
    ".gpx": gis.read_gpx,
    ".kml": gis.read_kml,
}
"""File suffix -> reader."""


@dataclass(frozen=True)
class Register:
    """A register that was read and checked.

    Attributes
    ----------
    anchors : GeoDataFrame
        Good rows, index 0..n-1: every column of `REGISTER` in order, the user's extra columns
        as text, the words of choice columns as the user wrote them where they differed
        (`material_as_given` ...), `source_row`, and points in EPSG:4326. Numbers are floats
        (whole numbers too) with NaN where unknown; dates are ISO text of the known precision.
    rejected : DataFrame
        One row per broken rule with `REJECTED_COLUMNS`.
    notes : tuple of str
        What was normalised or assumed, in short sentences.
    file, sha256, format : str
        Name of the file, checksum of its bytes, and format.
    rows_read : int
        Rows with any content, good and refused.
    survey_file : str or None
        The workbook itself, where another sheet of it is named `survey`: `assess` reads that
        sheet unless its options name a survey.
    """

    anchors: gpd.GeoDataFrame
    rejected: pd.DataFrame
    notes: tuple[str, ...]
    file: str
    sha256: str
    format: str
    rows_read: int
    survey_file: str | None = None


def _absent(column: Column, index: pd.Index) -> pd.Series:
    """A column the file does not have: unknown in every row."""
    if column.kind in ("number", "integer"):
        return pd.Series(np.nan, index=index, dtype=float)
    word = UNKNOWN if UNKNOWN in column.choices else np.nan
    return pd.Series(word, index=index, dtype="str")


def _parsed(
    given: pd.DataFrame, today: dt.date
) -> tuple[pd.DataFrame, list[pd.DataFrame], list[str]]:
    """Every column of `REGISTER` but the position, read from text."""
    values: dict[str, pd.Series] = {}
    found: list[pd.DataFrame] = []
    notes: list[str] = []
    for column in REGISTER:
        if column.name in ("lon", "lat"):
            values[column.name] = pd.Series(np.nan, index=given.index, dtype=float)
            continue
        if column.name not in given:
            values[column.name] = _absent(column, given.index)
            continue
        text = given[column.name]
        if column.kind == "text":
            values[column.name] = text
            continue
        parsed, more = parse_column(text, column, today)
        notes += more
        values[column.name] = parsed.values
        found.append(
            check.problems(parsed.reason.notna(), column.name, text, parsed.reason, parsed.fix)
        )
    if "material" in given:
        named = grades_named(given["material"], REGISTER_BY_NAME["grade"])
        values["grade"] = values["grade"].where(values["grade"].notna(), named)
    # a grade says which metal it is, where the word for the metal says less
    own = values["grade"].map(check.METAL_OF_GRADE)
    metal = values["material"]
    vague = (metal == UNKNOWN) | ((metal == STAINLESS) & own.isin(STAINLESS_METALS))
    values["material"] = metal.where(~vague | own.isna(), own)
    return pd.DataFrame(values, index=given.index), found, notes


def _as_given(given: pd.DataFrame, table: pd.DataFrame, taken: set[str]) -> pd.DataFrame:
    """Words of choice columns as the user wrote them, where they were read as another."""
    out: dict[str, pd.Series] = {}
    for column in REGISTER:
        if not column.choices or column.name not in given:
            continue
        text = given[column.name]
        differs = text.notna() & (text != table[column.name])
        if differs.any():
            name = f"{column.name}{AS_GIVEN}"
            while name in taken:
                name += "_2"
            out[name] = text.where(differs)
    return pd.DataFrame(out, index=given.index)


def _all_problems(
    table: pd.DataFrame,
    found: list[pd.DataFrame],
    shown: pd.DataFrame,
    everything: pd.DataFrame,
    rows: np.ndarray,
) -> pd.DataFrame:
    """Every broken rule; a cell that could not be read is not called missing as well."""
    unread = pd.concat(found, ignore_index=True)
    across = check.row_problems(table, shown)
    again = check.duplicate_problems(table["anchor_id"], everything, rows)
    cells = pd.MultiIndex.from_frame(
        unread.assign(column=unread["column"].str.split(", ")).explode("column")[
            ["place", "column"]
        ]
    )
    schema = check.schema_problems(table)
    told = pd.MultiIndex.from_frame(schema[["place", "column"]]).isin(cells)
    single = [
        group.assign(value=shown[name].iloc[group["place"].to_numpy(dtype=int)].to_numpy())
        for name, group in schema[~told].groupby("column", sort=False)
    ]
    return pd.concat([unread, *single, *across, again], ignore_index=True)


def read_register(
    source: str | PathLike[str] | pd.DataFrame,
    *,
    columns: Mapping[str, str] | None = None,
    crs: str | None = None,
    sheet: str | None = None,
    layer: str | None = None,
    today: dt.date | None = None,
    same_crag: Mapping[str, str] | None = None,
) -> Register:
    """Read and check a register of anchors.

    Parameters
    ----------
    source : path, DataFrame or GeoDataFrame
        A file of anchors, CSV, XLSX, GeoJSON, GeoPackage, GPX or KML by its suffix; or a
        frame, which is not changed. Where there is geometry it is the position, in its own
        CRS; a row whose lon and lat columns say another place is refused.
    columns : mapping of str to str, optional
        Our column name -> header in the source, for headers that are not recognised. Mapping
        lon and lat takes the position from those columns and not from the geometry.
    crs : str, optional
        CRS of lon and lat columns (then eastings and northings), or of geometry that does
        not name its own. Columns without it are WGS 84 degrees.
    sheet, layer : str, optional
        Sheet of a workbook; layer of a GeoPackage or folder of a KML file.
    today : date, optional
        The last day that is not in the future; the current day by default.
    same_crag : mapping of str to str, optional
        Crags that are one, written differently: name -> the name it is read as.

    Returns
    -------
    Register
        Good rows, refused rows with reason and fix, and notes. No good row is not an error.

    Raises
    ------
    RegisterError
        The file cannot be used at all: missing, unreadable, without the required headers,
        with two headers for one column, without CRS, or with several sheets or layers to
        choose from.

    Notes
    -----
    Nothing is repaired silently: a row that breaks a rule is left out and listed; what was
    normalised (headers, units of position, words for metals) is said in `notes`. Empty cells stay
    unknown. Names are compared without regard to case, kinds of blanks and invisible marks; crags
    of one name more than 20 km apart are told apart, and an anchor far from the others of its
    sector is refused (`saltreach.intake.far_apart`). Extra columns pass through as text (those of
    a frame that hold numbers or truth values as they are); one whose name belongs to the
    assessment gets `_given` at its end. Rows of a frame are numbered by position from 1, and its
    checksum is that of its cells as text.
    """
    frame = isinstance(source, pd.DataFrame)
    path = Path() if isinstance(source, pd.DataFrame) else Path(source)
    name = "the DataFrame" if frame else path.name
    suffix = path.suffix.lower()
    if sheet is not None and suffix != ".xlsx":
        raise RegisterError(f"{name}: only a workbook (.xlsx) has sheets; leave --sheet out")
    if layer is not None and suffix not in (".gpkg", ".kml"):
        raise RegisterError(f"{name}: only .gpkg and .kml have layers; leave --layer out")
    asked = None if crs is None else positions.named_crs(crs, name)
    request = formats.Request(columns, asked is not None, sheet, layer)
    if isinstance(source, pd.DataFrame):
        table = _safe_headers(gis.from_frame(source, type(source).__name__, keep_types=True))
        points = b"" if table.points is None else table.points.tobytes()
        data = table.cells.to_csv(header=list(table.headers)).encode() + points
    else:
        data = formats.content(path, READERS, "anchors")
        table = _safe_headers(READERS[suffix](path, data, request))
    headers = resolve_headers(
        table.headers,
        columns,
        where=name,
        grid=request.grid,
        have_geometry=table.points is not None,
    )
    found = _checked(name, table, headers, asked, columns, today or dt.date.today(), same_crag)
    surveyed = SURVEY.name in {other.strip().casefold() for other in table.other_sheets}
    return replace(
        found,
        sha256=hashlib.sha256(data).hexdigest(),
        survey_file=str(path) if surveyed else None,
    )


def _checked(
    name: str,
    table: formats.Table,
    headers: Headers,
    asked: Any,
    columns: Mapping[str, str] | None,
    today: dt.date,
    same_crag: Mapping[str, str] | None,
) -> Register:
    """Parse, check and put together what a reader and the headers gave."""
    import geopandas as gpd

    given = pd.DataFrame(
        {ours: trimmed(table.cells[place]) for ours, place in headers.ours.items()},
        index=table.cells.index,
    )
    extras = pd.DataFrame(
        {extra: table.cells[place] for extra, place in headers.extras.items()},
        index=table.cells.index,
    )
    given, extras, named = _named(given, extras, table.rows, same_crag)
    by_hand = {"lon", "lat"} <= set(columns or {})
    position = place_anchors(table, given, asked, by_hand, name)
    values, found, notes = _parsed(given, today)
    values["lon"], values["lat"] = position.lon, position.lat
    shown = given.reindex(columns=[c.name for c in REGISTER]).astype("str")
    shown[["lon", "lat"]] = position.shown[["lon", "lat"]]
    everything = pd.concat([shown, extras], axis=1)
    found_all = _all_problems(values, [*found, *position.found], shown, everything, table.rows)
    values["crag"], astray, asked_of = _placed_names(values, found_all, position.shown)
    found_all = pd.concat([found_all, astray], ignore_index=True)
    rejected = check.rejected_table(found_all, table.rows, name)
    if table.bad_rows:
        bad = pd.DataFrame(table.bad_rows, columns=["row", "value", "reason", "fix"])
        bad = bad.assign(file=name, column="")[rejected.columns]
        rejected = pd.concat([rejected, bad], ignore_index=True).sort_values(
            "row", kind="stable", ignore_index=True
        )
    good = np.ones(len(values), dtype=bool)
    good[found_all["place"].to_numpy(dtype=int)] = False
    as_given = _as_given(given, values, set(extras.columns))
    typed = {name: table.typed.get(place, extras[name]) for name, place in headers.extras.items()}
    extras = pd.DataFrame(typed, index=table.cells.index)
    anchors = pd.concat(
        [values, extras, as_given, pd.Series(table.rows, index=values.index, name="source_row")],
        axis=1,
    )[good].reset_index(drop=True)
    return Register(
        anchors=gpd.GeoDataFrame(
            anchors, geometry=gpd.points_from_xy(anchors["lon"], anchors["lat"]), crs="EPSG:4326"
        ),
        rejected=rejected,
        notes=(*table.notes, *headers.notes, *position.notes, *notes, *named, *asked_of),
        file=name,
        sha256="",
        format=table.format,
        rows_read=len(values) + len(table.bad_rows),
    )


def _safe_headers(table: formats.Table) -> formats.Table:
    """The table with headers that any file can hold."""
    return replace(table, headers=tuple(map(names.safe_text, table.headers)))


def _named(
    given: pd.DataFrame,
    extras: pd.DataFrame,
    rows: np.ndarray,
    same_crag: Mapping[str, str] | None,
) -> tuple[pd.DataFrame, pd.DataFrame, list[str]]:
    """Cells without what no file can hold, names that are one under one spelling, and notes."""
    given, notes = names.tidied(given, rows)
    extras, more = names.tidied(extras, rows)
    crag, sector, one = names.merged(given["crag"], given["sector"], same_crag)
    return given.assign(crag=crag, sector=sector), extras, [*notes, *more, *one]


def _placed_names(
    values: pd.DataFrame, found: pd.DataFrame, shown: pd.DataFrame
) -> tuple[pd.Series, pd.DataFrame, list[str]]:
    """Crags told apart by place, anchors astray as problems, and near spellings to ask about."""
    good = values.drop(index=found["place"].unique())
    told = far_apart.told_apart(good, check.joined(shown, ("lon", "lat")))
    kept = good.drop(index=told.found["place"])
    asked = near_names.questions(
        told.crag[kept.index], kept["crag"], kept["sector"], kept["lon"], kept["lat"]
    )
    crag = values["crag"].copy()
    crag.loc[told.crag.index] = told.crag
    return crag, told.found, [*told.notes, *asked]


def refuse_far_at_sea(
    register: Register,
    coast_distance_m: np.ndarray | pd.Series,
    on_land: np.ndarray | pd.Series,
    *,
    limit_m: float = 5000.0,
) -> Register:
    """Refuse anchors that lie farther out at sea than a coast layer can be wrong.

    Parameters
    ----------
    register : Register
        What `read_register` gave.
    coast_distance_m : array of float
        Distance of each anchor to the shoreline, m; NaN where unknown.
    on_land : array of bool
        True where the anchor lies on the land side of the shoreline.
    limit_m : float
        Farthest distance seaward that is still accepted, m.

    Returns
    -------
    Register
        With the far anchors moved to `rejected`. Anchors whose register gives
        `coast_distance_m` stay, and so do those whose distance is unknown.

    Raises
    ------
    RegisterError
        The arrays do not have one value per anchor.
    """
    distance = np.asarray(coast_distance_m, dtype=float)
    land = np.asarray(on_land, dtype=bool)
    anchors = register.anchors
    if distance.shape != (len(anchors),) or land.shape != (len(anchors),):
        raise RegisterError(
            f"{register.file}: coast_distance_m and on_land need one value per anchor "
            f"({len(anchors)}), got {distance.shape} and {land.shape}"
        )
    with np.errstate(invalid="ignore"):
        far = ~land & (distance > limit_m) & anchors["coast_distance_m"].isna().to_numpy()
    if not far.any():
        return register
    shown = anchors[["lon", "lat"]].map(formats.cell_text).astype("str")
    kilometres = pd.Series([f"{d / 1000:.1f}" for d in distance], dtype="str")
    found = check.problems(
        far,
        "lon, lat",
        check.joined(shown, ("lon", "lat")),
        "at sea, " + kilometres + f" km off the shore (limit {limit_m / 1000:g} km)",
        "check the order and the signs of lon and lat; if the coast layer lacks this islet, give "
        "coast_distance_m in the register or a better coast file (--coast)",
    )
    more = check.rejected_table(found, anchors["source_row"].to_numpy(), register.file)
    rejected = pd.concat([register.rejected, more], ignore_index=True)
    return replace(
        register,
        anchors=anchors[~far].reset_index(drop=True),
        rejected=rejected.sort_values("row", kind="stable", ignore_index=True),
    )
