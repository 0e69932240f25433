"""Registers as Parquet: one file, or a folder of parts (GeoParquet, or columns alone)."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

import numpy as np
import pandas as pd

from saltreach.errors import RegisterError, brief
from saltreach.intake import sizes
from saltreach.intake.formats import Request, Table
from saltreach.intake.gdal import readable
from saltreach.intake.gis import SMALLER, points_of
from saltreach.intake.parts import Parts
from saltreach.intake.typed import NoText, texts

if TYPE_CHECKING:
    import pyarrow as pa

SUFFIX = ".parquet"
_UNKNOWN_PARTITION = "__HIVE_DEFAULT_PARTITION__"
_OF_AN_INDEX = "__index_level_"
_POINT = "point"
_SHOWN = 60
_POINT_HEAD, _POINT_BYTES = bytes((1, 1, 0, 0, 0)), 21
"""Well-known binary of a point in the plane, little-endian (OGC 06-103r4, 8.2): 1, type 1, x, y."""


@dataclass(frozen=True)
class _Geometry:
    """Column that holds the positions, how it is written, its CRS, and columns that only help."""

    column: str
    encoding: str
    crs: Any
    crs_is_assumed: bool
    beside: frozenset[str]
    others: tuple[str, ...]


@dataclass(frozen=True)
class _Part:
    """One file: its name below the folder, what the names of its folders say, what it holds."""

    name: str
    path: Path
    folders: dict[str, str]
    schema: pa.Schema
    rows: int
    geometry: _Geometry | None

    def columns(self) -> dict[str, str]:
        """Columns that are read, with their type in plain words."""
        left = set() if self.geometry is None else {*self.geometry.beside, *self.geometry.others}
        return {
            f.name: _plain_type(f.type)
            for f in self.schema
            if f.name not in left and not f.name.startswith(_OF_AN_INDEX)
        }


def rows_of(path: Path) -> int:
    """Rows that a file or a folder of parts says it has; 0 where it is neither, or broken."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        parts = parts_below(path) if path.is_dir() else [path] if is_part(path, path.parent) else []
        return sum(int(pq.read_metadata(part).num_rows) for part in parts)
    except (OSError, pa.ArrowException):
        return 0


def is_part(path: Path, folder: Path) -> bool:
    """Whether a file below a folder is a part of it: `_metadata` and hidden ones are none."""
    names = path.relative_to(folder).parts
    return path.suffix.lower() == SUFFIX and not any(n.startswith(("_", ".")) for n in names)


def parts_below(folder: Path) -> list[Path]:
    """Files of a folder of parts in the order of their names, those of nested folders too."""
    found = [path for path in folder.rglob("*") if path.is_file() and is_part(path, folder)]
    return sorted(found, key=lambda path: path.relative_to(folder).as_posix())


def folder_checksum(folder: Path, parts: Sequence[Path]) -> str:
    """SHA-256 of a folder: of each part's name, its length and its bytes, in the order of names.

    Names are relative, with `/` between folders, and end with a zero byte; so do lengths, in
    decimal figures. What is no part does not count.
    """
    whole = hashlib.sha256()
    for part in parts:
        whole.update(f"{part.relative_to(folder).as_posix()}\0{part.stat().st_size}\0".encode())
        with part.open("rb") as stream:
            while block := stream.read(1 << 20):
                whole.update(block)
    return whole.hexdigest()


def read_parquet(path: Path, data: bytes, request: Request) -> Table:
    """Read one file: GeoParquet, or a plain one with columns for the position."""
    import pyarrow as pa

    del request
    return _table([_opened(path, path.name, {}, pa.BufferReader(data))], data)


def read_parts(folder: Path) -> tuple[Table, str]:
    """Read a folder of parts as one register, and give its checksum too.

    Parameters
    ----------
    folder : Path
        With files in it or in nested folders; names of folders like `crag=Cabo` are a column.

    Returns
    -------
    table : Table
        Rows are counted through all parts in the order of their names; `parts` says which row of
        which part each is.
    sha256 : str
        As of `folder_checksum`.

    Raises
    ------
    RegisterError
        No part, one that cannot be read, or parts that do not fit together; it names the part.
    """
    with _reading(folder):
        paths = parts_below(folder)
    if not paths:
        raise RegisterError(
            f"{folder} is a folder that holds no {SUFFIX} file (those whose names begin with _ or "
            f". do not count); give the file of a register, or a folder of {SUFFIX} files"
        )
    parts = []
    for path in paths:
        below = path.relative_to(folder)
        named = (place.partition("=") for place in below.parts[:-1] if "=" in place)
        folders = {unquote(name): unquote(value) for name, _, value in named}
        parts.append(_opened(path, below.as_posix(), folders, path))
    _fit(parts)
    table = _table(parts, None)
    with _reading(folder):
        return table, folder_checksum(folder, paths)


@contextmanager
def _reading(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise RegisterError(f"{path}: cannot be read ({error.strerror})") from error


def _damaged(path: Path, name: str) -> Any:
    fix = "it is damaged or was not copied whole; copy it again, or export it anew"
    return readable(path, f"{name}: not a readable Parquet file", fix, RegisterError)


def _opened(path: Path, name: str, folders: dict[str, str], source: Any) -> _Part:
    """What the end of a file says of it."""
    import pyarrow.parquet as pq

    with _damaged(path, name):
        file = pq.ParquetFile(source)
        schema, about = file.schema_arrow, file.metadata
        size = sum(about.row_group(i).total_byte_size for i in range(about.num_row_groups))
        rows = about.num_rows
    sizes.within(len(schema), sizes.COLUMNS, name, "columns", SMALLER, RegisterError)
    sizes.within(rows, sizes.ROWS, name, "rows", "divide the file", RegisterError)
    sizes.within(size, sizes.UNPACKED_BYTES, name, "bytes", "divide the file", RegisterError)
    names = list(schema.names)
    twice = next((n for n in names if names.count(n) > 1 or n in folders), None)
    if twice is not None:
        where = "in the name of its folder too" if twice in folders else "twice"
        raise RegisterError(f"{name}: the column {_short(twice)!r} stands there {where}; keep one")
    return _Part(name, path, folders, schema, rows, _geometry(name, schema))


def _geometry(name: str, schema: pa.Schema) -> _Geometry | None:
    """What the file's own words say of its geometry (GeoParquet 1.1); None where it has none."""
    said = (schema.metadata or {}).get(b"geo")
    if said is None:
        return None
    fix = "export it anew as GeoParquet"
    try:
        about = json.loads(said)
        primary = about["primary_column"]
        columns = {n: dict(c) for n, c in about["columns"].items()}
        own = columns[primary]
        covering = own.get("covering", {}).get("bbox", {})
        beside = frozenset(str(place[0]) for place in covering.values())
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError) as error:
        raise RegisterError(
            f"{name}: what it says of its geometry is no GeoParquet; {fix}"
        ) from error
    if primary not in schema.names:
        raise RegisterError(
            f"{name}: its column of geometry, {_short(str(primary))!r}, is missing; {fix}"
        )
    others = tuple(n for n in columns if n != primary and n in schema.names)
    crs = own.get("crs", "OGC:CRS84")
    return _Geometry(
        primary, str(own.get("encoding", "WKB")), _crs(name, crs), "crs" not in own, beside, others
    )


def _crs(name: str, said: Any) -> Any:
    from pyproj import CRS
    from pyproj.exceptions import CRSError

    if said is None:
        return None
    try:
        return CRS.from_user_input(said)
    except (CRSError, TypeError, ValueError, AttributeError, RecursionError) as error:
        raise RegisterError(
            f"{name}: the CRS of its geometry cannot be read; save it in WGS 84 (EPSG:4326)"
        ) from error


def _plain_type(kind: pa.DataType) -> str:
    """A type for comparing and for messages: texts are texts however they are stored."""
    import pyarrow as pa

    if isinstance(kind, pa.ExtensionType):
        kind = kind.storage_type
    if pa.types.is_dictionary(kind):
        kind = kind.value_type
    if pa.types.is_large_string(kind) or pa.types.is_string_view(kind):
        kind = pa.string()
    if pa.types.is_large_binary(kind) or pa.types.is_binary_view(kind):
        kind = pa.binary()
    return str(kind)


def _short(text: str) -> str:
    return brief(text, _SHOWN)


def _fit(parts: Sequence[_Part]) -> None:
    """Raise where parts cannot be one table."""
    first, *others = parts
    total = sum(part.rows for part in parts)
    sizes.within(total, sizes.ROWS, parts[0].path.parent.name, "rows", "divide it", RegisterError)
    mine = first.columns()
    empty = str(_null())
    for part in others:
        theirs = part.columns()
        for one, other, name in ((mine, theirs, part.name), (theirs, mine, first.name)):
            lacking = [n for n in one if n not in other]
            if lacking:
                has = part.name if name == first.name else first.name
                raise RegisterError(
                    f"{name}: no column {_short(lacking[0])!r}, which {has} has; every part needs "
                    "the same columns"
                )
        unlike = [n for n in mine if mine[n] != theirs[n] and empty not in (mine[n], theirs[n])]
        if unlike:
            n = unlike[0]
            raise RegisterError(
                f"{part.name}: the column {_short(n)!r} is {_short(theirs[n])}, but "
                f"{_short(mine[n])} in {first.name}; write all parts with the same types"
            )
        if set(part.folders) != set(first.folders):
            raise RegisterError(
                f"{part.name}: its folders name {_listed(part.folders)}, those of {first.name} "
                f"{_listed(first.folders)}; put every part as deep as the others"
            )
        if _place(part.geometry) != _place(first.geometry) or not _same_crs(part, first):
            raise RegisterError(
                f"{part.name}: its geometry is in another column or CRS than that of {first.name}; "
                "save all parts in WGS 84 (EPSG:4326)"
            )


def _null() -> Any:
    import pyarrow as pa

    return pa.null()


def _listed(folders: dict[str, str]) -> str:
    return ", ".join(folders) or "no column"


def _place(geometry: _Geometry | None) -> tuple[str, str] | None:
    return None if geometry is None else (geometry.column, geometry.encoding)


def _same_crs(one: _Part, other: _Part) -> bool:
    mine, theirs = (None if p.geometry is None else p.geometry.crs for p in (one, other))
    if mine is None or theirs is None:
        return mine is theirs
    return bool(mine.equals(theirs, ignore_axis_order=True))


def _table(parts: Sequence[_Part], data: bytes | None) -> Table:
    """The cells of all parts, one below the other."""
    first = parts[0]
    names = list(first.columns())
    geometry = first.geometry
    shown = [n for n in names if geometry is None or n != geometry.column]
    cells: dict[str, list[Any]] = {name: [] for name in (*shown, *first.folders)}
    points, odd = [], []
    for part in parts:
        read = _read(part, names, data)
        for name in shown:
            cells[name].append(_texts(part, name, read[name]))
        for name in first.folders:
            value = part.folders[name]
            word = None if value in (_UNKNOWN_PARTITION, "") else value
            cells[name].append(_repeated(word, part.rows))
        if geometry is not None:
            here, others = _points(part, geometry.encoding, read[geometry.column])
            points.append(here)
            odd.append(others)
    headers = tuple(cells)
    length = sum(part.rows for part in parts)
    index = pd.RangeIndex(length)
    frame = pd.DataFrame(
        {i: _column(cells.pop(name), index) for i, name in enumerate(headers)}, index=index
    )
    if not length:
        raise RegisterError(f"{first.name}: no rows in it; give one row per anchor")
    several = data is None
    notes = []
    if several:
        notes.append(
            f"{len(parts)} parts read as one register; a row number is that of the part named, "
            "else rows are counted through all parts in the order of their names"
        )
    if geometry is not None and geometry.others:
        notes.append(f"other columns of geometry left aside ({', '.join(geometry.others)})")
    return Table(
        headers,
        frame,
        np.arange(length) + 1,
        "Parquet" if geometry is None else "GeoParquet",
        tuple(notes),
        points=np.concatenate(points) if points else None,
        odd_geometry=np.concatenate(odd) if odd else None,
        crs=None if geometry is None else geometry.crs,
        crs_is_assumed=geometry is not None and geometry.crs_is_assumed,
        parts=Parts.of([p.name for p in parts], [p.rows for p in parts]) if several else None,
    )


def _read(part: _Part, names: list[str], data: bytes | None) -> dict[str, Any]:
    """Columns of one part; texts as a dictionary, so that one text many times takes no room."""
    import pyarrow as pa
    import pyarrow.dataset as ds
    from pyarrow.fs import LocalFileSystem

    with _damaged(part.path, part.name):
        words = [n for n in names if part.columns()[n] == "string"]
        read_options = ds.ParquetReadOptions(dictionary_columns=words)
        form = ds.ParquetFileFormat(read_options=read_options)
        at = (str(part.path), LocalFileSystem()) if data is None else (pa.BufferReader(data),)
        table = form.make_fragment(*at).to_table(columns=names)
        if table.num_rows != part.rows:
            raise ValueError(f"{table.num_rows} rows, not {part.rows}")
        table.validate(full=True)
    return {name: table.column(name) for name in names}


def _texts(part: _Part, name: str, column: Any) -> Any:
    try:
        with _damaged(part.path, part.name):
            return texts(column)
    except NoText as error:
        raise RegisterError(
            f"{part.name}: the column {_short(name)!r} {error}; save it as text or leave it out"
        ) from error


def _repeated(word: str | None, count: int) -> Any:
    import pyarrow as pa

    return pa.chunked_array([pa.repeat(pa.scalar(word, pa.large_string()), count)])


def _column(pieces: list[Any], index: pd.Index) -> pd.Series:
    import pyarrow as pa

    chunks = [chunk for piece in pieces for chunk in piece.chunks]
    whole = pa.chunked_array(chunks, type=pa.large_string())
    return pd.Series(whole, index=index, dtype="str")


def _plain_points(values: Any) -> np.ndarray | None:
    """Coordinates where every geometry is a plane point in WKB of this byte order, else None."""
    import pyarrow as pa

    step = np.int64 if pa.types.is_large_binary(values.type) else np.int32
    _, ends, held = values.buffers()
    if values.null_count or held is None:
        return None
    ends = np.frombuffer(ends, step, len(values) + 1, values.offset * step().itemsize)
    if (np.diff(ends) != _POINT_BYTES).any():
        return None
    cells = np.frombuffer(held, np.uint8, len(values) * _POINT_BYTES, int(ends[0]))
    cells = cells.reshape(-1, _POINT_BYTES)
    if (cells[:, : len(_POINT_HEAD)] != np.frombuffer(_POINT_HEAD, np.uint8)).any():
        return None
    return cells[:, len(_POINT_HEAD) :].copy().view("<f8")


def _points(part: _Part, encoding: str, column: Any) -> tuple[np.ndarray, np.ndarray]:
    """Coordinates, and what stands in place of a point."""
    import pyarrow as pa
    import shapely

    values = column.combine_chunks()
    if isinstance(values, pa.ExtensionArray):
        values = values.storage
    count = len(values)
    odd = np.full(count, np.nan, dtype=object)
    if encoding == _POINT and pa.types.is_struct(values.type):
        known = values.is_valid().to_numpy(zero_copy_only=False)
        x, y = (np.asarray(values.field(n).to_numpy(zero_copy_only=False), float) for n in "xy")
        return np.where(known[:, None], np.column_stack([x, y]), np.nan), odd
    kind = values.type
    if not (pa.types.is_binary(kind) or pa.types.is_large_binary(kind)):
        raise RegisterError(
            f"{part.name}: its geometry is written as {encoding!r}; save it as points in "
            "WKB (GeoParquet 1.0)"
        )
    plain = _plain_points(values)
    if plain is not None:
        return plain, odd
    raw = values.to_numpy(zero_copy_only=False)
    shapes = shapely.from_wkb(raw, on_invalid="ignore")
    points, odd = points_of(np.asarray(shapes, dtype=object))
    broken = np.array(shapely.is_missing(shapes)) & values.is_valid().to_numpy(zero_copy_only=False)
    odd[broken] = "bytes that are no geometry"
    return points, odd
