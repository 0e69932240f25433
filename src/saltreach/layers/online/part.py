"""What a part of a region pack is: what it asks of whom, and what it writes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from saltreach.layers.layer import Origin
from saltreach.layers.online.web import Request, Web
from saltreach.layers.where import Where

if TYPE_CHECKING:
    from saltreach.intake.services import Services

Tell = Callable[[str], None]
NOT_EXPECTED = "NOT AS EXPECTED"
"""Stands in what is said of a service's answer where that is odd."""


@dataclass(frozen=True)
class Call:
    """All that bringing a part needs.

    `where`, `services`, `web`: places, addresses, session. `folder`: where its files go.
    `downloads`: folder that keeps whole files between runs.
    """

    where: Where
    services: Services
    web: Web
    folder: Path
    downloads: Path
    tell: Tell = lambda _: None


@dataclass(frozen=True)
class Brought:
    """What a part brought.

    `origins`: records of its sources. `requests`: as `Request.shown`. `notes`: a sentence for
    each thing that failed and what is used instead. `about`: more that its reader needs, plain.
    """

    origins: tuple[Origin, ...]
    requests: tuple[str, ...]
    notes: tuple[str, ...] = ()
    about: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Part:
    """One part of a pack. One file declares one part.

    Attributes
    ----------
    name : str
        Word of the command, and of the set of files in the pack.
    gives : str
        What it gives, for lists.
    plan : callable
        From the places and the services to the requests it will make, or the most it may make.
    bring : callable
        Asks, and writes its files into the folder of the call, whole; raises `ServiceError` where
        nothing could be had.
    tries : callable
        From the services to pairs of a request for one point and what to make of the answer: a
        sentence that compares what came with what is expected, with
        `NOT_EXPECTED` where it differs.
    """

    name: str
    gives: str
    plan: Callable[[Where, Services], list[Request]]
    bring: Callable[[Call], Brought]
    tries: Callable[[Services], list[tuple[Request, Callable[[Any], str]]]] = lambda _: []
