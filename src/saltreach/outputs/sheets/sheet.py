"""A trip as a PDF to print: what to bring, where, rows to fill in by pencil, and the steps."""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from saltreach.outputs.html import asset_text
from saltreach.outputs.sheets.drawing import qr_svg, stop_svg
from saltreach.outputs.sheets.fields import ROW, form_rows, headers_of, known_of
from saltreach.outputs.sheets.steps import STEPS, step_svg
from saltreach.planning.trip import LOOK, PLACE, Spot, Stop, Trip
from saltreach.science.rock.adhesive import WET_HOLE_FACTOR
from saltreach.vocabulary.words import BANDS, INSPECT, OUT_OF_USE, REBOLT, REPLACED

QR_LETTERS = 600
"""Most letters in the code, so that its squares stay large enough to be read."""
FORMS = {INSPECT: LOOK, REBOLT: PLACE}
"""Form by the kind of a visit."""
SMALL_LETTERS = {LOOK: 380, PLACE: 520}
"""Letters of the small print of an anchor that still leave room for as many on a page."""
VALUE_LETTERS = 90
"""Most letters of a value of the register in it."""


@cache
def _words(name: str, key: str) -> dict[str, dict[str, str]]:
    rows = csv.DictReader(asset_text(f"sheets/{name}.csv").splitlines())
    return {row[key]: row for row in rows}


def texts() -> dict[str, str]:
    """Words of the sheet by key."""
    return {key: row["en"] for key, row in _words("texts", "key").items()}


def sheet_pdf(trip: Trip) -> bytes:
    """The sheet of a trip as PDF (PDF/UA-1: tagged, so that a screen reader can read it).

    Parameters
    ----------
    trip : Trip
        From `saltreach.planning.trips.trips_of`.

    Returns
    -------
    bytes
        The same for the same trip: its date is that of the results. Text reaches the typesetter
        as JSON values, never as its source, so no name can run as markup. Fonts come with the
        typesetter and with matplotlib, none from the system.
    """
    import typst

    made = typst.compile(
        asset_text("sheets/sheet.typ").encode("utf-8"),
        font_paths=_fonts(),
        sys_inputs={"data": json.dumps(sheet_data(trip), ensure_ascii=False)},
        timestamp=datetime.fromisoformat(trip.made_from),
        pdf_standards=["ua-1"],
        format="pdf",
    )
    return bytes(made)


@cache
def _fonts() -> Any:
    """Looked up once for all sheets."""
    import matplotlib
    import typst

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return typst.Fonts(include_system_fonts=False, font_paths=[str(folder)])


def sheet_data(trip: Trip) -> dict[str, Any]:
    """Everything the typesetter is told, as plain values."""
    said = texts()
    stops = [_stop(stop, FORMS[stop.kind], said) for stop in trip.stops]
    placing = any(stop.kind == REBOLT for stop in trip.stops)
    own = asdict(trip) | {
        "stops": stops,
        "bring": [
            {"name": said[f"group_{group}"], "rows": rows}
            for group, rows in _grouped(trip.bring).items()
        ],
    }
    return {
        "trip": own,
        "t": said,
        "row": ROW,
        "forms": {
            form: {"stop": form_rows(form, stop=True), "one": form_rows(form, stop=False)}
            for form in FORMS.values()
        },
        "qr": qr_svg("\n".join([trip.trip, *_sectors(trip)])[:QR_LETTERS]),
        "steps": _steps(trip) if placing else [],
        "pieces": _pieces(trip),
        "tell": list(dict.fromkeys(said for stop in trip.stops for said in stop.tell)),
        "cure_rows": _cure_rows(trip),
        "headers": headers_of(dict.fromkeys(stop["form"] for stop in stops)),
    }


def _sectors(trip: Trip) -> list[str]:
    return list(dict.fromkeys(f"{s.crag} / {s.sector}" for s in trip.stops))


def _grouped(bring: tuple[dict[str, Any], ...]) -> dict[str, list[dict[str, Any]]]:
    groups: dict[str, list[dict[str, Any]]] = {}
    for row in bring:
        groups.setdefault(row["group"], []).append(row)
    return groups


def _stop(stop: Stop, form: str, said: Mapping[str, str]) -> dict[str, Any]:
    drawing, left = stop_svg(stop.drawn)
    spots = []
    for spot, values in zip(stop.anchors, asdict(stop)["anchors"], strict=True):
        beside, known, unknown = known_of(spot, form)
        tick = f" {said['tick_done'].format(done=REPLACED)}" if spot.piece else ""
        small = _small(spot, known, unknown, said)
        spots.append(values | {"beside": beside, "small": small, "to_do": spot.to_do + tick})
    closing = [
        said["numbered"].format(n=spot.order, anchor=spot.anchor_id)
        for spot in stop.anchors
        if spot.action == OUT_OF_USE
    ]
    where = {name: f"{degrees:.4f}" for name, degrees in stop.position.items()}
    note = said["drawing_map"] if stop.drawn["kind"] == "map" else said["drawing_line"]
    return asdict(stop) | {
        "form": form,
        "what": said[f"stop_{stop.kind}"],
        "heading": said[f"form_{stop.kind}"],
        "anchors": spots,
        "svg": drawing,
        "drawing_alt": said["drawing_alt"].format(stop=f"{stop.crag} / {stop.sector}"),
        "drawing_note": note + (" " + said["left_unnumbered"].format(n=left) if left else ""),
        "cure": _cure(stop.cure, said),
        "closing": f"{said[f'close_{stop.kind}']}: {'; '.join(closing)}" if closing else "",
        "position": said["position"].format(**where) if where else "",
        "bars": BANDS.index(stop.risk_band) + 1 if stop.risk_band in BANDS else 0,
    }


def _small(
    spot: Spot, known: Sequence[Mapping[str, str]], unknown: Sequence[str], said: Mapping[str, str]
) -> str:
    """The small print of an anchor: what is known, least distances, and whole sentences on why."""
    values = [f"{k['label']} {_short(k['value'], VALUE_LETTERS)}" for k in known]
    parts = [f"{said['known']}: {'; '.join(values)}."] if values else []
    parts += [f"{said['unknown'].capitalize()}: {', '.join(unknown)}."] if unknown else []
    if spot.spacing:
        parts.append(said["distances"].format(**{k: f"{v:g}" for k, v in spot.spacing.items()}))
    most = SMALL_LETTERS[spot.form]
    for word, sentences, least in (
        (said["why"], spot.reasons, 1),
        (said["mind"], spot.warnings, 0),
    ):
        left = most - sum(len(part) + 1 for part in parts) - len(word) - 2
        whole = whole_sentences(sentences, left, least=least)
        parts += [f"{word}: {whole}"] if whole else []
    return " ".join(parts)


def whole_sentences(sentences: Sequence[str], most: int, *, least: int = 1) -> str:
    """The first of some sentences, none of them cut, in as many letters as there is room for.

    Parameters
    ----------
    sentences : sequence of str
        The most pressing first.
    most : int
        Letters.
    least : int
        So many are kept even where there is no room.

    Examples
    --------
    >>> whole_sentences(["It is loose.", "It is thin.", "No."], 24)
    'It is loose. It is thin.'
    >>> whole_sentences(["It is loose."], 5), whole_sentences(["It is loose."], 5, least=0)
    ('It is loose.', '')
    """
    kept: list[str] = []
    for sentence in sentences:
        if len(kept) >= least and len(" ".join([*kept, sentence])) > most:
            break
        kept.append(sentence)
    return " ".join(kept)


def _short(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _cure_rows(trip: Trip) -> list[list[str]]:
    """The data sheet: temperature, sets in, may be loaded, in a wet hole."""
    return [
        [
            f"{row['rock_temperature_c']:g} °C", minutes_text(row["gel_min"], down=True),
            minutes_text(row["cure_min"]), minutes_text(row["cure_min"] * WET_HOLE_FACTOR),
        ]
        for row in trip.cure_times
    ]  # fmt: skip


def _cure(cure: Mapping[str, Any] | None, said: Mapping[str, str]) -> list[str]:
    """The times of the adhesive in sentences; none for a stop where nothing is placed."""
    if cure is None:
        return []
    degrees = cure["temperature_c"]
    if cure["cure_min"] is None:
        shown = said["unknown"] if degrees is None else f"{degrees:g} °C"
        return [said["cure_unknown"], f"{shown}: {cure['temperature_from']}.", cure["note"]]
    line = said["cure_line"].format(
        temperature=f"{degrees:g}", source=cure["temperature_from"],
        gel=minutes_text(cure["gel_min"], down=True), cure=minutes_text(cure["cure_min"]),
        wet=minutes_text(cure["cure_wet_min"]),
    )  # fmt: skip
    return [line, said["cure_source"].format(source=cure["source"])]


def minutes_text(minutes: float, *, down: bool = False) -> str:
    """A time in words, on the safe side: rounded up, and down the time until something sets.

    Examples
    --------
    >>> minutes_text(25.2), minutes_text(150.0), minutes_text(360.1)
    ('26 min', '2 h 30 min', '6 h 1 min')
    >>> minutes_text(15.9, down=True), minutes_text(0.5, down=True)
    ('15 min', 'under 1 min')
    """
    whole = math.floor(minutes) if down else math.ceil(minutes)
    if whole < 1:
        return "under 1 min"
    hours, rest = divmod(whole, 60)
    return " ".join([*([f"{hours} h"] if hours else []), *([f"{rest} min"] if rest else [])])


def _steps(trip: Trip) -> list[dict[str, str]]:
    rows = _words("steps", "step")
    asked = trip.proof_load_kn is not None
    proof = rows["proof_asked" if asked else "proof_not_asked"]["text"]
    load = f"{trip.proof_load_kn:g}" if asked else ""
    return [
        {
            "title": rows[step]["title"],
            "text": rows[step]["text"].format(proof=proof.format(load=load)),
            "svg": step_svg(step),
            "alt": rows[step]["alt"],
        }
        for step in STEPS
    ]


def _pieces(trip: Trip) -> list[dict[str, Any]]:
    """Each piece of a trip once, with its hole and its least distances."""
    found: dict[str, dict[str, Any]] = {}
    for spot in (s for stop in trip.stops for s in stop.anchors if s.piece):
        found.setdefault(str(spot.piece), {**(spot.piece or {}), **spot.spacing})
    return sorted(found.values(), key=lambda p: (p["label"], p["length_assumed"]))
