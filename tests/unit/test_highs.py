"""One call of the solver: what it hands back is the optimum that it claims."""

from math import inf
from types import SimpleNamespace

import highspy
import numpy as np
import pytest

from saltreach.planning.highs import SolverError, minimise


@pytest.mark.pinned("worked")
def test_a_start_is_not_handed_back_in_place_of_the_optimum():
    """28 choices in 18 groups, of which some share 20 pieces; by the last row the first group of
    choices is settled. HiGHS 1.16 gives the start, worth nothing, and the bound of the optimum."""
    worth = np.array([
        24235, 24102, 30656, 30431, 20044, 20042, 20042, 20041, 20041, 20044, 24762, 24627, 20490,
        20490, 20057, 20041, 20041, 21898, 34319, 20057, 20069, 20069, 20071, 20072, 20041, 20041,
        20092, 33853,
    ])  # fmt: skip
    group = np.array([0, 0, 1, 1, 2, 3, 3, 4, 4, 5, 6, 6, 7, 7, 8, 9, 9, 10, 11, 12, 13, 13, 14,
                      14, 15, 15, 16, 17])  # fmt: skip
    pieces = {0: 7, 1: 6, 2: 8, 3: 6, 6: 4, 8: 4, 10: 7, 11: 6, 13: 5, 16: 4, 17: 6, 18: 8, 21: 4,
              23: 4, 25: 4, 27: 8}  # fmt: skip
    first = [0, 1, 2, 3, 10, 11, 17, 18, 27]
    second = [i for i in range(28) if i not in first]
    rows = [(list(pieces.items()), -inf, 20)]
    rows += [([(int(i), 1) for i in np.flatnonzero(group == g)], -inf, 1) for g in range(18)]
    one = minimise({i: -int(worth[i]) for i in first}, [1] * 28, rows).values.round()
    rows.append(([(i, int(worth[i])) for i in first], int(worth[first] @ one[first]), inf))
    cost = {i: -int(worth[i]) for i in second}
    start = {i: int(v) for i, v in enumerate(one)}
    found = minimise(cost, [1] * 28, rows, start=start)
    assert found.proven
    # every group of the second choices is open, with 316 where titanium has run out
    best = sum(max(worth[i] for i in second if group[i] == g and i not in pieces)
               for g in set(group[second]))  # fmt: skip
    assert worth[second] @ found.values.round()[second] == best == 241_089
    assert -found.bound == best


def test_a_row_of_a_variable_that_is_not_there_is_refused():
    with pytest.raises(SolverError, match="refused the model"):
        minimise({0: 1}, [1], [([(5, 1)], -inf, 1)])


@pytest.mark.parametrize("start", [None, {0: 1}])
def test_values_that_miss_their_objective_are_not_handed_back(start, monkeypatch):
    """At most one of two: taking the second alone costs least, -2. The solver is made to say -1."""
    cost, rows = {0: -1, 1: -2}, [([(0, 1), (1, 1)], -inf, 1)]
    assert minimise(cost, [1, 1], rows, start=start).values.round().tolist() == [0, 1]
    told = highspy.Highs.getInfo

    def mistaken(solver):
        true = told(solver)
        return SimpleNamespace(
            primal_solution_status=true.primal_solution_status, objective_function_value=-1.0
        )

    monkeypatch.setattr(highspy.Highs, "getInfo", mistaken)
    with pytest.raises(SolverError, match="miss its objective"):
        minimise(cost, [1, 1], rows, start=start)


@pytest.mark.parametrize(
    ("given", "limit", "seed"),
    [
        ({"seconds": 7.0}, ("time_limit", 7.0), 0),
        ({"nodes": 5, "seconds": 7.0}, ("mip_max_nodes", 5), 0),
        ({"nodes": 5, "seed": 2**30 + 5}, ("mip_max_nodes", 5), 5),
    ],
)
def test_what_the_solver_is_told(monkeypatch, given, limit, seed):
    """Costs are whole, so that what lies within a half is the same; its seeds end at 2**30."""
    told, tell = {}, highspy.Highs.setOptionValue
    monkeypatch.setattr(
        highspy.Highs, "setOptionValue",
        lambda self, name, value: told.update({name: value}) or tell(self, name, value),
    )  # fmt: skip
    minimise({0: -1}, [1], [([(0, 1)], 0, 1)], **given)
    assert told == dict([limit]) | {"random_seed": seed, "mip_rel_gap": 0.0, "mip_abs_gap": 0.5}
