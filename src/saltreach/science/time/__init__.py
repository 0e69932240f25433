"""What the years do, and what to do when.

===============  ===================================================
`anchors`        what the failure of an anchor depends on
`consequence`    expected loss, priority, order of rebolting
`curves`         years of one metal, and of the rock
`failure`        failure of each anchor year by year
`inspection`     when to look again, how many to test
`learning`       what looks and tests of a region teach of its metal
`learning_rock`  what pulls teach of its rock
`learning_salt`  what candles, swabs and coupons teach of its salt
`proof`          how many of a batch to proof test
`reliability`    Weibull, rust, overload: the parts of failure
`rust`           bars that rust through
`strength_left`  what a piece still bears
`updating`       Bayes' rule on what inspections find
===============  ===================================================
"""

from saltreach.science.lazy import modules_of

__all__ = [
    "anchors", "consequence", "curves", "failure", "inspection", "learning", "learning_rock",
    "learning_salt", "proof", "reliability", "rust", "strength_left", "updating",
]  # fmt: skip

__getattr__ = modules_of(__name__, __all__)
