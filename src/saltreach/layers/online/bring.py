"""Bring the open data of one region: say what it takes, ask, and write each part whole."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from saltreach.errors import LayerError, OutputError, SaltreachError
from saltreach.folders.claim import Claim, claimed
from saltreach.intake.services import Services
from saltreach.layers.online.catalogue import PARTS
from saltreach.layers.online.part import NOT_EXPECTED, Call, Part, Tell
from saltreach.layers.online.web import Request, Web
from saltreach.layers.pack import PREFIX, write_part
from saltreach.layers.where import Where

ALL = "all"
MOST_REQUESTS = 2000
"""Requests of one part; own choice, well below what the services allow in a day."""
MOST_BYTES = 4_000_000_000
"""Bytes of one part; own choice."""


@dataclass(frozen=True)
class Plan:
    """What bringing one part takes: `requests`, at most so many, in the order they are made."""

    part: Part
    requests: tuple[Request, ...]

    @property
    def about_bytes(self) -> int:
        """Size of all answers, as far as it can be told before."""
        return sum(one.about_bytes for one in self.requests)

    @property
    def too_much(self) -> bool:
        """Whether it is more than is brought at a time."""
        return len(self.requests) > MOST_REQUESTS or self.about_bytes > MOST_BYTES


def chosen(names: Iterable[str]) -> list[Part]:
    """Parts by name, all of them for `all` or no name.

    Raises
    ------
    LayerError
        A name is no part's.
    """
    wanted = set(names) or {ALL}
    known = {part.name for part in PARTS}
    for name in sorted(wanted - known - {ALL}):
        raise LayerError(f"{name!r} is no part of a pack; parts: {', '.join(sorted(known))}, {ALL}")
    return [part for part in PARTS if ALL in wanted or part.name in wanted]


def plans(parts: Sequence[Part], where: Where, services: Services) -> list[Plan]:
    """What bringing parts takes, before anything is asked."""
    return [Plan(part, tuple(part.plan(where, services))) for part in parts]


def refuse_too_much(found: Sequence[Plan]) -> None:
    """Raise where parts take more than is brought at a time, with all of them.

    Raises
    ------
    LayerError
        Which parts, how much, and what to do.
    """
    large = [one for one in found if one.too_much]
    if large:
        said = "; ".join(
            f"{one.part.name}: {len(one.requests):,} requests, {one.about_bytes / 1e6:,.0f} MB"
            for one in large
        )
        fits = ", ".join(one.part.name for one in found if not one.too_much) or "none"
        raise LayerError(
            f"more than is asked for at a time ({MOST_REQUESTS:,} requests and "
            f"{MOST_BYTES / 1e6:,.0f} MB a part): {said}; name the parts that fit ({fits}), and "
            "bring the others for a register of one region at a time (a copy with its rows alone)"
        )


@dataclass(frozen=True)
class Outcome:
    """What became of a part: `notes` of its sources, or why it `failed`."""

    part: str
    notes: tuple[str, ...] = ()
    failed: str = ""


def bring(
    found: Sequence[Plan],
    where: Where,
    services: Services,
    web: Web,
    pack: Path | str | Claim,
    downloads: Path,
    *,
    tell: Tell = lambda _: None,
    beside_other_files: bool = False,
) -> list[Outcome]:
    """Ask the services, and write each part in place of its former one.

    A part whose services fail is left as it was; the others are brought.

    Parameters
    ----------
    found : sequence of Plan
        From `plans`.
    where, services, web
        Places, addresses and session.
    pack : path or Claim
        Folder of the pack.
    downloads : path
        Folder that keeps whole files between runs.
    tell : callable
        Told what is being asked.
    beside_other_files : bool
        As for `folders.claim.claimed`.

    Raises
    ------
    OutputError
        The folder cannot be written to, or holds other files.
    """
    outcomes = []
    with claimed(pack, beside_other_files=beside_other_files) as claim:
        others = [name for name in claim.manifest.sets if not name.startswith(PREFIX)]
        if others:
            raise OutputError(
                f"{claim.shown} holds results of saltreach ({others[0]}): give another --into, a "
                "folder for a pack alone, which can be handed on without them"
            )
        for plan in found:

            def make(folder: Path, part: Part = plan.part) -> Any:
                return part.bring(Call(where, services, web, folder, downloads, tell))

            web.oldest = datetime.now(UTC)
            try:
                written = write_part(claim, plan.part.name, make, now=lambda: _time(web.oldest))
                outcomes.append(Outcome(written.name, written.notes))
            except LayerError as error:
                outcomes.append(Outcome(plan.part.name, failed=str(error)))
    return outcomes


def _time(of: datetime) -> str:
    return of.isoformat(timespec="seconds")


def tried(services: Services, web: Web, parts: Sequence[Part] = PARTS) -> list[dict[str, Any]]:
    """Ask each service once for one point, and say what came beside what is expected.

    Returns
    -------
    list of dict
        `part`, `service`, `request`, `said`, `good` (bool).
    """
    rows = []
    for part in parts:
        for request, reader in part.tries(services):
            try:
                said, good = _tried(web, request, reader), True
            except SaltreachError as error:
                said, good = str(error), False
            rows.append({"part": part.name, "service": request.service,
                         "request": request.shown, "said": said,
                         "good": good and NOT_EXPECTED not in said})  # fmt: skip
    return rows


def _tried(web: Web, request: Request, reader: Callable[[Any], str]) -> str:
    if request.url.endswith(".tif"):  # the head of a file that is given part by part
        return web.read(request, reader, part=(0, 1023))
    return web.json(request, reader)
