"""What the years do, and what to do when.

===============  ===================================================
`consequence`    expected loss, priority, order of rebolting
`failure`        failure of each anchor year by year
`inspection`     when to look again, how many to test
`learning`       what looks and tests of a region teach of its metal
`learning_rock`  what pulls teach of its rock
`learning_salt`  what candles, swabs and coupons teach of its salt
`reliability`    Weibull, rust, overload: the parts of failure
`updating`       Bayes' rule on what inspections find
===============  ===================================================
"""

from saltreach.science.lazy import modules_of

__all__ = [
    "consequence", "failure", "inspection", "learning", "learning_rock", "learning_salt",
    "reliability", "updating",
]  # fmt: skip

__getattr__ = modules_of(__name__, __all__)
