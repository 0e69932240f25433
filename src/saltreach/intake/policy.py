"""What an association may set for its own anchors: rules tightened freely, loosened only aloud.

A policy is a TOML file. Every rule has a default; a value on the cautious side of it tightens,
one on the other side loosens. Loosening is refused unless it is allowed explicitly, and then
every output says so.
"""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from saltreach.errors import OptionError, setting
from saltreach.intake.settings import NOT_SET, OneOf, checked, read_toml, record
from saltreach.science.time.inspection import TARGET_PER_Y
from saltreach.vocabulary.metals import FAMILIES, MATERIAL_BY_NAME, PLACEABLE
from saltreach.vocabulary.words import ORDERS, SEA_CLIFFS_FIRST

Metal = Annotated[str, OneOf(PLACEABLE)]
BATCHES = ("sector", "crag")
EXAMPLE_PRICES: dict[str, float] = {
    name: price for name in PLACEABLE if (price := FAMILIES[name].example_price) is not None
}
"""Price of one anchor relative to 304: an EXAMPLE of ours, not a quotation. Set your own."""


@record
class Policy:
    """Rules of an association; the defaults are saltreach's own."""

    least_metal: Metal = "304"
    """Least metal recommended anywhere."""
    least_metal_sea_cliff: Metal = "304"
    """Least metal recommended on sea cliffs."""
    least_metal_unwashed: Metal = "304"
    """Least metal recommended where rain does not wash."""
    duplex_allowed: bool = False
    """Whether duplex may be advised at all, where class or hazard would accept it (it is excluded
    by some rules for warm chloride, and rarely made); allowing it loosens."""
    longest_interval_months: Annotated[int, Field(ge=3, le=120)] = 60
    """No interval between inspections is longer."""
    failure_target_per_y: Annotated[float, Field(gt=0, lt=1)] = TARGET_PER_Y
    """An inspection is due before the yearly probability of failure passes this."""
    order: Annotated[str, OneOf(ORDERS)] = SEA_CLIFFS_FIRST
    """Order of rebolting."""
    work_cost: Annotated[float, Field(ge=0)] = 4.0
    """Cost of replacing one anchor besides the metal, in units of one 304 anchor."""
    prices: dict[Metal, Annotated[float, Field(gt=0)]] = Field(
        default_factory=lambda: dict(EXAMPLE_PRICES)
    )
    """Price of one anchor by metal, any currency; those not given stay the example's."""
    proof_load_kn: Annotated[float, Field(ge=1, le=15)] = 6.0
    """Load along the axis, kN, at which a proof test settles doubts: in use are 5 kN (a regional
    association, bonded, 2017) and 6 kN for 15 s (caves of one county, second-hand); above about
    10 kN a piece may deform (second-hand)."""
    proof_held_s: Annotated[float, Field(ge=1, le=3600)] = 15.0
    """Seconds for which that load is held (as the load)."""
    proof_load_ratio: Annotated[float, Field(ge=1.25, le=3)] = 1.5
    """That load over the action it stands for: from 1.5 the small share of BS 8539 is tested."""
    proof_reliability: Annotated[float, Field(ge=0, le=0.999)] = 0.0
    """Reliability that tests of a batch must show without a failure; 0: the shares of BS 8539."""
    proof_confidence: Annotated[float, Field(ge=0.5, le=0.999)] = 0.95
    """Confidence of what tests show."""
    proof_batch: Annotated[str, OneOf(BATCHES)] = "sector"
    """What a batch is, besides a kind and a year of placing: a sector, or a crag."""
    least_embedment_mm: Annotated[float, Field(ge=0, le=500)] = 0.0
    """No hole of a new anchor may be shallower; 0: what the rock and the piece ask for."""
    loosened: Annotated[tuple[str, ...], NOT_SET] = ()
    """Sentences on every rule that is looser than the default."""
    source: Annotated[str, NOT_SET] = ""
    """Name of the file, empty for the defaults."""

    def record(self) -> dict[str, Any]:
        """The policy as plain values, for `provenance.json`."""
        return asdict(self) | {"loosened": list(self.loosened)}


DEFAULT = Policy()


def read_policy(path: str | Path, *, allow_looser: bool = False) -> Policy:
    """A policy from a TOML file.

    Parameters
    ----------
    path : path
        The file.
    allow_looser : bool
        Accept rules looser than the defaults; each is then listed in `Policy.loosened`.

    Raises
    ------
    OptionError
        When the file cannot be read, a name or value is wrong, or a rule loosens unallowed.
    """
    name = Path(path).name
    where = f"policy file {name}"
    found = checked(Policy, read_toml(path, "policy"), where)
    looser = tuple(_looser(found))
    if looser and not allow_looser:
        raise OptionError(
            f"{where} loosens the rules: {'; '.join(looser)}. Tighten it, or allow it with "
            f"{setting('allow_looser_policy')}, and every output will say so"
        )
    prices = EXAMPLE_PRICES | found.prices
    return replace(found, prices=prices, loosened=looser, source=name)


def _looser(policy: Policy) -> list[str]:
    """Sentences on what is looser than the defaults (a metal below 304 cannot be given)."""
    found = []
    for name in ("least_metal", "least_metal_sea_cliff", "least_metal_unwashed"):
        given, own = getattr(policy, name), getattr(DEFAULT, name)
        if MATERIAL_BY_NAME[given].rank < MATERIAL_BY_NAME[own].rank:
            found.append(f"{name} {given} instead of {own}")
    if policy.duplex_allowed and not DEFAULT.duplex_allowed:
        found.append("duplex is accepted where the next better metal is the rule")
    for name in ("longest_interval_months", "failure_target_per_y"):
        given, own = getattr(policy, name), getattr(DEFAULT, name)
        if given > own:
            found.append(f"{name} {given:g} instead of {own:g}")
    for name in ("proof_load_kn", "proof_held_s", "proof_confidence"):
        given, own = getattr(policy, name), getattr(DEFAULT, name)
        if given < own:
            found.append(f"{name} {given:g} instead of {own:g}")
    return found
