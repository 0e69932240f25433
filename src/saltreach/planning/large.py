"""Planning a region too large to be solved whole: a good plan, and a bound that says how good.

Sectors are put back at their best (`reschedule`) while a thread looks for the bound
(`lower_bound`); neither needs the other, so each may be stopped at any time.
"""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from math import inf
from typing import Any

from saltreach.planning.cost import Pairs, cost_of
from saltreach.planning.master import lower_bound
from saltreach.planning.problem import Problem
from saltreach.planning.reschedule import reschedule
from saltreach.planning.solver import Solved

TURNS_PER_NODE = 100
"""Turns of the search for a plan that count as one node."""
SAY_TURNS = 200
"""Turns between two words on how far the search is."""


def solve_large(
    problem: Problem,
    base: Pairs,
    *,
    seconds: float = inf,
    nodes: int | None = None,
    last: Pairs = frozenset(),
    seed: int = 0,
    on_step: Callable[[str], None] = lambda _: None,
) -> Solved:
    """A plan and a bound of a problem of any size.

    Parameters
    ----------
    problem : Problem
        From `make_problem`.
    base : frozenset of (task, team-day)
        A plan that keeps the rules.
    seconds : float
        Time of both searches; what was found is kept when it is up, or at the keyboard's
        interrupt.
    nodes : int, optional
        In place of the time: rounds of the bound, and `TURNS_PER_NODE` turns each.
    last, seed
        As in `solve`.
    on_step : callable
        Told how far the search is.

    Returns
    -------
    Solved
        Never worse than `base`; the bound is of all plans that keep the rules.
    """
    until = time.monotonic() + (seconds if nodes is None else inf)
    began, bound, done = 0, 0, False

    def left() -> float:
        return 0.0 if done or asked() else until - time.monotonic()

    def higher(value: int) -> None:
        nonlocal bound
        bound = value

    def turned(number: int, saved: int) -> None:
        if number % SAY_TURNS == 0:
            now = (began - saved) / 60
            on_step(f"{now:,.0f} team hours so far, no plan below {bound / 60:,.0f}")

    with interrupts() as asked, ThreadPoolExecutor(1) as thread:
        given: dict[str, Any] = {"last": last, "seed": seed, "over": lambda: left() <= 0}
        swept = reschedule(problem, base, turns=0, **given)
        began = cost_of(problem, swept, last).total_min
        search = thread.submit(
            lower_bound, problem, swept, rounds=nodes, last=last, left=left, on_round=higher
        )
        try:
            turns = None if nodes is None else TURNS_PER_NODE * nodes
            pairs = reschedule(problem, swept, sweeps=0, turns=turns, on_turn=turned, **given)
        except BaseException:
            done = True  # the thread would search on
            raise
        bound = search.result()
    cost = cost_of(problem, pairs, last).total_min
    return Solved(pairs, bound, bound >= cost, nodes or 1)


@contextmanager
def interrupts() -> Iterator[Callable[[], bool]]:
    """Whether the keyboard asked for a stop, in place of the error that would lose all.

    In a thread that is not the main one the keyboard stops nothing here.
    """
    asked = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield asked.is_set
        return
    before = signal.signal(signal.SIGINT, lambda *_: asked.set())
    try:
        yield asked.is_set
    finally:
        signal.signal(signal.SIGINT, before)
