"""What an assessment found, in one screen."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from saltreach.assessment.counts import MOST_TO_FIND_OUT, counts
from saltreach.assessment.find_out import WORDS
from saltreach.assessment.reasons import MOST_SHOWN, Listing, some
from saltreach.folders.manifest import resting_elsewhere
from saltreach.vocabulary.words import CAUTION, DO_NOT_PLACE, counted

if TYPE_CHECKING:
    from saltreach.assessment.result import Assessment


def summary(result: Assessment, out: Path) -> dict[str, Any]:
    """What was found and where the map is, as plain values."""
    names = ("columns_read_as", "columns_not_used", "notes")
    read = {"register": {n: result.provenance["register"].get(n) for n in names}}
    page = out / "map.html"
    own = {
        "rest_on_a_former_assessment": resting_elsewhere(out),
        "map": str(page) if page.is_file() else None,
        "caution": CAUTION,
    }
    asked = {}
    if result.flat.tests is not None:
        known = result.flat.tests.astype(object).where(result.flat.tests.notna(), None)
        asked = {"proof_tests": known.to_dict("records")}
    return counts(result) | read | asked | own


def summary_text(result: Assessment, out: Path) -> str:
    """The summary for a person to read."""
    found = summary(result, out)
    failed = Listing("TAKE OUT OF USE TODAY", found["out_of_use_today"])
    lines = [
        *found["left_out"],
        f"{counted(found['anchors'], 'anchor')} in {counted(found['sectors'], 'sector')} of "
        f"{counted(found['crags'], 'crag')} "
        f"assessed, {found['rows_refused']} rows refused"
        + (f" (see {out / 'rejected.csv'})" if found["rows_refused"] else "")
        + ".",
        *doubt_lines(found["cells_in_doubt"], out / "notes.csv"),
        *(f"note: {note}" for note in found["table_notes"]),
        *([f"{failed.short(out / 'saltreach.gpkg')}."] if failed.names else []),
        "Sectors by risk: " + _counted(found["sectors_by_risk_band"]),
        "Anchors: " + _counted(found["anchors_by_action"]) + _closed(found["closed_already"]),
        "Sectors by metal recommended: " + _counted(found["sectors_by_material"]),
        f"Sectors with an overdue inspection: {found['sectors_overdue']}; all intervals kept would "
        f"take {found['visits_per_year']:.0f} sector visits a year.",
        *_rock_lines(found, out),
        "",
        "First in line:",
        *_first(result.flat.sectors),
        *_find_out(result.flat.find_out),
        *_tests(result.flat.tests, out),
        "",
        "Rests on: "
        + " ".join(found["assumptions"][len(found["left_out"]) :][:2])
        + " All assumptions: provenance.json.",
        *(line for line in found["assumptions"] if line.startswith("LOOSER POLICY")),
        *found["rest_on_a_former_assessment"],
        CAUTION,
        f"Map: {found['map'] or f'none yet; saltreach map {shlex.quote(str(out))} draws it'}",
    ]
    return "\n".join(lines)


def _closed(count: int) -> str:
    return f"; {count} closed already" if count else ""


def doubt_lines(count: int, where: Path) -> list[str]:
    """How many cells are in doubt, and where they stand; nothing where none is."""
    if not count:
        return []
    cells = "1 cell is" if count == 1 else f"{count} cells are"
    return [f"{cells} unknown or in doubt: see {where}."]


def reading_lines(register: Mapping[str, Any], where: str) -> list[str]:
    """How a register was read, in a few lines; nothing where all was as we name it.

    Parameters
    ----------
    register : mapping
        The register in the record of an assessment.
    where : str
        Where the rest can be read.
    """
    renamed = register.get("columns_read_as", {})
    told = {f"header {header!r} read as {name}" for name, header in renamed.items()}
    notes = [note for note in register["notes"] if note not in told]
    pairs = [f"{header!r} as {name}" for name, header in renamed.items()]
    columns = f"Columns read under another name: {some(pairs, MOST_SHOWN)}" if pairs else ""
    rest = f"How the register was read, {where}"
    lines = [*([columns] if columns else []), *_short(notes, where)]
    return [f"{rest}:", *(f"  {line}" for line in lines)] if lines else []


def _short(texts: Sequence[str], where: str) -> list[str]:
    """The first few sentences, and how many more there are."""
    more = len(texts) - MOST_SHOWN
    return [*texts[:MOST_SHOWN], *([f"and {more} more ({where})"] if more > 0 else [])]


def _rock_lines(found: dict[str, Any], out: Path) -> list[str]:
    """Rock: bands, kinds, the places to keep off with their reasons, and what to check."""
    lines = [
        "Sectors by rock risk: " + _counted(found["sectors_by_rock_band"]),
        "Sectors by kind of anchor advised: " + _counted(found["sectors_by_kind"]),
        *(
            f"  {place['crag']} / {place['sector']}: {place['spots']} of {place['anchors']} spots "
            f"to move or remove ({DO_NOT_PLACE}). {' '.join(place['reasons'])}"
            for place in found["do_not_place"][:MOST_SHOWN]
        ),
    ]
    if (more := len(found["do_not_place"]) - MOST_SHOWN) > 0:
        lines.append(f"  and {more} more sectors: spots_refused in {out / 'sectors.csv'}")
    if found["rock_disagreements"]:
        lines.append(
            f"Register and geological map name different rocks at {found['rock_disagreements']} "
            "anchors: see their warnings."
        )
    if found["rock_entries_unmapped"]:
        lines.append(
            Listing(
                "Rock entries that name no rock of the table (map them with --rock-mapping)",
                [f"{word} ({n})" for word, n in found["rock_entries_unmapped"].items()],
            ).short(out / "provenance.json")
        )
    return lines


def _counted(counts: dict[str, int]) -> str:
    return ", ".join(f"{n} {word}" for word, n in counts.items() if n) or "none known"


def _first(sectors: pd.DataFrame, count: int = 5) -> list[str]:
    lines = []
    for s in sectors.sort_values("priority_rank").head(count).itertuples(index=False):
        due = s.next_inspection_on or "?"
        by = f", act or close by {s.replace_by}" if s.replace_by else ""
        lines += [
            f"  {s.crag} / {s.sector}: {s.risk_share}; buy {s.material_recommended or '?'}, look "
            f"every {s.inspection_interval_months} months, next {due}"
            + (" (overdue)" if s.overdue == "yes" else "")
            + by,
            f"    {s.priority_reasons}",
        ]
    return lines


def _tests(tests: pd.DataFrame | None, out: Path) -> list[str]:
    """Which anchors to proof test next, one line a batch."""
    if tests is None:
        return []
    asked = tests[tests["to_test"] > 0]
    lines = [
        "",
        f"To be proof tested: {int(tests['to_test'].sum())} anchors ({out / 'tests.csv'}).",
    ]
    for row in asked.head(MOST_SHOWN).itertuples(index=False):
        where = " / ".join(word for word in (row.crag, row.sector) if word)
        first = some(row.test_next.split("; "))
        lines.append(
            f"  {where}, {row.kind}, placed {row.placed_in}: {row.to_test} more at "
            f"{row.test_load_kn:g} kN, next {first}. {row.why}"
        )
    if (more := len(asked) - MOST_SHOWN) > 0:
        lines.append(f"  and {more} more batches")
    return lines


def _find_out(found: pd.DataFrame | None) -> list[str]:
    """The most valuable unknowns of each crag, one line a crag."""
    if found is None or not len(found):
        return []
    best = found.groupby("crag").head(MOST_TO_FIND_OUT)
    value = best.groupby("crag")["decisions_changed"].sum().sort_values(ascending=False)
    lines = ["", "Worth finding out next (sector: how many decisions it would likely change):"]
    for crag in value.index[:MOST_SHOWN]:
        parts: dict[str, list[str]] = {}
        for row in best[best["crag"] == crag].itertuples(index=False):
            parts.setdefault(WORDS[row.find_out], []).append(
                f"{row.sector}: {row.decisions_changed:g}"
            )
        texts = (f"{words} ({', '.join(where)})" for words, where in parts.items())
        lines.append(f"  {crag}: " + "; ".join(texts))
    if len(value) > MOST_SHOWN:
        lines.append(f"  and {len(value) - MOST_SHOWN} more crags: see find_out.csv")
    return lines
