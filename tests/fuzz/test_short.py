"""A few broken files of every format: `make fuzz` tries two thousand of each."""

import contextlib
import os
import sys
import time
import warnings

import numpy as np
import pandas as pd
import pytest

from fuzz import runner
from fuzz.formats import Format, formats, uncounted
from helpers.small_register import write
from saltreach import read_register
from saltreach.errors import RegisterError
from saltreach.intake.sheets import Sheet

FILES = 4
"""Of each format."""

pytestmark = pytest.mark.skipif(
    sys.platform != "linux", reason="the limits of a worker are Linux's"
)


@pytest.fixture(scope="module")
def ready():
    runner.warm_up()


def test_broken_files_are_read_or_refused_in_clear_words(ready):
    cases = [runner.Case(name, number, seed=1) for number in range(FILES) for name in formats()]
    found = list(runner.run(cases, workers=os.cpu_count()))
    assert len(found) == len(cases) > 100
    wrong = [(case, outcome) for case, outcome in found if outcome.what in runner.WRONG]
    assert not wrong, "\n".join(f"{case}: {outcome.kind}" for case, outcome in wrong)
    assert {outcome.what for _, outcome in found} == {runner.READ, runner.REFUSED}


def test_a_case_is_the_same_file_again():
    for name in formats():
        for number in range(2):
            case = runner.Case(name, number, seed=7)
            assert case.data() == case.data(), name
        assert len({runner.Case(name, n, seed=7).data() for n in range(7)}) > 4, name


def raises(error):
    def reader(path):
        raise error

    return reader


def lost(path):
    found = read_register(path)
    return found.__class__(**{**vars(found), "rows_read": found.rows_read + 1})


def slow(path):
    while True:
        pass


def stuck(path):
    time.sleep(3600)


def large(path):
    return np.ones(2**28)


def loud(path):
    warnings.warn("from a library", UserWarning, stacklevel=1)
    os.write(2, b"and from below")


def swallows(path):
    with contextlib.suppress(Exception):  # as a reader that takes all for a damaged file
        slow(path)


@pytest.mark.parametrize(
    ("reader", "what", "told"),
    [
        (read_register, "read", ""),
        (raises(RegisterError("broken.csv: give a header row")), "refused", ""),
        (raises(ValueError("odd")), "exception", "odd"),
        (raises(SystemExit(3)), "exception", "SystemExit"),
        (raises(RegisterError("")), "long", "0 characters"),
        (raises(RegisterError("a" * 6000)), "long", "6000 characters"),
        (lost, "count", "4 rows read, 3 kept, 0 refused"),
        (slow, "time", "Late"),
        (swallows, "time", "Late"),
        (stuck, "time", "killed after 0.5 s"),
        (large, "memory", "MemoryError"),
        (lambda path: os._exit(7), "ended", "exit code 7"),
        (loud, "printed", "and from below"),
    ],
)
def test_what_should_not_be_is_seen(monkeypatch, tmp_path, reader, what, told):
    seed = write(tmp_path / "whole.csv").read_bytes()
    kind = Format("one csv", ".csv", (seed,), reader)
    monkeypatch.setattr(runner, "formats", lambda: {"one csv": kind})
    monkeypatch.setattr(runner, "broken", lambda suffix, data, rng: data)
    monkeypatch.setattr(runner, "SECONDS", 0.2 if reader in (slow, swallows) else 10.0)
    monkeypatch.setattr(runner, "WALL_SECONDS", 0.5 if reader is stuck else 10.0)
    case = runner.Case("one csv", 0, 1)
    ((same, outcome), (_, after)) = runner.run([case, case], workers=1)
    assert same == case and outcome.what == after.what == what
    assert told in outcome.told


def test_rows_both_kept_and_refused_are_seen():
    refused = pd.DataFrame({"row": [2, 2]})
    assert not uncounted(Sheet(({"row": 3},), refused, rows_read=2))
    assert uncounted(Sheet(({"row": 2}, {"row": 3}), refused, rows_read=3))
    assert uncounted(Sheet(({"row": 3},), refused, rows_read=3))


def test_findings_alike_are_told_once():
    trace = """Traceback (most recent call last):
  File "/x/src/saltreach/intake/read.py", line 12, in read_register
  File "/y/pandas/core.py", line 9, in get
KeyError: 17"""
    first, second = (runner.Outcome("exception", t) for t in (trace, trace.replace("17", "18")))
    assert (
        first.kind
        == second.kind
        == ("exception: KeyError: N in saltreach/intake/read.py:read_register")
    )


def test_no_case_is_begun_after_the_time(ready):
    cases = [runner.Case("teams csv", number, 1) for number in range(50)]
    assert not list(runner.run(cases, workers=1, until=time.monotonic() - 1))


def test_every_file_a_user_may_hand_in_has_its_format():
    from saltreach.intake.read import READERS
    from saltreach.intake.tables import TABLES
    from saltreach.intake.templates import SETTINGS

    names = set(formats())
    alike = {"register json", "register tsv", "register txt", "register xlsm"}  # as csv or xlsx
    assert {f"register {suffix[1:]}" for suffix in READERS} - alike <= names
    assert {f"{table.name} {kind}" for table in TABLES for kind in ("csv", "xlsx")} <= names
    assert {f"{name} toml" for name in SETTINGS} <= names
