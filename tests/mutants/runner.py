"""Runs the tests of a module against changed versions of it, each in a fork.

A change inside a function is put into the functions of a process that has run the tests once and
so has its imports and layers; what lives there, and every change at the top of a module, is tried
again in a process that has imported nothing of saltreach, where nothing is left of the unchanged
module. Only what lives there too has lived.
"""

from __future__ import annotations

import ast
import contextlib
import functools
import gc
import importlib.util
import itertools
import os
import pickle
import resource
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Sequence
from importlib.machinery import SourceFileLoader
from pathlib import Path
from types import CodeType, FunctionType

import coverage
import pytest
from changes import Change, changed, path_of

TOP = Path(__file__).resolve().parents[2]
SECONDS = 120.0
"""A change that makes the tests run longer than this, or ten times as long as they do, is seen."""
MOST_BYTES = 6 << 30
"""A change that makes the tests take more memory than this is seen too, before the machine is."""
WRITTEN = "files_are_what"
"""In the name of tests that hold the worked files to their scripts: they run nothing of ours."""
ALIVE, SEEN, LATE = "alive", "seen", "seen by time"
READY = (
    "geopandas", "hypothesis", "numpy", "pandas", "pandera", "pydantic", "pyogrio", "pyproj",
    "pytest", "rasterio", "scipy.interpolate", "scipy.optimize", "scipy.sparse", "scipy.spatial",
    "scipy.special", "scipy.stats", "shapely", "xarray",
)  # fmt: skip
"""What nearly every test imports: once, before the first fork."""


class Ends:
    """A plugin that remembers the first test that fails, and how long each file took."""

    def __init__(self) -> None:
        self.first = ""
        self.seconds: dict[str, float] = {}
        self.failed: list[str] = []

    def pytest_configure(self) -> None:  # pytest's own loader has put itself before ours
        sys.meta_path.sort(key=lambda finder: not isinstance(finder, Changed))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        file = report.nodeid.split("::")[0]
        self.seconds[file] = self.seconds.get(file, 0.0) + report.duration
        if report.failed:
            self.first = self.first or report.nodeid
            self.failed.append(report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self.first = self.first or report.nodeid
            self.failed.append(report.nodeid)


def run_tests(files: Sequence[str], *, stop: bool) -> tuple[int, Ends]:
    """Runs tests in this process, silently."""
    ends = Ends()
    folder = tempfile.mkdtemp(prefix="mutants-")
    options = [
        "-q",
        "-W",
        "ignore::pytest.PytestAssertRewriteWarning",
        "-p",
        "no:cacheprovider",
        "-p",
        "no:xdist",
        "-k",
        f"not {WRITTEN}",
        f"--basetemp={folder}/base",
    ]
    try:
        code = pytest.main([*options, *(["-x"] if stop else []), *files], plugins=[ends])
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return int(code), ends


def in_forks(
    jobs: Iterable[tuple[str, Callable[[], object]]], workers: int, seconds: float
) -> Iterable[tuple[str, object]]:
    """Each job in a fork, so many at a time; what it returns, or `LATE`."""
    waiting, running = iter(jobs), {}
    while True:
        for name, job in itertools.islice(waiting, workers - len(running)):
            file = tempfile.NamedTemporaryFile(prefix="mutants-", delete=False)  # noqa: SIM115
            sys.stdout.flush()
            child = os.fork()
            if child == 0:
                _in_the_fork(job, file.name)
            running[child] = name, file.name, time.monotonic() + seconds
        if not running:
            return
        ended, _ = os.waitpid(-1, os.WNOHANG)
        late = [c for c, (*_, until) in running.items() if time.monotonic() > until]
        for child in late:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(child, signal.SIGKILL)
        if not ended:
            time.sleep(0.01)
        elif ended in running:
            name, file, until = running.pop(ended)
            data = Path(file).read_bytes()
            Path(file).unlink()
            yield name, pickle.loads(data) if data else (LATE, "")


def _in_the_fork(job: Callable[[], object], file: str) -> None:
    os.setpgid(0, 0)
    with open(os.devnull, "w") as nowhere:  # noqa: PTH123
        os.dup2(nowhere.fileno(), 1)
        os.dup2(nowhere.fileno(), 2)
    try:
        found = job()
    except BaseException as error:  # noqa: BLE001  whatever ends the tests has seen the change
        found = SEEN, repr(error)[:200]
    Path(file).write_bytes(pickle.dumps(found))
    os._exit(0)


def _verdict(files: Sequence[str]) -> tuple[str, str]:
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    code, ends = run_tests(files, stop=True)
    return (ALIVE, "") if code == 0 else (SEEN, ends.first or f"exit {code}")


def _codes(code: CodeType) -> Iterable[CodeType]:
    yield code
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            yield from _codes(inner)


def put_into_functions(change: Change) -> bool:
    """Gives the functions that hold a change the changed code; whether there were any."""
    name, line = change.inside
    path = str(path_of(change.module))
    new = compile(changed(change), path, "exec", dont_inherit=True)
    code = next(c for c in _codes(new) if (c.co_qualname, c.co_firstlineno) == (name, line))
    done = False
    gc.unfreeze()  # what tests/conftest.py took from the list
    for one in gc.get_objects():
        if isinstance(one, functools._lru_cache_wrapper) and one.__module__ == change.module:
            one.cache_clear()
        if not isinstance(one, FunctionType):
            continue
        old = one.__code__
        if (old.co_qualname, old.co_firstlineno, old.co_filename) == (name, line, path):
            one.__code__ = code
            done = True
    return done


class Changed(SourceFileLoader):
    """Loads one module with a change."""

    def __init__(self, module: str, tree: ast.Module) -> None:
        super().__init__(module, str(path_of(module)))
        self.tree = tree

    def get_code(self, fullname: str) -> CodeType:
        return compile(self.tree, self.path, "exec", dont_inherit=True)

    def find_spec(self, name: str, path: object = None, target: object = None) -> object:
        if name != self.name:
            return None
        folder = [str(Path(self.path).parent)] if self.path.endswith("__init__.py") else None
        return importlib.util.spec_from_file_location(
            name, self.path, loader=self, submodule_search_locations=folder
        )


def tried_afresh(change: Change, files: Sequence[str]) -> tuple[str, str]:
    """In a fork of a process without saltreach."""
    sys.meta_path.insert(0, Changed(change.module, changed(change)))
    return _verdict(files)


def tried_in_place(change: Change, files: Sequence[str]) -> tuple[str, str]:
    """In a fork of a process that has run the tests."""
    return _verdict(files) if put_into_functions(change) else (ALIVE, "")


def forget_saltreach() -> None:
    """Takes saltreach out of this process, as if it had not been imported."""
    for name in [n for n in sys.modules if n.split(".")[0] == "saltreach"]:
        del sys.modules[name]


def leave_no_threads() -> None:
    """Ends the solver's threads: a fork has none of them, and would wait for them."""
    if "highspy" in sys.modules:
        sys.modules["highspy"].Highs.resetGlobalScheduler(True)


def warm(
    quick: Sequence[tuple[Change, Sequence[str]]],
    files: Sequence[str],
    workers: int,
    seconds: float,
) -> list[tuple[str, tuple[str, str]]]:
    """In a fork: runs the tests once, then tries each change in a fork of its own."""
    run_tests(files, stop=False)
    leave_no_threads()
    jobs = [(c.name, functools.partial(tried_in_place, c, own)) for c, own in quick]
    return list(in_forks(jobs, workers, seconds))


def baseline(module: str, file: str) -> tuple[set[int], float, list[str]]:
    """In a fork: the lines of a module that one file of tests runs, its seconds, its failures."""
    lines = coverage.Coverage(data_file=None, include=[str(path_of(module))])
    with lines.collect():
        code, ends = run_tests([file], stop=False)
    failed = [] if code in (pytest.ExitCode.OK, pytest.ExitCode.NO_TESTS_COLLECTED) else ends.failed
    run = lines.get_data().lines(str(path_of(module))) or []
    return set(run), sum(ends.seconds.values()), failed


def run_sample(
    chosen: Sequence[tuple[Change, Sequence[str]]], workers: int
) -> dict[str, tuple[str, str]]:
    """What became of a few changes of many modules, whose tests pass without them.

    None is begun after the environment's `TESTS_UNTIL` (seconds since 1970).
    """
    until = float(os.environ.get("TESTS_UNTIL", "inf"))
    jobs = (
        (c.name, functools.partial(tried_afresh, c, files))
        for c, files in chosen
        if time.time() < until
    )
    return dict(in_forks(jobs, workers, SECONDS))


def run_module(
    chosen: Sequence[Change], files: Sequence[str], workers: int
) -> dict[str, tuple[str, str]]:
    """What became of each change of a module: alive, seen, seen by time, and by which test."""
    module = chosen[0].module
    jobs = [(file, functools.partial(baseline, module, file)) for file in files]
    before = dict(in_forks(jobs, workers, 1e9))
    failed = [name for _, _, names in before.values() for name in names]
    if failed:
        raise SystemExit(f"these tests fail without a change: {failed}")
    files = sorted(files, key=lambda file: before[file][1])
    limit = max(SECONDS, 10 * sum(seconds for _, seconds, _ in before.values()))

    def reaching(change: Change) -> list[str]:
        if not change.inside:
            return files
        return [f for f in files if before[f][0].intersection(change.lines)]

    found = {c.name: (ALIVE, "never run") for c in chosen if not reaching(c)}
    run = [(c, reaching(c)) for c in chosen if c.name not in found]
    quick = [(c, own) for c, own in run if c.inside]
    if quick:
        job = functools.partial(warm, quick, files, workers, limit)
        found |= dict(next(iter(in_forks([("", job)], 1, 1e9)))[1])
    jobs = [
        (c.name, functools.partial(tried_afresh, c, own))
        for c, own in run
        if found.get(c.name, (ALIVE, ""))[0] == ALIVE
    ]
    return found | dict(in_forks(jobs, workers, limit))
