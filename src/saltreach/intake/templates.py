"""What a filled example of every file a user may hand in holds, and an empty one.

Columns come from the lists the readers check by, names of settings from their records, the cells
and values of the examples from the demo: nothing is listed again here.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import is_dataclass
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from saltreach.intake import formats, settings
from saltreach.intake.csv_file import read_csv
from saltreach.intake.holding import HoldingFile
from saltreach.intake.options import Options
from saltreach.intake.policy import Policy
from saltreach.intake.prices import PriceFile, read_prices
from saltreach.intake.read import read_register
from saltreach.intake.services import Services
from saltreach.intake.tables import PRICES, SURVEY, TABLES, Table
from saltreach.vocabulary.metals import COSTS

REGISTER = Table("register")
SETTINGS = {
    "options": Options, "policy": Policy, "prices": PriceFile, "holding": HoldingFile,
    "services": Services,
}  # fmt: skip
"""Name of a TOML file -> its record."""
PER_SECTOR = 2
"""Anchors of each sector in the example."""


def file_name(table: Table) -> str:
    """The file a table is written to.

    Examples
    --------
    >>> [file_name(table) for table in TABLES[:2]]
    ['survey.csv', 'teams.csv']
    """
    return f"{table.name}.csv"


def example_tables(demo: Path) -> dict[Table, pd.DataFrame]:
    """Every table with all its columns, as text, filled from the folder of the demo's files."""
    return {table: _example(table, demo) for table in (REGISTER, *TABLES)}


def _example(table: Table, demo: Path) -> pd.DataFrame:
    """Cells of the demo under every column of a table."""
    if table is PRICES:
        return _priced(demo / "prices.toml")
    own = {REGISTER.name: "anchors.csv", SURVEY.name: "sectors_survey.csv"}
    file = demo / own.get(table.name, file_name(table))
    found = read_csv(file, file.read_bytes(), formats.Request())
    cells = found.cells.set_axis(list(found.headers), axis=1).set_axis(found.rows)
    if table is REGISTER:
        good = read_register(file).anchors
        cells = cells.loc[good.groupby(["crag", "sector"]).head(PER_SECTOR)["source_row"]]
    return cells.reindex(columns=list(table.columns))


def _priced(file: Path) -> pd.DataFrame:
    """Prices of a TOML file as rows of a table."""
    found = read_prices(file)
    rows: list[dict[str, Any]] = [
        {"item": kind, "metal": metal, "price": price}
        for (kind, metal), price in found.anchors.items()
    ]
    rows += [{"item": cost, "price": getattr(found, cost)} for cost in COSTS]
    return pd.DataFrame(rows, columns=list(PRICES.columns)).assign(
        currency=found.currency, example="yes" if found.example else "no"
    )


def example_settings(demo: Path) -> dict[str, dict[str, Any]]:
    """Names and values of each of the demo's settings files."""
    return {name: settings.read_toml(demo / f"{name}.toml", name) for name in SETTINGS}


def toml_of(model: type, values: Mapping[str, Any] | None = None) -> str:
    """A settings file with every name: those with a value set, the others as comments.

    Parameters
    ----------
    model : type
        A record of `settings.record` that has a default for every name.
    values : mapping, optional
        What a TOML file says.

    Examples
    --------
    >>> toml_of(Options, {"axial_kn": 20}).splitlines()[-4]
    'axial_kn = 20'
    """
    lines = _lines(settings.schema_of(model), values or {}, model(), "")
    return "\n".join(lines).strip() + "\n"


def _lines(
    schema: Mapping[str, Any], values: Mapping[str, Any], defaults: Any, table: str
) -> list[str]:
    """Lines of the names of a table: plain ones first, as TOML wants, then tables in it."""
    plain, inner = [], []
    for name, part in schema["properties"].items():
        if part.get("readOnly"):
            continue
        part = settings.without_none(part)
        path = f"{table}.{name}" if table else name
        default = getattr(defaults, name) if is_dataclass(defaults) else part.get("default")
        about = _comment(part, default)
        mark = "" if name in values else "# "
        given = values.get(name, default)
        items = part.get("items", {})
        if "properties" in items:
            for entry in given or [{}]:
                inner += ["", *about, f"{mark}[[{path}]]"] + _lines(items, entry, None, path)
        elif part.get("type") == "object":
            inner += ["", *about, f"{mark}[{path}]"]
            if "properties" in part:
                inner += _lines(part, values.get(name, {}), default, path)
            else:
                filled = values.get(name, {})
                known = part.get("propertyNames", {}).get("enum", () if filled else ["name"])
                rest = default or {key: _sample(part["additionalProperties"]) for key in known}
                inner += [f"{_key(k)} = {_toml(v)}" for k, v in filled.items()]
                inner += [f"# {_key(k)} = {_toml(v)}" for k, v in rest.items() if k not in filled]
        else:
            shown = _sample(part) if given is None else given
            plain += ["", *about, f"{mark}{name} = {_toml(shown)}"]
    return plain + inner


def _comment(part: Mapping[str, Any], default: Any) -> list[str]:
    said = settings.wanted(part)
    if isinstance(default, str | float | int) and default != "":
        said += f"; default {_toml(default)}"
    meaning = " ".join(part.get("description", "").split()).rstrip(".")
    return [f"# {meaning} ({said})"]


def _sample(part: Mapping[str, Any]) -> Any:
    """A value of the right kind where there is no default."""
    if part.get("format") == "date":
        return date(2027, 4, 30)
    if part.get("enum"):
        return part["enum"][0]
    low = part.get("minimum", part.get("exclusiveMinimum", 0))
    return {"number": float(low), "integer": low, "boolean": False}.get(
        str(part.get("type")), "..."
    )


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else (
        json.dumps(name, ensure_ascii=False)
    )  # fmt: skip


def _toml(value: Any) -> str:
    """A value as TOML writes it."""
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(v) for v in value) + "]"
    return json.dumps(value, ensure_ascii=False)
