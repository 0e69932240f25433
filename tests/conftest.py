"""Settings for every test: property tests are repeatable and not timed (speed: benchmarks).

`make test` tries a few cases of each property, the same each time; `make search` looks for
new ones.

A run that has a limit (the environment's `TESTS_UNTIL`, seconds since 1970) begins no test
after it, lists what it left out, and fails if that holds any test of the main job or of its
figures. Those come first in every run.
"""

import datetime as dt
import gc
import os
import pickle
import time
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from helpers import pinned
from helpers.once import once

settings.register_profile(
    "repeatable",
    deadline=None,
    derandomize=True,
    max_examples=10,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.register_profile(
    "search", settings.get_profile("repeatable"), derandomize=False, max_examples=500
)
settings.load_profile("repeatable")

ALWAYS = ("tests/end_to_end/test_demo.py", "tests/reference/")
"""What no run may leave out."""
ORDER = (
    *ALWAYS, "tests/unit/", "tests/messy/", "tests/browser/", "tests/end_to_end/", "tests/fuzz/",
    "tests/property/",
)  # fmt: skip
LEFT_OUT = "not begun: this run's time was over"


def pytest_configure(config):
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # tests start Python many times
    config.pluginmanager.register(pinned, "pinned")


def place(nodeid: str) -> int:
    """Where a test stands in `ORDER`; doctests come last."""
    return next((n for n, start in enumerate(ORDER) if nodeid.startswith(start)), len(ORDER))


def pytest_collection_modifyitems(items):
    items.sort(key=lambda item: place(item.nodeid))


def pytest_collection_finish(session):
    """Thousands of tests that stay are not looked through again for what nobody holds any more."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item):
    until = os.environ.get("TESTS_UNTIL")
    if until and time.time() > float(until):
        pytest.skip(LEFT_OUT)


def left_out(config) -> list[str]:
    """The tests that this run did not begin, seen from the process that reports them."""
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    skipped = reporter.stats.get("skipped", []) if reporter else []
    return [report.nodeid for report in skipped if LEFT_OUT in str(report.longrepr)]


def pytest_sessionfinish(session):
    if any(nodeid.startswith(ALWAYS) for nodeid in left_out(session.config)):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter, config):
    files = [nodeid.split("::")[0] for nodeid in left_out(config)]
    if files:
        terminalreporter.section("NOT RUN: this run's time was over", red=True, bold=True)
        for file in dict.fromkeys(files):
            must = " (no run may leave this out)" if file.startswith(ALWAYS) else ""
            terminalreporter.line(f"{file}: {files.count(file)} tests{must}")


@pytest.fixture(scope="session")
def assessed_demo(tmp_path_factory):
    """The demo's register assessed in Python, once a run. Not to be changed."""

    def make(folder: Path) -> None:
        from saltreach import Options, assess, read_register
        from saltreach.layers.embedded import embedded_file

        today = dt.date(2026, 11, 25)
        register = read_register(embedded_file("demo/anchors.csv"), today=today)
        with (folder / "result.pickle").open("wb") as stream:
            pickle.dump(assess(register, Options(today=today)), stream)

    with (once(tmp_path_factory, "assessed_demo", make) / "result.pickle").open("rb") as stream:
        return pickle.load(stream)
