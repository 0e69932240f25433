"""Packs of invented shores, written as `saltreach layers bring` writes them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from saltreach.layers.layer import Origin
from saltreach.layers.online.part import Brought
from saltreach.layers.osm_shore import BoxShore
from saltreach.layers.pack import write_part
from saltreach.layers.packed_coast import COAST_FILE, write_coast

NOW = "2026-01-02T00:00:00+00:00"


def coast_pack(folder: Path, shores: Sequence[BoxShore], origin: Origin) -> str:
    """A pack with a shore alone; its folder, as options take it."""

    def make(work: Path) -> Brought:
        write_coast(work / COAST_FILE, shores)
        return Brought((origin,), ())

    write_part(folder, "coast", make, now=NOW)
    return str(folder)
