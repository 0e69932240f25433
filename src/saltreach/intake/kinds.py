"""What a file is that a user hands in: a register, a table beside it, or settings."""

from __future__ import annotations

import difflib
from pathlib import Path

from saltreach.errors import OptionError
from saltreach.intake import formats, table_files
from saltreach.intake.headers import is_header
from saltreach.intake.holding import HoldingFile
from saltreach.intake.options import Options
from saltreach.intake.own_results import said_of_results
from saltreach.intake.place_columns import register_headers
from saltreach.intake.policy import Policy
from saltreach.intake.prices import PriceFile
from saltreach.intake.read import READERS
from saltreach.intake.services import Services
from saltreach.intake.settings import read_toml, schema_of
from saltreach.intake.strays import Fit, fits
from saltreach.intake.tables import PRICES, TABLES
from saltreach.vocabulary.synonyms import plain

REGISTER = "register"
SETTINGS = {
    "options": Options, "policy": Policy, PRICES.name: PriceFile, "holding": HoldingFile,
    "services": Services,
}  # fmt: skip
"""Kinds of a TOML file, and the record of each."""
BY_NAME = {table.name: table for table in TABLES}
_NO_FIT: Fit = (False, 0, 0.0)
KINDS = (REGISTER, *BY_NAME, *(name for name in SETTINGS if name not in BY_NAME))


def kinds_in(path: Path, asked: str | None = None) -> list[str]:
    """What a file holds; of a workbook each sheet that is named as a table of ours is one.

    Parameters
    ----------
    path : Path
        A table, a GIS file or TOML.
    asked : str, optional
        What the user says it is.

    Returns
    -------
    list of str
        Of `KINDS`, at least one.

    Raises
    ------
    RegisterError
        The file cannot be read.
    OptionError
        Nothing of ours fits; the sentence names the nearest.
    """
    if asked is not None:
        if asked not in KINDS:
            closest = difflib.get_close_matches(asked, KINDS, n=1)
            hint = f"did you mean {closest[0]}? " if closest else ""
            raise OptionError(f"no file is {asked!r}; {hint}Give one of {', '.join(KINDS)}")
        return [asked]
    suffix = path.suffix.lower()
    if suffix == ".toml":
        return [_settings(path)]
    if path.is_dir() or (suffix in READERS and suffix not in table_files.READERS):
        return [REGISTER]
    data = formats.content(path, table_files.READERS, "rows")
    heads = table_files.heads(path, data)
    sheets = [kind for title in heads if (kind := _named(title)) is not None]
    free = [head for title, head in heads.items() if _named(title) is None]
    scores = {REGISTER: max(map(_register_fit, free), default=_NO_FIT)}
    for table in TABLES:
        scores[table.name] = max((fits(head, table) for head in free), default=_NO_FIT)
    best = max(scores, key=lambda kind: (scores[kind], kind == _named(path.stem)))
    if not scores[best][0]:
        if sheets:
            return sheets
        if said := next(filter(None, (said_of_results(head(bool)) for head in free)), ""):
            raise OptionError(f"{path.name}: {said}")
        near = f"; most of its headers are of the table {best}" if scores[best][1] else ""
        raise OptionError(
            f"{path.name}: it has the columns of none of the tables{near}; say what it is "
            f"(--as {' or '.join(KINDS[:3])} ...)"
        )
    return [best, *(kind for kind in sheets if kind != best)]


def _named(title: str) -> str | None:
    return next((name for name in (*BY_NAME, REGISTER) if plain(name) == plain(title)), None)


def _register_fit(head: table_files.Head) -> Fit:
    """Whether headers are those of a register, how many of its columns, and of the headers."""
    headers = head(is_header)
    found = register_headers(headers, None, grid=True)
    if found is None:
        return _NO_FIT
    return True, len(found.ours), len(found.ours) / len(headers)


def _settings(path: Path) -> str:
    given = read_toml(path, "settings")
    known = {kind: set(schema_of(model)["properties"]) for kind, model in SETTINGS.items()}
    best = max(known, key=lambda kind: (len(known[kind] & set(given)), kind == path.stem))
    if not known[best] & set(given) and path.stem not in SETTINGS:
        raise OptionError(
            f"{path.name}: it holds no setting of ours; say what it is "
            f"(--as {' or '.join(SETTINGS)})"
        )
    return best
