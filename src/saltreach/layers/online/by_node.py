"""Asking a service at the nodes of a grid, and putting several sources into one part of a pack."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import pandas as pd

from saltreach.intake.names import shortened
from saltreach.layers.cells import write_cells
from saltreach.layers.layer import Origin
from saltreach.layers.online.figures import place
from saltreach.layers.online.part import Brought, Call
from saltreach.layers.online.web import Request, ServiceError
from saltreach.layers.where import Where

Row = dict[str, object]
CANNOT = 400
"""Status of a service that can say nothing of one place; the next place is asked."""


class Service(NamedTuple):
    """How a service is asked at the nodes of its grid.

    `asks`: from longitude and latitude to the requests of one node. `read`: from a request and its
    answer's JSON to a part of what it says; raises `ServiceError`. `made`: from the parts to the
    values of the node, and a sentence for each that stays unknown. `pauses`: how many of the
    session's pauses a request waits after one that went out. `most`: requests that go out in a
    run.
    """

    name: str
    source: str
    cell_lon_deg: float
    cell_lat_deg: float
    asks: Callable[[float, float], list[Request]]
    read: Callable[[Request, Any], Any]
    made: Callable[[list[Any]], tuple[Row, list[str]]]
    pauses: float
    most: int

    def nodes(self, where: Where) -> list[tuple[float, float]]:
        """Nodes whose cells hold the places."""
        found = where.nodes(self.cell_lat_deg, self.cell_lon_deg)
        return [(float(lon), float(lat)) for lon, lat in zip(found.lon, found.lat, strict=True)]

    def plan(self, where: Where) -> list[Request]:
        """The most it may ask in one run."""
        asked = [request for node in self.nodes(where) for request in self.asks(*node)]
        return asked[: self.most]


@dataclass
class Had:
    """What one source gave: rows of cells, requests, notes, and why it stopped, if it did."""

    name: str
    rows: list[Row] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    failure: str = ""
    version: str = ""


def ask_nodes(call: Call, service: Service) -> Had:
    """Ask a service at every node around the places, until it fails or the run's share is used up.

    What came before it stopped is kept, and answers are in the session's cache, so that a later
    run goes on where this one ended.
    """
    had, nodes, begun = Had(service.name), service.nodes(call.where), call.web.asked
    for number, node in enumerate(nodes):
        call.tell(f"{service.name}: {number + 1} of {len(nodes)}")
        asked = service.asks(*node)
        if call.web.asked - begun + len(asked) > service.most:
            had.failure = (
                f"{service.name} is asked at most {service.most} times in a run (its limits for "
                "free use): bring this part again later to go on"
            )
            break
        try:
            parts = [_polite(call, service, request) for request in asked]
        except ServiceError as error:
            had.failure = str(error)
            if error.status == CANNOT:
                had.notes.append(f"{place(*node)} stays unknown: {error}")
                continue
            break
        had.requests += [request.shown for request in asked]
        row, unknown = service.made(parts)
        had.notes += [f"{service.name} at {place(*node)}: {said}" for said in unknown]
        had.version = had.version or str(row.pop("version", ""))
        cell = {"cell_lon_deg": service.cell_lon_deg, "cell_lat_deg": service.cell_lat_deg}
        had.rows.append({"source": service.source, "lon": node[0], "lat": node[1], **cell, **row})
    if had.failure and len(had.rows) and len(had.rows) < len(nodes):
        had.failure = f"{len(had.rows)} of {len(nodes)} places only. {had.failure}"
    return had


def _polite(call: Call, service: Service, request: Request) -> Any:
    """One answer, read; a request that went out is followed by the service's pause."""
    before = call.web.asked
    part = call.web.json(request, lambda answer: service.read(request, answer))
    if call.web.asked > before:
        time.sleep(service.pauses * call.web.pause_s)
    return part


def together(
    call: Call,
    what: str,
    file: str,
    columns: Sequence[str],
    sources: Iterable[tuple[Had, Callable[[Had], Origin]]],
    instead: str,
) -> Brought:
    """Write what several sources gave as one table of cells.

    `instead`: what serves where none of them does.

    Raises
    ------
    ServiceError
        None of them gave anything; each is named.
    """
    pairs = [(_usable(had, columns), origin) for had, origin in sources]
    giving = [had for had, _ in pairs if had.rows]
    failed = [had for had, _ in pairs if had.failure]
    if not giving:
        why = "; ".join(had.failure for had in failed) or "there is nobody to ask"
        raise ServiceError(f"no {what} could be brought: {why}")
    notes = []
    for had in failed:
        others = " and ".join(one.name for one in giving if one is not had) or instead
        notes.append(f"{had.failure}. Where it is missing, {others} is used.")
    for had, _ in pairs:
        notes += shortened(had.notes, f"values of {had.name} that stay unknown")
    write_cells(call.folder / file, [row for had in giving for row in had.rows], columns)
    return Brought(
        origins=tuple(_as_asked(origin(had), had) for had, origin in pairs if had.rows),
        requests=tuple(request for had in giving for request in had.requests),
        notes=tuple(notes),
        about={"file": file, "cells": {had.name: len(had.rows) for had in giving}},
    )


NO_VALUE = ("elevation_m", "hours_missing_share")
"""Columns that say of a cell what it is, not of its air."""


def _usable(had: Had, columns: Sequence[str]) -> Had:
    """What a source gave; nothing, and why, where no value in it can be used."""
    own = [name for name in columns if name not in NO_VALUE]
    if not had.rows or pd.DataFrame(had.rows).reindex(columns=own).notna().any(axis=None):
        return had
    said = had.failure or f"{had.name} gave no value that can be used"
    return replace(had, rows=[], failure=said)


def _as_asked(origin: Origin, had: Had) -> Origin:
    """The record of a source, with the address that was asked: it may be a mirror's."""
    return replace(origin, url=had.requests[0].partition("?")[0]) if had.requests else origin
