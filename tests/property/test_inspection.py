"""What must hold of intervals and samples."""

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from saltreach.science.time import inspection as look

months = st.floats(0, 200) | st.just(float("nan"))


@example([24.0, 36.0, 48.0], 60.0)
@given(a=st.lists(months, min_size=3, max_size=3), add=months)
def test_another_rule_never_lengthens(a, add):
    rules = dict(zip("abc", a, strict=True))
    before, after = look.governing(rules), look.governing(rules | {"d": add})
    if not np.isnan(before.months):
        assert after.months <= before.months
    assert after.rule in ("", look.LONGEST, *"abcd")


@given(a=st.floats(0, 200), shorter=st.floats(0, 1))
def test_a_shorter_candidate_never_lengthens(a, shorter):
    found = look.governing({"a": [a, a * shorter]})
    assert found.months[1] <= found.months[0]
    assert found.months[0] <= max(a, look.LADDER_MONTHS[0])


@given(
    start=st.floats(1e-7, 0.2),
    steps=st.lists(st.floats(0, 0.05), min_size=30, max_size=30),
    more=st.floats(1, 5),
    target=st.floats(1e-6, 0.3),
)
def test_a_higher_curve_or_stricter_target_comes_sooner(start, steps, more, target):
    curve = start + np.cumsum([0.0, *steps])
    plain, worse = look.months_to_target(np.array([curve, curve * more]), target)
    assert worse <= plain + 1e-9
    strict = look.months_to_target(curve[None, :], target / more)[0]
    assert strict <= plain + 1e-9


@given(order=st.sampled_from([look.CATEGORY_CAP_MONTHS, look.SCC_CAP_MONTHS]))
def test_caps_never_rise_with_severity(order):
    assert list(order.values()) == sorted(order.values(), reverse=True)


@given(c=st.floats(0.5, 0.999), r=st.floats(0.5, 0.999))
def test_sample_and_bound_are_each_others_inverse(c, r):
    n = int(look.zero_failure_sample_size(c, r))
    assert look.reliability_lower_bound(n, c) >= r - 1e-9
    if n > 1:
        assert look.reliability_lower_bound(n - 1, c) <= r + 1e-9
