"""One file, checked as what it is: what was understood, refused, in doubt, and a clean copy."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from saltreach.errors import OptionError
from saltreach.intake.cells import text_of
from saltreach.intake.holding import HoldingFile, read_holding
from saltreach.intake.kinds import BY_NAME, REGISTER, SETTINGS
from saltreach.intake.options import read_options
from saltreach.intake.policy import read_policy
from saltreach.intake.prices import read_prices
from saltreach.intake.read import read_register
from saltreach.intake.services import read_services
from saltreach.intake.settings import checked as as_record
from saltreach.intake.settings import read_toml
from saltreach.intake.sheets import NUMBERS, read_table
from saltreach.intake.tables import PRICES
from saltreach.vocabulary.columns import REGISTER as REGISTER_COLUMNS
from saltreach.vocabulary.columns import REJECTED_COLUMNS


@dataclass(frozen=True)
class Checked:
    """What a file holds.

    Attributes
    ----------
    kind, file : str
        What it was checked as, and its name.
    rows, accepted : int
        Rows of entries, and those that can be used.
    rejected, doubts : DataFrame
        Refused rows, and cells of good rows that are unknown or in doubt.
    understood : DataFrame
        One row per column of the file.
    notes : tuple of str
        What was read otherwise, guessed or left out.
    stops : tuple of str
        What of it is not used and stops the commands that read it.
    clean : DataFrame or None
        The good rows as cells in our own form: our columns, texts, numbers; None for settings.
    """

    kind: str
    file: str
    rows: int
    accepted: int
    rejected: pd.DataFrame
    doubts: pd.DataFrame
    understood: pd.DataFrame
    notes: tuple[str, ...]
    clean: pd.DataFrame | None
    stops: tuple[str, ...] = ()

    def record(self) -> dict[str, Any]:
        """The check as plain values."""
        lists = {
            name: getattr(self, name).astype(object).where(getattr(self, name).notna(), None)
            for name in ("rejected", "doubts", "understood")
        }
        return {
            "kind": self.kind,
            "file": self.file,
            "rows": self.rows,
            "accepted": self.accepted,
            "notes": list(self.notes),
            "stops": list(self.stops),
            **{name: table.to_dict("records") for name, table in lists.items()},
        }


def checked(path: Path | pd.DataFrame, kind: str, **reading: Any) -> Checked:
    """Read a file as a register, a table beside it or settings.

    Parameters
    ----------
    path : Path or DataFrame
        The file; a register may be a frame.
    kind : str
        One of `kinds.KINDS`.
    **reading
        As of `read_register`; of other tables only the sheet.

    Raises
    ------
    SaltreachError
        The file cannot be used at all, or settings say what is impossible.
    """
    none = pd.DataFrame(columns=list(REJECTED_COLUMNS))
    if isinstance(path, pd.DataFrame) or kind == REGISTER:
        found = read_register(path, **reading)
        ours = [c.name for c in REGISTER_COLUMNS]
        filled = [n for n in ours if n in set(found.understood["column"]) | {"lon", "lat"}]
        return Checked(
            kind, found.file, found.rows_read, len(found.anchors), found.rejected, found.doubts,
            found.understood, found.notes, _plain(found.anchors[filled]),
        )  # fmt: skip
    if path.suffix.lower() == ".toml":
        _settings(path, kind)
        return Checked(kind, path.name, 1, 1, none, none, pd.DataFrame(), (), None)
    sheet = read_table(path, BY_NAME[kind], sheet=reading.get("sheet"))
    columns = BY_NAME[kind].columns
    named = set(sheet.understood["column"])
    cells = {
        name: [
            row[name] if column.kind in NUMBERS else text_of(row[name], column)
            for row in sheet.rows
        ]
        for name, column in columns.items()
        if name in named
    }
    return Checked(
        kind, sheet.file, sheet.rows_read, len(sheet.rows), sheet.rejected, none,
        sheet.understood, sheet.notes, pd.DataFrame(cells, dtype=object),
        tuple(map(str, sheet.near)),
    )  # fmt: skip


def _plain(anchors: pd.DataFrame) -> pd.DataFrame:
    """Numbers as numbers, the rest as text, nothing known as an empty cell."""
    table = pd.DataFrame(anchors).astype(object)
    return table.where(table.notna() & (table != "unknown"), None)


def _settings(path: Path, kind: str) -> None:
    """Read settings for what they refuse."""
    if kind == "policy":
        read_policy(path, allow_looser=True)
    elif kind == "options":
        read_options(path)
    elif kind == "services":
        read_services(path)
    elif kind == PRICES.name:
        read_prices(path)
    elif kind == "holding":
        given = read_toml(path, "holding")
        if given.get("land") or given.get("crags"):
            read_holding(path)
        else:  # a contact beside a holding's own file says not whose land it is
            as_record(HoldingFile, given, path.name)
    else:
        raise OptionError(f"{path.name}: a TOML file is one of {', '.join(SETTINGS)}, not {kind}")
