"""Ways to learn a group's rate of failing from looks and tests, on synthetic regions.

Each region is drawn from the prior that `science.time.learning` states, and what is seen of it as
its likelihood says: six groups of fifty anchors that come under watch late, three looks with eyes
of unknown sharpness, a proof test at three in ten. For each way: how often its 90 % interval holds
the truth, how far off its median is (ln), how wide the interval is (ln), and the time it takes.

- ours: partial pooling, sums on a grid, eyes summed over
- alone: the same without pooling, each group by itself
- peak: a normal at the peak of (mu, u) by scipy (Laplace)
- conjugate: gamma prior, Poisson counts, every failure taken as seen (`updating.batch_update`)
- conjugate, eyes: the same with the exposure times what eyes see on average
"""

import sys
import time
from pathlib import Path

import numpy as np
from scipy.optimize import minimize
from scipy.stats import gamma

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.figures import figure
from saltreach.science.time import learning
from saltreach.science.time.learning import GRID, GROUP_SIGMA_LN, REGION_SIGMA_LN
from saltreach.science.time.updating import batch_update
from unit.test_learning import region

SEEDS, Z_95 = 300, 1.6448536269514722
GROUPS = 6
QUICK = {"seeds": 5}
PEERS = {
    "alone": "each group alone",
    "peak": "normal at the peak (scipy)",
    "conjugate": "gamma and counts",
    "eyes": "gamma and counts, with eyes on average",
}


def ours(watched, way):
    found = learning.belief(
        learning.pooled(learning.watched_log_likelihood(watched, GROUPS, way)).groups
    )
    return np.log([found.p05, found.p50, found.p95])


def alone(watched, way):
    like = learning.watched_log_likelihood(watched, GROUPS, way)
    prior = -0.5 * (GRID / learning.TOTAL_SIGMA_LN) ** 2
    weights = np.exp(like + prior - (like + prior).max(axis=1, keepdims=True))
    found = learning.belief(weights / weights.sum(axis=1, keepdims=True))
    return np.log([found.p05, found.p50, found.p95])


def peak(watched, way):
    like = learning.watched_log_likelihood(watched, GROUPS, way)

    def loss(parts):
        at = parts[0] + parts[1:]
        fit = sum(np.interp(x, GRID, row) for x, row in zip(at, like, strict=True))
        prior = (parts[0] / REGION_SIGMA_LN) ** 2 + np.sum((parts[1:] / GROUP_SIGMA_LN) ** 2)
        return 0.5 * prior - fit

    best = minimize(loss, np.zeros(GROUPS + 1), method="BFGS").x
    size, step = GROUPS + 1, 0.15
    bend = np.zeros((size, size))
    for i in range(size):
        for j in range(size):
            one, two = np.eye(size)[i] * step, np.eye(size)[j] * step
            plus = loss(best + one + two) + loss(best - one - two)
            bend[i, j] = (plus - loss(best + one - two) - loss(best - one + two)) / (4 * step**2)
    spread = np.linalg.pinv(bend)
    sigma = np.sqrt(np.maximum(
        spread[0, 0] + np.diag(spread)[1:] + 2 * spread[0, 1:], 1e-6))  # fmt: skip
    middle = best[0] + best[1:]
    return np.stack([middle - Z_95 * sigma, middle, middle + Z_95 * sigma])


def conjugate(watched, way, share=1.0):
    failed = np.bincount(watched.group, watched.outcome != learning.SOUND, minlength=GROUPS)
    until = np.where(watched.outcome == learning.SOUND,
                     np.maximum(watched.looked, watched.tested), watched.found)  # fmt: skip
    exposure = np.bincount(watched.group, until, minlength=GROUPS) * share
    _, shape, rate = batch_update(failed, exposure, (0.63, 0.63))  # variance of ln theta as ours
    return np.log([gamma.ppf(q, shape, scale=1 / rate) for q in (0.05, 0.5, 0.95)])


def eyes(watched, way):
    return conjugate(watched, way, float(np.dot(learning.SEEN[way], learning.SEEN_SHARES)))


def measured(method, way, seeds=SEEDS):
    """Seconds of all regions, and in words how near the method comes."""
    inside, off, wide, began = [], [], [], time.perf_counter()
    for seed in range(seeds):
        watched, truth = region(np.random.default_rng(seed), way)
        low, middle, high = method(watched, way)
        inside += ((low <= truth) & (truth <= high)).tolist()
        off += (middle - truth).tolist()
        wide += (high - low).tolist()
    return time.perf_counter() - began, (
        f"interval of 90 % holds the truth in {100 * np.mean(inside):.0f} of 100, median off by "
        f"{np.mean(off):+.2f}, interval {np.mean(wide):.1f} wide (ln)"
    )


def measures(seeds=SEEDS):
    """Ours beside each other way, on the same regions.

    Yields
    ------
    dict
        what, count, seconds, peer, peer_seconds, note.
    """
    for way in learning.SEEN:
        found = {f.__name__: measured(f, way, seeds) for f in (ours, alone, peak, conjugate, eyes)}

        def said(name, way=way, found=found):
            took, near = found[name]
            return f"{way}: {near}; {took / seeds * 1000:.0f} ms a region"

        figure("learning / ours", said("ours"))
        figure("learning / alone", said("alone"))
        figure("learning / peak", said("peak"))
        figure("learning / conjugate", said("conjugate"))
        figure("learning / conjugate, eyes", said("eyes"))
        seconds, near = found.pop("ours")
        for name, (peer_seconds, peer_near) in found.items():
            yield {
                "what": f"what looks teach, {way}",
                "count": seeds,
                "seconds": seconds,
                "peer": PEERS[name],
                "peer_seconds": peer_seconds,
                "note": f"regions; {near}; the peer: {peer_near}",
            }


if __name__ == "__main__":
    for _ in measures():
        pass
