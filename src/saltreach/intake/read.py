"""From anchors in a file or a frame to a checked register: good and refused rows, notes."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError
from saltreach.intake import (
    book_layer,
    check,
    far_apart,
    formats,
    gis,
    gis_xml,
    names,
    near_names,
    parquet_file,
    positions,
    table_files,
)
from saltreach.intake.dates import ORDERS, order_shown
from saltreach.intake.distinct import alike, told
from saltreach.intake.headers import AS_GIVEN, Headers, resolve_headers
from saltreach.intake.leftovers import cleaned
from saltreach.intake.numbers import Evidence, evidence
from saltreach.intake.own_results import without_estimates
from saltreach.intake.own_words import with_own_words
from saltreach.intake.parts import Parts, in_parts
from saltreach.intake.place_columns import grid_named, with_points
from saltreach.intake.placing import place_anchors
from saltreach.intake.tables import SURVEY
from saltreach.intake.typed import number_column
from saltreach.intake.understood import UNDERSTOOD_COLUMNS, understood
from saltreach.intake.values import (
    SPREADSHEET_ERRORS,
    Reading,
    grades_named,
    parse_column,
    trimmed,
)
from saltreach.vocabulary.columns import (
    REGISTER,
    REGISTER_BY_NAME,
    REJECTED_COLUMNS,
    REQUIRED,
    Column,
)
from saltreach.vocabulary.metals import STAINLESS, STAINLESS_METALS
from saltreach.vocabulary.words import UNKNOWN

if TYPE_CHECKING:
    import geopandas as gpd

READERS: dict[str, Callable[[Path, bytes, formats.Request], formats.Table]] = {
    **table_files.READERS,
    ".geojson": gis.read_geojson,
    ".json": gis.read_geojson,
    ".gpkg": gis.read_gpkg,
    ".gpx": gis_xml.read_gpx,
    ".kml": gis_xml.read_kml,
    ".kmz": gis_xml.read_kml,
    parquet_file.SUFFIX: parquet_file.read_parquet,
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
        One row per broken rule with `REJECTED_COLUMNS`, of rows that are left out.
    doubts : DataFrame
        The same columns: cells of good rows that could not be used, or only in part. Their value
        is unknown unless the reason says which is used.
    understood : DataFrame
        One row per column of the file, with `UNDERSTOOD_COLUMNS`.
    notes : tuple of str
        What was normalised or assumed, in short sentences.
    file, sha256, format : str
        Name of the file, checksum of its bytes, and format.
    rows_read : int
        Rows with any content, good and refused.
    survey_file : str or None
        The workbook itself, where another sheet of it is named `survey`: `assess` reads that
        sheet unless its options name a survey.
    renamed : mapping
        Our column -> header of the file, where it is another word.
    unused : tuple of str
        Headers that are none of our columns.
    failed_before : DataFrame or None
        Of a book: pieces that failed and are no longer in place, with their `crag`, `sector`,
        `kind`, `material`, `hanger_material` and `installed_on` as in `anchors`, `metal_failed`
        (else the rock gave way) and `by_test` (a test found it).
    last_events : DataFrame or None
        Of a book: what happened last at each anchor, for the cards of a map.
    parts : Parts or None
        Of a folder of Parquet files: which rows of `source_row`, which counts through all of
        them, stand in which.
    """

    anchors: gpd.GeoDataFrame
    rejected: pd.DataFrame
    notes: tuple[str, ...]
    file: str
    sha256: str
    format: str
    rows_read: int
    doubts: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=REJECTED_COLUMNS))
    understood: pd.DataFrame = field(
        default_factory=lambda: pd.DataFrame(columns=UNDERSTOOD_COLUMNS)
    )
    survey_file: str | None = None
    renamed: Mapping[str, str] = field(default_factory=dict)
    unused: tuple[str, ...] = ()
    failed_before: pd.DataFrame | None = None
    last_events: pd.DataFrame | None = None
    parts: Parts | None = None


class _Absent:
    """Columns the file does not have, unknown in every row; those alike share their memory."""

    def __init__(self, index: pd.Index) -> None:
        self._number = pd.Series(np.nan, index=index, dtype=float)
        self._empty = alike(None, index)
        self._word = alike(UNKNOWN, index)

    def __call__(self, column: Column) -> pd.Series:
        if column.kind in ("number", "integer"):
            return self._number
        return self._word if UNKNOWN in column.choices else self._empty


def _parsed(
    given: pd.DataFrame, today: dt.date, reading: Reading
) -> tuple[pd.DataFrame, list[pd.DataFrame], list[str]]:
    """Every column of `REGISTER` but the position, read from text."""
    values: dict[str, pd.Series] = {}
    found: list[pd.DataFrame] = []
    notes: list[str] = []
    absent = _Absent(given.index)
    for column in REGISTER:
        if column.name not in given or column.name in ("lon", "lat"):
            values[column.name] = absent(column)
            continue
        text = given[column.name]
        broken = text.isin(SPREADSHEET_ERRORS)
        if broken.any():
            found.append(
                check.problems(
                    broken, column.name, text, "the spreadsheet shows an error here",
                    "mend the formula, or leave it empty",
                )
            )  # fmt: skip
            text = text.where(~broken)
        if column.kind == "text":
            values[column.name] = text
            continue
        parsed, more = parse_column(text, column, today, reading=reading)
        notes += more
        values[column.name] = parsed.values
        found.append(
            check.problems(parsed.reason.notna(), column.name, text, parsed.reason, parsed.fix)
        )
    if "material" in given:
        named = grades_named(given["material"], REGISTER_BY_NAME["grade"])
        values["grade"] = values["grade"].where(values["grade"].notna(), named)
    # a grade says which metal it is, where the word for the metal says less
    own = told(values["grade"], check.METAL_OF_GRADE)
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
    *,
    strict: bool,
) -> pd.DataFrame:
    """Every broken rule; a cell that could not be read is not called missing as well.

    `unread` says that the cell's value is as it can be used already: read in part, or unknown.
    """
    unread = pd.concat(found, ignore_index=True).assign(unread=True)
    schema = check.schema_problems(table)
    # a value that is out of range says nothing about the others, unless every slip refuses
    across = check.row_problems(table if strict else _without(table, schema), shown)
    again = check.duplicate_problems(table["anchor_id"], everything, rows)
    cells = pd.MultiIndex.from_frame(
        unread.assign(column=unread["column"].str.split(", ")).explode("column")[
            ["place", "column"]
        ]
    )
    known = pd.MultiIndex.from_frame(schema[["place", "column"]]).isin(cells)
    single = [
        group.assign(value=shown[name].iloc[group["place"].to_numpy(dtype=int)].to_numpy())
        for name, group in schema[~known].groupby("column", sort=False)
    ]
    whole = pd.concat([unread, *single, *across, again], ignore_index=True)
    return whole.assign(unread=whole["unread"].eq(True))


def _without(table: pd.DataFrame, wrong: pd.DataFrame) -> pd.DataFrame:
    """The table without the values of problems, each of one column or of several."""
    table = table.copy(deep=False)
    for columns, group in wrong.groupby("column", sort=False):
        places = table.index[group["place"].to_numpy(dtype=int)]
        table.loc[places, str(columns).split(", ")] = np.nan
    return table


def _kept(found: pd.DataFrame, count: int, *, strict: bool) -> np.ndarray:
    """Rows that are kept: nothing is wrong with them, or nothing but optional cells."""
    optional = found["column"].map(
        lambda names: all(
            name in REGISTER_BY_NAME and not REGISTER_BY_NAME[name].required
            for name in names.split(", ")
        )
    )
    hard = found if strict else found[~optional.astype(bool)]
    kept = np.ones(count, dtype=bool)
    kept[hard["place"].to_numpy(dtype=int)] = False
    return kept


def _emptied(table: pd.DataFrame, doubts: pd.DataFrame) -> pd.DataFrame:
    """The table with every cell in doubt unknown, but for those read in part."""
    table = _without(table, doubts[~doubts["unread"]])
    for column in REGISTER:
        if UNKNOWN in column.choices and table[column.name].hasnans:
            table[column.name] = table[column.name].fillna(UNKNOWN)
    return table


def _as_filled(cells: pd.DataFrame, given: pd.DataFrame, headers: Headers) -> pd.DataFrame:
    """Cells of the file with the names that were filled in."""
    places = {headers.ours[name]: given[name] for name in ("crag", "sector") if name in given}
    filled = cells.copy()
    for place, names_of in places.items():
        filled[place] = names_of
    return filled


def filled_down(given: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Names of crags and sectors that stand in the first row of their group only.

    A sheet with merged cells saved as text has them so. They go on downwards only where no name
    is repeated in the next row that has one, and at least half of the cells are empty: else an
    empty cell is one that was forgotten (own rule).

    Parameters
    ----------
    given : DataFrame
        Columns of the register as text, NaN where empty.

    Returns
    -------
    given : DataFrame
        With the names filled in.
    notes : list of str
    """
    notes: list[str] = []
    group = pd.Series(0, index=given.index)
    for name in ("crag", "sector"):
        if name not in given or not len(given):
            continue
        text = given[name]
        block = text.notna().groupby(group).cumsum()
        named = text[text.notna()]
        repeated = (named == named.shift()) & (group[named.index] == group[named.index].shift())
        gaps = text.isna() & (block > 0)
        looks = text.isna().sum() >= len(named) or bool(notes)
        if gaps.any() and looks and not repeated.any():
            given = given.assign(**{name: text.where(~gaps, text.groupby(group).ffill())})
            notes.append(
                f"{name}: {int(gaps.sum())} empty cells taken as the name above them, as in a "
                "sheet with merged cells"
            )
        group = (given[name] != given[name].shift()).cumsum()
    return given, notes


@with_own_words
def read_register(
    source: str | PathLike[str] | pd.DataFrame,
    *,
    columns: Mapping[str, str] | None = None,
    crs: str | None = None,
    sheet: str | None = None,
    layer: str | None = None,
    today: dt.date | None = None,
    words: str | PathLike[str] | None = None,
    date_order: str | None = None,
    strict: bool = False,
    same_crag: Mapping[str, str] | None = None,
    name: str | None = None,
) -> Register:
    """Read and check a register of anchors.

    Parameters
    ----------
    source : path, DataFrame or GeoDataFrame
        A file of anchors, CSV, XLSX, GeoJSON, GeoPackage, GPX, KML, KMZ or Parquet by its suffix;
        a folder of Parquet files (`saltreach.intake.parquet_file.read_parts`); or a frame, which
        is not changed. Where there is geometry it is the position, in its own
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
    words : path, optional
        A table of own words for columns and values, which come before ours (see `own_words`).
    date_order : str, optional
        `day-first` or `month-first`, for dates that can be read both ways. Without it each
        column shows its own order, or such dates are known to the year only.
    strict : bool
        Refuse a row for any cell that cannot be used. Otherwise only what cannot be placed or
        named is refused, and another bad cell is unknown, with its reason in `doubts`.
    same_crag : mapping of str to str, optional
        Crags that are one, written differently: name -> the name it is read as.
    name : str, optional
        What a frame is called, in messages and in the provenance.

    Returns
    -------
    Register
        Good rows, refused rows with reason and fix, cells in doubt, and notes. No good row is
        not an error.

    Raises
    ------
    RegisterError
        The file cannot be used at all: missing, unreadable, without the required headers,
        with two headers for one column, without CRS, or with several sheets or layers to
        choose from.

    Notes
    -----
    Nothing is repaired silently: what is left out or unknown is listed; what was
    normalised (headers, units, decimal commas, order of dates, words for metals) is said in
    `notes`. Empty cells stay unknown. Names are compared without regard to case, kinds of blanks
    and invisible marks; crags of one name more than 20 km apart are told apart, and an anchor far
    from the others of its sector is refused (`saltreach.intake.far_apart`). Extra columns pass
    through as text (those of a frame that hold numbers or truth values as they are); one whose
    name belongs to the assessment gets `_given` at its end. Rows of a frame are numbered by
    position from 1, and its checksum is that of its cells as text; so is that of a GeoPackage that
    is a book, whose bytes differ though its anchors are the same. That of a folder is of the names
    and bytes of its parts (`saltreach.intake.parquet_file.folder_checksum`).
    """
    frame = isinstance(source, pd.DataFrame)
    path = Path() if isinstance(source, pd.DataFrame) else Path(source)
    name = (name or "the DataFrame") if frame else path.name
    suffix = path.suffix.lower()
    folder = not frame and path.is_dir()
    if folder and (path / "provenance.json").is_file():
        raise RegisterError(
            f"{path} is a folder of results, and a register is expected: give its file"
        )
    if not frame and suffix == ".parquet" and (path.parent / "provenance.json").is_file():
        raise RegisterError(
            f"{path} is one file of results; give their folder {path.parent}, or a register"
        )
    if sheet is not None and suffix not in (".xlsx", ".xlsm"):
        raise RegisterError(f"{name}: only a workbook (.xlsx) has sheets; leave --sheet out")
    if date_order not in (None, *ORDERS):
        raise RegisterError(f"date_order {date_order!r}: give {' or '.join(ORDERS)}")
    if layer is not None and suffix not in (".gpkg", ".kml", ".kmz"):
        raise RegisterError(f"{name}: only .gpkg, .kml and .kmz have layers; leave --layer out")
    asked = None if crs is None else positions.named_crs(crs, name)
    request = formats.Request(columns, asked is not None, sheet, layer)
    if isinstance(source, pd.DataFrame):
        table = _safe_headers(gis.from_frame(source, type(source).__name__, keep_types=True))
        sha256 = book_layer.cells_checksum(table)
    elif folder:
        table, sha256 = parquet_file.read_parts(path)
        table = _safe_headers(table)
    else:
        book = book_layer.is_book_file(path)
        data = formats.content(path, READERS, "anchors")
        table = _safe_headers(READERS[suffix](path, data, request))
        of_cells = book and layer in (None, book_layer.ANCHORS)
        sha256 = book_layer.cells_checksum(table) if of_cells else hashlib.sha256(data).hexdigest()
    named = None if table.points is not None else grid_named(table.headers, columns)
    if named is not None:
        columns = {**(columns or {}), **named.columns}
        if asked is None:
            asked = positions.named_crs(named.crs, name)
            table = replace(table, notes=(*table.notes, named.note))
    table = table if frame else cleaned(table)
    table = with_points(table, columns, of_grid=asked is not None)
    headers = resolve_headers(
        table.headers,
        columns,
        where=name,
        grid=request.grid,
        have_geometry=table.points is not None,
    )
    found = _checked(
        name,
        table,
        headers,
        asked,
        columns,
        today or dt.date.today(),
        date_order,
        strict,
        same_crag,
    )
    surveyed = SURVEY.name in {other.strip().casefold() for other in table.other_sheets}
    return replace(
        found,
        sha256=sha256,
        survey_file=str(path) if surveyed else None,
    )


def _checked(
    name: str,
    table: formats.Table,
    headers: Headers,
    asked: Any,
    columns: Mapping[str, str] | None,
    today: dt.date,
    date_order: str | None,
    strict: bool,
    same_crag: Mapping[str, str] | None,
) -> Register:
    """Parse, check and put together what a reader and the headers gave."""
    import geopandas as gpd

    given = pd.DataFrame(
        {ours: trimmed(table.cells[place]) for ours, place in headers.ours.items()},
        index=table.cells.index,
    )
    given, estimates = without_estimates(given, table.cells, table.headers)
    extras = pd.DataFrame(
        {extra: table.cells[place] for extra, place in headers.extras.items()},
        index=table.cells.index,
    )
    filling: list[str] = []
    if table.points is None or table.point_text is not None:
        given, filling = filled_down(given)
    given, extras, named = _named(given, extras, table.rows, same_crag)
    by_hand = {"lon", "lat"} <= set(columns or {})
    said = {ours: table.headers[place] for ours, place in headers.ours.items()}
    position = place_anchors(table, given, asked, by_hand, name, said)
    numeric = [c.name for c in REGISTER if c.kind in ("number", "integer") and c.name in given]
    shows = [evidence(given[n]) for n in numeric]
    reading = Reading(
        mark=Evidence(sum(e.commas for e in shows), sum(e.points for e in shows)).mark,
        date_order=date_order,
        order_beside=_shown_order(given),
        units=headers.units,
        orders=headers.date_orders,
    )
    values, found, notes = _parsed(given, today, reading)
    values["lon"], values["lat"] = position.lon, position.lat
    nothing = alike(None, given.index)
    shown = pd.DataFrame({c.name: given.get(c.name, nothing) for c in REGISTER})
    shown[["lon", "lat"]] = position.shown[["lon", "lat"]]
    everything = pd.concat([shown, extras], axis=1)
    found_all = _all_problems(
        values, [*found, *position.found], shown, everything, _row_names(table), strict=strict
    )
    in_place = values[list(REQUIRED)][_kept(found_all, len(values), strict=strict)]
    values["crag"], astray, asked_of = _placed_names(values["crag"], in_place, position.shown)
    found_all = pd.concat([found_all, astray.assign(unread=False)], ignore_index=True)
    good = _kept(found_all, len(values), strict=strict)
    kept = good[found_all["place"].to_numpy(dtype=int)]
    rejected = check.rejected_table(found_all[~kept], table.rows, name)
    if table.point_text is None:
        rejected = gis.named_values(rejected, table, given.get("anchor_id"))
    rejected = in_parts(rejected, table.parts)
    doubts = in_parts(check.rejected_table(found_all[kept], table.rows, name), table.parts)
    if table.bad_rows:
        bad = pd.DataFrame(table.bad_rows, columns=["row", "value", "reason", "fix"])
        bad = bad.assign(file=name, column="")[rejected.columns]
        rejected = pd.concat([rejected, bad], ignore_index=True).sort_values(
            "row", kind="stable", ignore_index=True
        )
    values = _emptied(values, found_all[kept])
    as_given = _as_given(given, values, set(extras.columns))
    typed = {name: table.typed.get(place, extras[name]) for name, place in headers.extras.items()}
    extras = pd.DataFrame(typed, index=table.cells.index)
    numbered = pd.Series(table.rows, index=values.index, name="source_row")
    anchors = pd.concat([values, extras, as_given, numbered], axis=1)
    if not good.all():
        anchors = anchors[good]
    anchors = anchors.reset_index(drop=True)
    all_notes = (  # questions first: a list on the screen is short
        *asked_of, *estimates, *table.notes, *headers.notes, *filling, *position.notes, *notes,
        *named,
    )  # fmt: skip
    return Register(
        anchors=gpd.GeoDataFrame(
            anchors, geometry=gpd.points_from_xy(anchors["lon"], anchors["lat"]), crs="EPSG:4326"
        ),
        rejected=rejected,
        doubts=doubts,
        understood=understood(
            table.headers,
            _as_filled(table.cells, given, headers),
            headers.ours,
            values,
            columns=REGISTER_BY_NAME,
            notes=all_notes,
        ),
        notes=all_notes,
        file=name,
        sha256="",
        format=table.format,
        rows_read=len(values) + len(table.bad_rows),
        renamed=headers.renamed,
        unused=headers.unused,
        parts=table.parts,
    )


def _row_names(table: formats.Table) -> np.ndarray:
    """What each row is called in a message about another."""
    if table.parts is None:
        return table.rows
    part, row = table.parts.named(table.rows)
    return (pd.Series(row).astype("str") + " of " + pd.Series(part, dtype="str")).to_numpy(object)


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


def _shown_order(given: pd.DataFrame) -> str | None:
    """The order of day and month that the dates of a register show; None where they disagree."""
    dates = [column.name for column in REGISTER if column.kind == "date" and column.name in given]
    shown = {order_shown(given[name]) for name in dates} - {None}
    return shown.pop() if len(shown) == 1 else None


def _placed_names(
    crags: pd.Series, good: pd.DataFrame, shown: pd.DataFrame
) -> tuple[pd.Series, pd.DataFrame, list[str]]:
    """Crags told apart by place, anchors astray as problems, and near spellings to ask about.

    `good` are the rows that are kept, those with a cell in doubt among them.
    """
    apart = far_apart.told_apart(good, check.joined(shown, ("lon", "lat")))
    kept = good.drop(index=apart.found["place"])
    asked = near_names.questions(
        apart.crag[kept.index], kept["crag"], kept["sector"], kept["lon"], kept["lat"]
    )
    crag = crags.copy()
    crag.loc[apart.crag.index] = apart.crag
    return crag, apart.found, [*apart.notes, *asked]


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
    shown = anchors[["lon", "lat"]].apply(lambda c: number_column(c.to_numpy(), c.index))
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
    more = in_parts(more, register.parts)
    rejected = pd.concat([register.rejected, more], ignore_index=True)
    order = ["row"] if register.parts is None else ["file", "row"]
    return replace(
        register,
        anchors=anchors[~far].reset_index(drop=True),
        rejected=rejected.sort_values(order, kind="stable", ignore_index=True),
    )
