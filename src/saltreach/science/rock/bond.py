"""Bond of an injected resin along a rod in a drilled hole, as a lognormal.

*Published*: characteristic bond of adhesives in uncracked concrete of the strength C20/25, by
family (European assessments to EAD 330499-01-0601, ranges from memory); what the state of the
hole leaves of it (Cook and Konz, ACI Structural Journal 98(1), 2001, about 20 adhesives, from
memory); a threaded shaft holds more than twice what other treatments do, and epoxy about twice
what polyester does (Hawkshaw, thesis, 2003: 81 tests in and around sandstone, abstract).
*Judgement*: how the ranges are read as distributions, and all that says so below.

Resin in hard rock is not capped by the rules for cement grout (4.2 MPa): short resin anchors
there go beyond it two- to threefold. In weak rock the wall of the hole governs (`resistance`).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from saltreach.science.distributions import Lognormal
from saltreach.science.labelled import labelled
from saltreach.science.lookup import lookup
from saltreach.science.types import Floats, Words
from saltreach.vocabulary.words import UNKNOWN


class Factor(NamedTuple):
    """Median and standard deviation of the logarithm of one part, and whence."""

    median: float
    sigma_ln: float
    source: str


def _family(low_mpa: float, high_mpa: float, source: str) -> Factor:
    """Characteristic values read as 10th percentile, 1.5 times their upper end as 90th."""
    upper = 1.5 * high_mpa
    return Factor(float(np.sqrt(low_mpa * upper)), float(np.log(upper / low_mpa)) / 2.5631, source)


_EAD = "range of European assessments in concrete, from memory; reading judgement"
ADHESIVES: dict[str, Factor] = {
    "epoxy": _family(11, 17, _EAD),
    "hybrid": _family(12, 18, _EAD),
    "vinylester": _family(8, 12, _EAD),
    "polyester": _family(6, 9, _EAD),
    "cement": Factor(2.8, 0.25, "Littlejohn and Bruce: 1.7 to 4.2 MPa, from memory"),
    UNKNOWN: Factor(11.5, 0.45, "mixture of the four resins of the trade, judgement"),
}
"""Bond in MPa, threaded rod, clean dry hole."""

ROD_SHAPES: dict[str, Factor] = {
    "threaded": Factor(1.0, 0.0, "reference"),
    "ribbed": Factor(0.85, 0.10, "ribs, notches, twist: judgement"),
    "plain": Factor(0.45, 0.20, "less than half of a thread (Hawkshaw 2003, abstract)"),
    UNKNOWN: Factor(0.80, 0.20, "mixture; a product made for rock has a shape: judgement"),
}
"""What the shape of the rod leaves of the bond."""

HOLE_CONDITIONS: dict[str, Factor] = {
    "clean and dry": Factor(1.0, 0.0, "reference"),
    "damp": Factor(0.77, 0.40, "Cook and Konz 2001: mean 0.77, 0.23 to 1.13"),
    "water-filled": Factor(0.43, 0.55, "Cook and Konz 2001: mean 0.43, 0.10 to 0.92"),
    "uncleaned": Factor(0.71, 0.50, "Cook and Konz 2001: mean 0.71, 0.20 to 1.50"),
    "cored": Factor(0.70, 0.25, "significant loss (thesis, Ljubljana, abstract); figure judgement"),
    UNKNOWN: Factor(0.92, 0.20, "mixture, most were cleaned and dry: judgement"),
}
"""What the hole leaves of the bond; ranges read as two standard deviations each way."""


@labelled({"median": "MPa", "sigma_ln": "1"}, returns=Lognormal)
def bond_strength(
    adhesive: Words = UNKNOWN, rod_shape: Words = UNKNOWN, hole_condition: Words = UNKNOWN
) -> Lognormal:
    """Bond between rod and resin: median and spread of a lognormal.

    Parameters
    ----------
    adhesive : array_like of str
        One of `ADHESIVES`; empty counts as unknown.
    rod_shape : array_like of str
        One of `ROD_SHAPES`.
    hole_condition : array_like of str
        One of `HOLE_CONDITIONS`.

    Returns
    -------
    Lognormal
        `median` in MPa and `sigma_ln`, in the broadcast shape of the inputs.

    Raises
    ------
    OptionError
        A word that is not listed.

    References
    ----------
    EAD 330499-01-0601 (ranges of assessments, from memory); Cook and Konz (2001); Hawkshaw (2003):
    each factor names its own.

    Examples
    --------
    >>> epoxy, _ = bond_strength("epoxy", "threaded", "clean and dry")
    >>> polyester, _ = bond_strength("polyester", "threaded", "clean and dry")
    >>> round(float(epoxy / polyester), 1)
    1.9
    """
    parts = (
        _looked_up(adhesive, ADHESIVES, "adhesive"),
        _looked_up(rod_shape, ROD_SHAPES, "rod_shape"),
        _looked_up(hole_condition, HOLE_CONDITIONS, "hole_condition"),
    )
    median = np.multiply.reduce(np.broadcast_arrays(*(m for m, _ in parts)))
    variance = np.add.reduce(np.broadcast_arrays(*(s**2 for _, s in parts)))
    return Lognormal(median, np.sqrt(variance))


NEW_BOND = {"adhesive": "vinylester", "rod_shape": "ribbed", "hole_condition": "clean and dry"}
"""What a new anchor is taken to be set with: the least that is advised, and done properly."""


def _looked_up(words: Words, table: Mapping[str, Factor], what: str) -> tuple[Floats, Floats]:
    unknown = table[UNKNOWN]
    return (
        lookup(words, {w: f.median for w, f in table.items()}, what, missing=unknown.median),
        lookup(words, {w: f.sigma_ln for w, f in table.items()}, what, missing=unknown.sigma_ln),
    )
