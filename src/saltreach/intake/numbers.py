"""Numbers as people write them: decimal commas, thousands, units, about so much."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import NamedTuple

import numpy as np
import pandas as pd

from saltreach.intake.dates import Parsed, empty_text
from saltreach.intake.distinct import distinct
from saltreach.vocabulary.columns import Column
from saltreach.vocabulary.units import factor
from saltreach.vocabulary.words import counted

PLAIN = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_COMMA = r"[+-]?[0-9]+,[0-9]+"
_GROUPED = re.compile(r"([+-]?)([0-9]{1,3}(?:([ '.,])[0-9]{3})(?:\3[0-9]{3})*)(?:([.,])([0-9]+))?")
# 1,234 is 1.234 in one country and 1234 in another; a leading zero leaves one reading only.
_EITHER = re.compile(r"[+-]?[1-9][0-9]{0,2}([.,])[0-9]{3}")
_ABOUT = re.compile(
    r"(?:~|≈|±|c(?:irc)?a\.?|approx\.?|about|etwa|ungefähr|env\.?|environ|aprox\.?|unos)\s*"
    r"(?=[0-9+-])",
    re.IGNORECASE,
)
_RANGE = re.compile(
    r"(?:[<>≤≥]|min\.?|max\.?|unter|über|ab|bis|under|over|up to)\s*[0-9].*|"
    r"[0-9.,]+\s*(?:-|–|—|\.\.+|/|bis|to|a|à|until)\s*[0-9.,]+(?:\s*[^0-9\s].*)?",
    re.IGNORECASE,
)
_INCHES = re.compile(r"(?:([0-9]+)[ -])?([0-9]+)/([0-9]+)\s*(\D+)")
_WITH_UNIT = re.compile(r"([+-]?[0-9][0-9 '.,]*?)\s*([^0-9\s.,'+-][^0-9]*[²³23]?)")
_SIZE = re.compile(r"^(?:[Øø⌀]|diam\.?|M(?=[0-9]))\s*")
_REMARK = re.compile(r"(.*[0-9].*?)\s*\(.*\)")
COMMA, GROUPS, UNIT = "with a decimal comma", "with a mark between thousands", "with its unit"
_SPACES = str.maketrans({"\N{MINUS SIGN}": "-", "\N{NO-BREAK SPACE}": " ", "\N{THIN SPACE}": " ",
                         "\N{NARROW NO-BREAK SPACE}": " ", "\N{RIGHT SINGLE QUOTATION MARK}": "'",
                         "½": " 1/2", "¼": " 1/4", "¾": " 3/4"})  # fmt: skip


class Evidence(NamedTuple):
    """How many different cells show a decimal comma, and how many at least show a point."""

    commas: int = 0
    points: int = 0

    @property
    def mark(self) -> str | None:
        """The decimal mark that all of them have; None where there is none or both."""
        if bool(self.commas) == bool(self.points):
            return None
        return "," if self.commas else "."


def evidence(text: pd.Series) -> Evidence:
    """What the cells of a column show of the decimal mark.

    Parameters
    ----------
    text : Series of str
        Cells; NaN where empty.

    Examples
    --------
    >>> evidence(pd.Series(["12,5", "1,234", "8 mm"])).mark
    ','
    """
    with_comma, with_point = (
        pd.Series(text[text.str.contains(sign, regex=False, na=False)].unique(), dtype="str")
        for sign in (",", ".")
    )
    commas = int(_shown(with_comma, _DECIMAL_COMMA).sum())
    points = 0
    for part in (with_point[:_ENOUGH], with_point[_ENOUGH:]):
        points = points or int(_shown(part, _DECIMAL_POINT).sum())
    return Evidence(commas, points)


_DECIMAL_COMMA = r"[+-]?(?:[0-9]{1,3}(?:[. '][0-9]{3})+|[0-9]+),[0-9]+"
_DECIMAL_POINT = r"[+-]?(?:[0-9]{1,3}(?:[, '][0-9]{3})+|[0-9]+)\.[0-9]+"
_ENOUGH = 1_000


def _shown(cells: pd.Series, pattern: str) -> pd.Series:
    """Where cells hold a number that a pattern alone can read."""
    number = cells.str.translate(_SPACES).str.extract(r"^\D{0,3}?([+-]?[0-9][0-9.,' ]*)")[0]
    number = number.str.strip()
    return number.str.fullmatch(pattern, na=False) & ~number.str.fullmatch(
        _EITHER.pattern, na=False
    )


class _Read(NamedTuple):
    """One cell: its number (NaN where there is none), how it was read, and what is wrong."""

    value: float = np.nan
    how: tuple[str, ...] = ()
    reason: str = ""
    fix: str = ""
    about: bool = False


def _within(column: Column, value: float) -> bool:
    low, high = column.low, column.high
    return (low is None or value >= low) and (high is None or value <= high)


def _bounded(column: Column) -> bool:
    return column.low is not None and column.high is not None and column.kind != "integer"


def _number(text: str, column: Column, mark: str | None, scale: float = 1.0) -> _Read:
    """A number alone, with decimal mark and thousands; `scale` brings it to the column's unit."""
    either = _EITHER.fullmatch(text)
    if either:
        sign = either[1]
        decimal, thousands = float(text.replace(sign, ".")), float(text.replace(sign, ""))
        reads = [_within(column, number * scale) for number in (decimal, thousands)]
        place = column.name in ("lon", "lat")
        if sign == "." and (mark != "," or place or (_bounded(column) and not reads[1])):
            return _Read(decimal)
        if _bounded(column) and reads[0] != reads[1]:
            return _Read(decimal, (COMMA,)) if reads[0] else _Read(thousands, (GROUPS,))
        if mark is not None:
            if mark == sign:
                return _Read(decimal, (COMMA,) if sign == "," else ())
            return _Read(thousands, (GROUPS,))
        return _Read(
            reason="the comma may mark decimals or thousands",
            fix=f"write {text.replace(sign, '.')} or {text.replace(sign, '')}",
        )
    if re.fullmatch(PLAIN, text):
        return _Read(float(text))
    if re.fullmatch(_COMMA, text):
        return _Read(float(text.replace(",", ".")), (COMMA,))
    grouped = _GROUPED.fullmatch(text)
    if grouped and grouped[3] != grouped[4]:
        whole = re.sub(r"\D", "", grouped[2])
        return _Read(float(f"{grouped[1]}{whole}.{grouped[5] or 0}"), (GROUPS,))
    return _Read(reason="not a number")


def _cell(given: str, column: Column, mark: str | None, unit: str | None) -> _Read:
    """One cell that is no plain number."""
    text = " ".join(given.translate(_SPACES).split())
    unit_text = f" in {column.unit}" if column.unit else ""
    scale = 1.0 if unit is None else (factor(unit, column.unit) or 1.0)
    about = bool(_ABOUT.match(text))
    if about:
        text = text[_ABOUT.match(text).end() :]  # type: ignore[union-attr]
    if factor("mm", column.unit):
        text = _SIZE.sub("", text)
    remark = _REMARK.fullmatch(text)
    if remark:
        text = remark[1]
    found = _number(text, column, mark, scale)
    if found.reason == "not a number":
        measured = _with_unit(text, column, mark, unit_text)
        if measured is not None:
            found = measured
        elif _RANGE.fullmatch(text):
            found = _Read(reason="a range or a limit, not one number")
    elif not found.reason and unit is not None:
        found = found._replace(value=_scaled(found.value, scale))
    if found.reason:
        return found
    if about or remark:
        said = "about so much" if about else "with a remark"
        return found._replace(about=True, reason=f"{said}; {found.value:.10g}{unit_text} is used")
    return found


def _scaled(value: float, scale: float) -> float:
    return float(f"{value * scale:.12g}")


def _with_unit(text: str, column: Column, mark: str | None, unit_text: str) -> _Read | None:
    """A number with its unit; None where the cell is no such thing."""
    inches = _INCHES.fullmatch(text)
    if inches and int(inches[3]):
        scale = factor(inches[4], column.unit)
        number = int(inches[1] or 0) + Fraction(int(inches[2]), int(inches[3]))
        if scale is not None:
            return _Read(_scaled(float(number), scale), (f"in {inches[4].strip()}",))
    split = _WITH_UNIT.fullmatch(text)
    if not split:
        return None
    scale = factor(split[2], column.unit)
    if scale is None:
        return _Read(
            reason="more than a number in the cell",
            fix=f"write the number alone{unit_text}, without unit or sign",
        )
    found = _number(split[1].strip(), column, mark, scale)
    if found.reason:
        return found
    how = (*found.how, UNIT if scale == 1 else f"in {split[2].strip()}")
    return found._replace(value=_scaled(found.value, scale), how=how)


def parse_numbers(
    text: pd.Series, column: Column, *, mark: str | None = None, unit: str | None = None
) -> tuple[Parsed, list[str]]:
    """Read numbers as people write them, where only one reading is possible.

    Parameters
    ----------
    text : Series of str
        Cells without surrounding blanks; NaN where empty.
    column : Column
        The column, for its unit, its range and whether it holds whole numbers. That a number
        lies in the range is not checked here (`check.range_problems` does).
    mark : str, optional
        Decimal mark of the rest of the table, `,` or `.`, where that is known. What the column
        itself shows goes before it.
    unit : str, optional
        Unit of numbers without one, as the header says; the column's own where not given.

    Returns
    -------
    parsed : Parsed
        Float values in the column's unit, NaN where empty or unreadable, with reason and fix. A
        number given as "about" so much has its value and a reason too.
    notes : list of str
        How numbers were read that are not plain, with counts.
    """
    found = distinct(text)
    parsed, how = _parse_distinct(found.texts, found.counts, column, mark, unit)
    return Parsed(*(found.spread(one, text.index) for one in parsed)), _told(column, how)


def _parse_distinct(
    text: pd.Series, counts: np.ndarray, column: Column, mark: str | None, unit: str | None
) -> tuple[Parsed, dict[str, int]]:
    """Numbers of different cells, and how many cells are written in which way."""
    reason, fix = empty_text(text.index), empty_text(text.index)
    # float() of Python reads every digit; the parsers of pandas may miss the last one.
    values = pd.Series(np.nan, index=text.index, dtype=float)
    as_plain = text.str.fullmatch(PLAIN, na=False)
    own = evidence(text)
    mark = own.mark or mark
    if mark == "," and column.name not in ("lon", "lat"):
        as_plain &= ~text.str.fullmatch(_EITHER.pattern, na=False)
    scale = 1.0 if unit is None else factor(unit, column.unit)
    values.loc[as_plain] = text[as_plain].to_numpy(object).astype(float)
    if scale is None:
        scale = 1.0
    elif scale != 1.0:
        values.loc[as_plain] = [_scaled(v, scale) for v in values[as_plain]]
    as_comma = text.str.fullmatch(_COMMA, na=False) & ~text.str.fullmatch(_EITHER.pattern, na=False)
    dotted = text[as_comma].str.replace(",", ".", regex=False).to_numpy(object).astype(float)
    values.loc[as_comma] = dotted if scale == 1.0 else [_scaled(v, scale) for v in dotted]
    how: dict[str, int] = {COMMA: int(counts[as_comma].sum())} if as_comma.any() else {}
    other = text[text.notna() & ~as_plain & ~as_comma]
    unit_text = f" in {column.unit}" if column.unit else ""
    empty = "" if column.required else ", or leave it empty"
    whole = column.kind == "integer"
    kind = "whole number" if whole else "plain number"
    default = f"write a {kind}{unit_text}, like {'12' if whole else '12.5'}"
    read = {given: _cell(given, column, mark, unit) for given in other.unique()}
    if read:
        values.loc[other.index] = other.map({g: r.value for g, r in read.items()}).astype(float)
        wrong = other[other.map({g: bool(r.reason) for g, r in read.items()}).astype(bool)]
        reason.loc[wrong.index] = wrong.map({g: r.reason for g, r in read.items()})
        fixes = {g: (r.fix or default) + empty * (not r.about) for g, r in read.items()}
        fix.loc[wrong.index] = wrong.map(fixes)
        for given, count in zip(other, counts[other.index], strict=True):
            for way in read[given].how:
                how[way] = how.get(way, 0) + int(count)
    infinite = text.notna() & reason.isna() & ~np.isfinite(values)
    reason.loc[infinite], fix.loc[infinite] = "not a finite number", default + empty
    if whole:
        broken = values.notna() & (values % 1 != 0) & (reason.isna() | values.notna())
        listed = column.meaning[0].isdigit()  # 0 sound, 1 marked ...
        how_to = f"write one of: {column.meaning}" if listed else "write a whole number"
        reason.loc[broken], fix.loc[broken] = "not a whole number", how_to + empty
        values = values.where(~broken)
    values = values.where(np.isfinite(values))
    if unit is not None and scale != 1.0:
        how[f"in {unit}, as the header says"] = int(counts[values.notna()].sum())
    return Parsed(values, reason, fix), how


def _told(column: Column, how: dict[str, int]) -> list[str]:
    """One sentence for each way of writing."""
    notes = []
    for way, count in how.items():
        cells = counted(count, "cell")
        unit = f", read in {column.unit}" if way.startswith("in ") else ""
        notes.append(f"{column.name}: {cells} written {way}{unit}")
    return notes
