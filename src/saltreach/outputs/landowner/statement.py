"""The landowner's statement: one page of A4 that says what the landowner's map says."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from saltreach.outputs.html import asset_text
from saltreach.outputs.landowner.drawing import map_svg

MOST_PLACES = 14
"""Rows tried at first; as many as fit are shown, the worst first, and the rest are counted."""


def statement_pdf(data: Mapping[str, Any]) -> bytes:
    """The statement as PDF (PDF/UA-1: tagged, so that a screen reader can read it).

    Parameters
    ----------
    data : mapping
        From `saltreach.outputs.landowner.words.landowner_words`.

    Returns
    -------
    bytes
        The same for the same data: its date is the day the assessment speaks for. Text reaches
        the typesetter as JSON values, never as its source, so no name can run as markup. Fonts
        come with the typesetter and with matplotlib, none from the system.
    """
    import matplotlib
    import typst

    source = asset_text("landowner/statement.typ").encode("utf-8")
    fonts = [str(Path(matplotlib.get_data_path()) / "fonts" / "ttf")]
    shared = {key: value for key, value in data.items() if key != "map"}
    shared |= {
        "svg": map_svg(data, standalone=True),
        "has_outline": bool(data["map"]["outline"]),
    }
    for rows in range(min(len(data["places"]), MOST_PLACES), 0, -1):
        rest = data["places"][rows:]
        values = shared | {
            "places": data["places"][:rows],
            "more": _more(rest, data["texts"]) if rest else "",
        }
        settings: dict[str, Any] = {
            "font_paths": fonts,
            "ignore_system_fonts": True,
            "sys_inputs": {"data": json.dumps(values, ensure_ascii=False)},
        }
        if json.loads(typst.query(source, "<pages>", field="value", one=True, **settings)) == 1:
            break
    compiled = typst.compile(
        source,
        timestamp=datetime.fromisoformat(data["day"]).replace(tzinfo=UTC),
        pdf_standards=["ua-1"],
        format="pdf",
        **settings,
    )
    return bytes(compiled)


def _more(places: list[dict[str, Any]], texts: Mapping[str, Any]) -> str:
    counts = Counter(place["band_text"] for place in places)
    bands = ", ".join(f"{n} {band}" for band, n in counts.items())
    return str(texts["more_places"].format(n=len(places), bands=bands))
