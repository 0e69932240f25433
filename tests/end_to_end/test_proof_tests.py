"""The table of proof tests through the installed command: written, read back, gone again."""

import json

import pandas as pd

from saltreach.assessment.files import read_results
from saltreach.outputs.summary import summary


def test_tests_are_written_read_back_and_summed_up(saltreach, tmp_path):
    rows = [
        {"anchor_id": f"a{n}", "crag": "Alder", "sector": "=North", "lon": 11.3 + n / 1e4,
         "lat": 49.6, "kind": "bonded", "material": "316", "installed_on": "2026-05",
         "rock_type": "limestone",
         "placement_doubts": "cure time short; expiry unknown" if n == 1 else ""}
        for n in range(4)
    ]  # fmt: skip
    pd.DataFrame(rows).to_csv(tmp_path / "a.csv", index=False)
    run = saltreach(
        "assess", tmp_path / "a.csv", "--out", tmp_path / "out", "--today", "2026-11-25"
    )
    assert run.returncode == 0, run.stderr
    assert "To be proof tested: 3 anchors" in run.stdout
    assert "next a1, " in run.stdout
    written = pd.read_csv(tmp_path / "out" / "tests.csv")
    assert written["sector"].tolist() == ["'=North"]
    assert written["caution"].str.contains("certificate").all()
    again = read_results(tmp_path / "out")
    assert again.tests["sector"].tolist() == ["=North"]
    assert again.tests["test_next"].iloc[0].startswith("a1; ")
    (asked,) = json.loads(json.dumps(summary(again, tmp_path / "out")))["proof_tests"]
    assert asked["to_test"] == 3 and asked["reliability_shown"] is None
    pd.DataFrame(rows).drop(columns="placement_doubts").to_csv(tmp_path / "b.csv", index=False)
    run = saltreach(
        "assess", tmp_path / "b.csv", "--out", tmp_path / "out", "--today", "2026-11-25"
    )
    assert run.returncode == 0, run.stderr
    assert not (tmp_path / "out" / "tests.csv").exists()
    assert "proof tested" not in run.stdout
