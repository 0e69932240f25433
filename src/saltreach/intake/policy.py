"""What an association may set for its own anchors: rules tightened freely, loosened only aloud.

A policy is a TOML file. Every rule has a default; a value on the cautious side of it tightens,
one on the other side loosens. Loosening is refused unless it is allowed explicitly, and then
every output says so.
"""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass, field, fields
from pathlib import Path
from typing import Any

from saltreach.errors import OptionError
from saltreach.science.time.inspection import TARGET_PER_Y
from saltreach.vocabulary.metals import FAMILIES, MATERIAL_BY_NAME, PLACEABLE

EXAMPLE_PRICES: dict[str, float] = {
    name: price for name in PLACEABLE if (price := FAMILIES[name].example_price) is not None
}
"""Price of one anchor relative to 304: an EXAMPLE of ours, not a quotation. Set your own."""


@dataclass(frozen=True)
class Policy:
    """Rules of an association; the defaults are saltreach's own.

    Attributes
    ----------
    least_metal, least_metal_sea_cliff, least_metal_unwashed : str
        Least metal recommended everywhere, on sea cliffs, and where rain does not wash.
    duplex_allowed : bool
        Whether duplex may be advised at all, where class or hazard would accept it (it is
        excluded by some rules for warm chloride, and rarely made); allowing it loosens.
    longest_interval_months : int
        No interval is longer.
    failure_target_per_y : float
        An inspection is due before the yearly probability of failure passes this.
    order : str
        Order of rebolting: ``sea-cliffs-first`` or ``pure-risk``.
    work_cost : float
        Cost of replacing one anchor besides the metal, in units of one 304 anchor.
    prices : dict
        Price of one anchor by metal, any currency.
    loosened : tuple of str
        Sentences on every rule that is looser than the default.
    source : str
        Name of the file, empty for the defaults.
    """

    least_metal: str = "304"
    least_metal_sea_cliff: str = "304"
    least_metal_unwashed: str = "304"
    duplex_allowed: bool = False
    longest_interval_months: int = 60
    failure_target_per_y: float = TARGET_PER_Y
    order: str = "sea-cliffs-first"
    work_cost: float = 4.0
    prices: dict[str, float] = field(default_factory=lambda: dict(EXAMPLE_PRICES))
    loosened: tuple[str, ...] = ()
    source: str = ""

    def record(self) -> dict[str, Any]:
        """The policy as plain values, for `provenance.json`."""
        return {f.name: getattr(self, f.name) for f in fields(self)} | {
            "loosened": list(self.loosened)
        }


DEFAULT = Policy()
ORDERS = ("sea-cliffs-first", "pure-risk")
_SETTABLE = tuple(f.name for f in fields(Policy) if f.name not in ("loosened", "source"))


def read_policy(path: Path, *, allow_looser: bool = False) -> Policy:
    """A policy from a TOML file.

    Parameters
    ----------
    path : Path
        The file.
    allow_looser : bool
        Accept rules looser than the defaults; each is then listed in `Policy.loosened`.

    Raises
    ------
    OptionError
        When the file cannot be read, a name or value is wrong, or a rule loosens unallowed.
    """
    try:
        given = tomllib.loads(Path(path).read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise OptionError(f"policy file {path} does not exist") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise OptionError(f"policy file {path} is not valid TOML: {error}") from error
    where = f"policy file {Path(path).name}"
    for name, value in given.items():
        _check(where, name, value)
    if "prices" in given:
        given["prices"] = EXAMPLE_PRICES | {k: float(v) for k, v in given["prices"].items()}
    looser = tuple(_looser(given))
    if looser and not allow_looser:
        raise OptionError(
            f"{where} loosens the rules: {'; '.join(looser)}. Tighten it, or allow it with "
            "--allow-looser-policy, and every output will say so"
        )
    return Policy(**given, loosened=looser, source=Path(path).name)


def _check(where: str, name: str, value: Any) -> None:
    if name not in _SETTABLE:
        near = difflib.get_close_matches(name, _SETTABLE, n=1)
        hint = f"; did you mean {near[0]!r}?" if near else ""
        raise OptionError(f"{where}: unknown rule {name!r}{hint} (known: {', '.join(_SETTABLE)})")
    if name.startswith("least_metal"):
        good, say = value in PLACEABLE, f"one of {', '.join(PLACEABLE)}"
    elif name == "order":
        good, say = value in ORDERS, f"one of {', '.join(ORDERS)}"
    elif name == "duplex_allowed":
        good, say = isinstance(value, bool), "true or false"
    elif name == "prices":
        good = isinstance(value, dict) and all(
            k in PLACEABLE and _number(v) and v > 0 for k, v in value.items()
        )
        say = f"a table of prices above 0 for {', '.join(PLACEABLE)}"
    elif name == "longest_interval_months":
        good, say = isinstance(value, int) and 3 <= value <= 120, "whole months, 3 to 120"
    elif name == "failure_target_per_y":
        good, say = _number(value) and 0 < value < 1, "a probability between 0 and 1"
    else:
        good, say = _number(value) and value >= 0, "a number from 0 up"
    if not good:
        raise OptionError(f"{where}: {name} = {value!r}; give {say}")


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _looser(given: dict[str, Any]) -> list[str]:
    """Sentences on what is looser than the defaults (a metal below 304 cannot be given)."""
    found = []
    for name in ("least_metal", "least_metal_sea_cliff", "least_metal_unwashed"):
        default = MATERIAL_BY_NAME[getattr(DEFAULT, name)].rank
        if name in given and MATERIAL_BY_NAME[given[name]].rank < default:
            found.append(f"{name} {given[name]} instead of {getattr(DEFAULT, name)}")
    if given.get("duplex_allowed", False) and not DEFAULT.duplex_allowed:
        found.append("duplex is accepted where the next better metal is the rule")
    for name in ("longest_interval_months", "failure_target_per_y"):
        if given.get(name, 0) > getattr(DEFAULT, name):
            found.append(f"{name} {given[name]:g} instead of {getattr(DEFAULT, name):g}")
    return found
