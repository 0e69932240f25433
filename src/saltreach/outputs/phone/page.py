"""The page for a phone: one self-contained HTML file a trip, which records and gives back."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from saltreach.folders.files import atomic_write
from saltreach.outputs.html import asset_text, json_block, page_policy, render_template
from saltreach.outputs.phone.fields import form_columns
from saltreach.outputs.phone.texts import ENGLISH, catalogue
from saltreach.outputs.pictures.plots import safe_name
from saltreach.planning.trip import Trip
from saltreach.science.rock.adhesive import WET_HOLE_FACTOR
from saltreach.vocabulary.columns import columns_of
from saltreach.vocabulary.words import (
    CAUTION,
    DONE,
    FINDINGS,
    HOLE_CONDITIONS,
    LOOKED_AT,
    NOT_REACHED,
    PLACED,
    REPLACED,
)

SCRIPTS = tuple(
    f"phone/{name}.js"
    for name in (
        "base",
        "rules",
        "store",
        "zip",
        "photos",
        "form",
        "place",
        "anchor",
        "list",
        "giving",
        "start",
    )
)
"""In order: each uses only what stands before it, but for the views, which call each other."""
FORMAT, VERSION = "saltreach return", 1
"""Of the return file."""
DEEPER_MM = 15.0
"""A hole more than this deeper than its piece is mentioned: common practice, no source."""
CLOCK_DAYS = 60
"""A phone further than this from the day of the trip is told of its clock: judgement."""
KEPT_UNREACHED = ("done", "remark", "photo")
"""What a record of an anchor that was not reached gives back."""
DAMAGE = FINDINGS[FINDINGS.index("rust flakes") :]
"""Findings that contradict a sound anchor: judgement."""
WORKER, ICON = "phone-worker.js", "phone-icon.svg"
"""Written once beside the pages; of use only where the folder is served."""


def write_phone(trips: Iterable[Trip], folder: Path, *, language: str = ENGLISH) -> list[Path]:
    """Write the page of each trip, and what lets a browser install it where it is served.

    Parameters
    ----------
    trips : iterable of Trip
        From `saltreach.planning.trips.trips_of`. Where one carries no `cure_times`, the phone
        gives no curing time.
    folder : pathlib.Path
        Where the files go; files of the same names are replaced.
    language : str
        See `saltreach.outputs.phone.texts.catalogue`.

    Returns
    -------
    list of pathlib.Path
        ``phone-TRIP.html`` and its manifest for each trip, then the shared files; none where there
        is no trip.

    Raises
    ------
    OptionError
        When there are no texts in that language.
    """
    written: list[Path] = []
    taken: set[str] = set()
    for trip in trips:
        stem = _free_name(f"phone-{safe_name(trip.trip)}", taken)
        page = phone_page(trip, language=language, manifest=f"{stem}.webmanifest")
        written.append(atomic_write(folder / f"{stem}.html", page))
        written.append(atomic_write(folder / f"{stem}.webmanifest", _manifest(trip, stem)))
    if written:
        written += [
            atomic_write(folder / name, asset_text(f"phone/{name}") + "\n")
            for name in (WORKER, ICON)
        ]
    return written


def phone_page(trip: Trip, *, language: str = ENGLISH, manifest: str = "phone.webmanifest") -> str:
    """The page of one trip as HTML. The same input gives the same text.

    Parameters
    ----------
    trip : Trip
        Exact positions are in it: the page is for the team, never for a landowner.
    language : str
        As for `write_phone`.
    manifest : str
        Name of the file beside it that names the page to a browser.

    Returns
    -------
    str
        One page with everything in it. It asks for nothing but, where it is served, the manifest
        and the worker beside it.

    Raises
    ------
    OptionError
        When there are no texts in that language.
    """
    texts = catalogue(language)
    scripts = [asset_text(name) for name in SCRIPTS]
    style = asset_text("phone/phone.css")
    policy = page_policy(scripts, [style], ["blob:"])
    return render_template(
        "phone/phone.html",
        title=trip.title or trip.trip,
        texts=texts,
        caution=CAUTION,
        policy=f"{policy}; connect-src 'none'; manifest-src 'self'; worker-src 'self'",
        style=style,
        scripts=scripts,
        block=json_block(phone_data(trip, texts, manifest), "phone-data"),
    )


def phone_data(trip: Trip, texts: Mapping[str, str], manifest: str) -> dict[str, Any]:
    """What the scripts of the page read."""
    columns = form_columns()
    return {
        "format": FORMAT,
        "version": VERSION,
        "trip": asdict(trip),
        "columns": columns,
        "groups": list(dict.fromkeys(column["group"] for column in columns)),
        "order": list(columns_of("returns")),
        "done": DONE,
        "looked_at": LOOKED_AT,
        "not_reached": NOT_REACHED,
        "placing": (PLACED, REPLACED),
        "damage": DAMAGE,
        "dry_hole": HOLE_CONDITIONS[0],
        "deeper_mm": DEEPER_MM,
        "clock_days": CLOCK_DAYS,
        "kept_unreached": KEPT_UNREACHED,
        "cure": _cure(trip) if trip.cure_times else None,
        "texts": texts,
        "beside": {"manifest": manifest, "worker": WORKER},
    }


def _cure(trip: Trip) -> dict[str, Any]:
    """The data sheet column by column."""
    columns = {name: [row[name] for row in trip.cure_times] for name in trip.cure_times[0]}
    return {**columns, "source": trip.cure_source, "wet_factor": WET_HOLE_FACTOR}


def _free_name(stem: str, taken: set[str]) -> str:
    name, number = stem, 1
    while name.casefold() in taken:
        number += 1
        name = f"{stem}-{number}"
    taken.add(name.casefold())
    return name


def _manifest(trip: Trip, stem: str) -> str:
    name = trip.title or trip.trip
    told = {
        "name": name,
        "short_name": name[:12],
        "id": f"{stem}.html",
        "start_url": f"{stem}.html",
        "scope": ".",
        "display": "standalone",
        "background_color": "#f4f1e9",
        "theme_color": "#1d4d3d",
        "icons": [{"src": ICON, "sizes": "any", "type": "image/svg+xml"}],
    }
    return json.dumps(told, ensure_ascii=False, indent=1) + "\n"
