"""How many anchors of a batch to proof test on site.

*Second-hand*: the shares of BS 8539 (a fastener supplier's answers that cite annex B3, not the
standard itself). The sample size without a failure and what it proves are in `inspection`.
"""

from __future__ import annotations

import numpy as np

from saltreach.science.labelled import labelled
from saltreach.science.types import Floats, Values, numbers

SMALL_SHARE = (1.5, 0.025, 3.0)
"""Load over the action from which the small share suffices, that share, and the least number;
BS 8539, second-hand."""
LARGE_SHARE = 0.05
"""Share at a lower load (from 1.25 times the action)."""
AFTER_ONE_FAILURE = (2.0, 6.0)
"""Times as many after one failure, and the least number then; after more, all. All of BS 8539,
second-hand; that the larger share has the same least number is judgement."""


@labelled("1")
def proof_tests_asked(
    placed: Values, failed: Values = 0.0, load_ratio: Values = SMALL_SHARE[0]
) -> Floats:
    r"""How many anchors of a batch are to be tested in all.

    .. math:: n = \min(N, \max(3, \lceil s N \rceil))

    with the share :math:`s` 2.5 % where the test load is 1.5 times the action or more, else 5 %.
    After one failure twice the share and at least 6; after more than one all N.

    Parameters
    ----------
    placed : array_like
        Anchors of the batch, N.
    failed : array_like
        How many failed.
    load_ratio : array_like
        Load of the test over the action it stands for.

    Returns
    -------
    numpy.ndarray
        A whole number; NaN stays NaN.

    References
    ----------
    BS 8539, annex B3, as a fastener supplier's answers cite it (second-hand).

    Examples
    --------
    >>> proof_tests_asked([120, 200, 200, 200, 2], [0, 0, 1, 2, 0]).tolist()
    [3.0, 5.0, 10.0, 200.0, 2.0]
    >>> float(proof_tests_asked(200, 0, 1.25))
    10.0
    """
    count, bad, ratio = numbers(placed, failed, load_ratio)
    limit, small, least = SMALL_SHARE
    times, least_then = AFTER_ONE_FAILURE
    share = small + (LARGE_SHARE - small) * (ratio < limit)
    # a hair of rounding is not one more test
    asked = np.maximum(np.ceil(share * count - 1e-9), least)
    more = np.maximum(np.ceil(times * share * count - 1e-9), least_then)
    asked = np.where(bad >= 1, more, asked)
    return np.minimum(np.where(bad > 1, count, asked), count) + 0.0 * (bad + ratio)
