"""What the years do, and what to do when.

=============  =============================================
`consequence`  expected loss, priority, order of rebolting
`failure`      failure of each anchor year by year
`inspection`   when to look again, how many to test
`proof`        how many of a batch to proof test
`reliability`  Weibull, rust, overload: the parts of failure
`updating`     Bayes' rule on what inspections find
=============  =============================================
"""

from saltreach.science.lazy import modules_of

__all__ = ["consequence", "failure", "inspection", "proof", "reliability", "updating"]

__getattr__ = modules_of(__name__, __all__)
