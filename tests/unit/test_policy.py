"""An association's rules: tightened freely, loosened only aloud, mistakes named with the fix."""

import pytest

from saltreach.errors import OptionError
from saltreach.intake.policy import DEFAULT, read_policy


def policy(tmp_path, text, **more):
    path = tmp_path / "rules.toml"
    path.write_text(text, encoding="utf-8")
    return read_policy(path, **more)


def test_tightening_needs_no_leave(tmp_path):
    found = policy(
        tmp_path,
        'least_metal = "316"\nleast_metal_sea_cliff = "titanium"\nlongest_interval_months = 24\n'
        "failure_target_per_y = 1e-4\n[prices]\ntitanium = 9.5\n",
    )
    assert (found.least_metal_sea_cliff, found.longest_interval_months) == ("titanium", 24)
    assert found.prices["titanium"] == 9.5
    assert found.prices["316"] == DEFAULT.prices["316"]
    assert found.loosened == ()


@pytest.mark.parametrize(
    "text",
    [
        "duplex_allowed = true",
        "longest_interval_months = 90",
        "failure_target_per_y = 0.05",
        "proof_load_kn = 5",
        "proof_held_s = 10",
        "proof_confidence = 0.9",
    ],  # fmt: skip
)
def test_loosening_is_refused_unless_allowed_and_then_said(tmp_path, text):
    with pytest.raises(OptionError, match="allow it with allow_looser_policy=True"):
        policy(tmp_path, text)
    found = policy(tmp_path, text, allow_looser=True)
    assert len(found.loosened) == 1
    assert found.record()["loosened"] == list(found.loosened)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("least_metl = '316'", "did you mean 'least_metal'"),
        ("least_metal = 'bronze'", "one of 304, 316"),
        ("least_metal = 'zinc-plated steel'", "one of 304, 316"),
        ("longest_interval_months = 1", "3 to 120"),
        ("failure_target_per_y = true", "between 0 and 1"),
        ("order = 'random'", "give sea-cliffs-first or pure-risk"),
        ("duplex_allowed = 'yes'", "true or false"),
        ("[prices]\n'316' = -2", "prices.316 = -2; give a number above 0"),
        ("work_cost = -1", "from 0 up"),
        ("proof_load_kn = 16", "1 to 15"),
        ("proof_batch = 'wall'", "give sector or crag"),
        ("this is not toml", "not valid TOML"),
    ],
)
def test_mistakes_are_named_with_the_fix(tmp_path, text, says):
    with pytest.raises(OptionError, match=says):
        policy(tmp_path, text)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(OptionError, match=r"nowhere\.toml"):
        read_policy(tmp_path / "nowhere.toml")
