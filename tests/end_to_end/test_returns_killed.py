"""Returns are in the book whole or not at all, whenever their process is killed."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from helpers.returned import JPG, phone, row, sheet, small_book

MOMENTS = 50


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked")
def test_killed_at_any_moment_the_book_is_as_before_or_as_after(tmp_path):
    small_book(tmp_path)
    first = row("a1", record_id="r1", condition=3, findings="loose", remark="x")
    phone(tmp_path / "r.zip", first, row("a2", record_id="r2", tap_response="hollow"),
          photos={"a.jpg": JPG})  # fmt: skip
    sheet(tmp_path / "r.csv", row("a1", "CD", condition=1), row("b1", done="removed"))
    tests = Path(__file__).parents[1]
    path = os.pathsep.join(filter(None, (str(tests), os.environ.get("PYTHONPATH"))))
    done = subprocess.run(
        [sys.executable, str(tests / "helpers/killed.py"), str(tmp_path), str(MOMENTS)],
        capture_output=True, text=True, check=False, env={**os.environ, "PYTHONPATH": path},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    found = json.loads(done.stdout)
    before, after = found["before"], found["after"]
    assert before[0] + 9 == after[0] and before[1] != after[1] and after[2] == "ok"
    assert found["moments"] > MOMENTS and len(found["tried"]) == MOMENTS
    assert all(killed for killed, *_ in found["tried"])
    states = [then for _, then, *_ in found["tried"]]
    assert all(then in (before, after) for then in states), states
    assert before in states and after in states
    again = [(held, photos) for _, _, held, photos in found["tried"] if held]
    assert len(again) > 10 and all(held == after for held, _ in again)
    assert {len(photos) for _, photos in again} == {1}  # and no part of a photo is left behind
