"""Reads broken files in workers of limited time and memory, and tells what should not have been."""

from __future__ import annotations

import multiprocessing
import os
import random
import re
import resource
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from pathlib import Path

from fuzz.breaking import broken
from fuzz.formats import Format, formats, uncounted
from saltreach.errors import SaltreachError

SECONDS = 10.0
"""Of the processor, for one file: other work on the machine does not count."""
WALL_SECONDS = 60.0
"""After which a worker that waits for something, or that no signal reaches, is killed."""
MOST_BYTES = 2**30
"""By which reading one file may make a worker grow."""
LONGEST = 5000
"""Characters of a message; a longer one is no clear word."""
CASES_A_WORKER = 250

READ, REFUSED = "read", "refused"
WRONG = ("exception", "count", "time", "memory", "ended", "printed", "long")
"""What should not be: another exception than ours; rows lost; too slow; too large; the process
ended; something printed; a message too long to be read."""


class Late(BaseException):
    """Too slow. Not an Exception, so that no reader takes it for a damaged file."""


@dataclass(frozen=True)
class Case:
    """One broken file: the same name, number and seed give the same bytes."""

    format: str
    number: int
    seed: int

    def rng(self) -> random.Random:
        return random.Random(f"{self.seed} {self.format} {self.number}")

    def data(self) -> bytes:
        """Bytes of the file."""
        kind, rng = formats()[self.format], self.rng()
        return broken(kind.suffix, rng.choice(kind.seeds), rng)


@dataclass(frozen=True)
class Outcome:
    """What became of a case: `read`, `refused` or one of `WRONG`, with the trace or the words."""

    what: str
    told: str = ""

    @property
    def kind(self) -> str:
        """What it has in common with others: the exception and where it was, without numbers."""
        frames = re.findall(r'File ".*?/(saltreach/[^"]+)", line \d+, in (\S+)', self.told)
        lines = self.told.strip().splitlines() or [""]
        last = lines[:1] if self.what == "printed" else lines[-1:]
        where = f" in {frames[-1][0]}:{frames[-1][1]}" if frames else ""
        return f"{self.what}: {re.sub(r'[0-9]+', 'N', last[0])[:90]}{where}"


def read(kind: Format, path: Path) -> Outcome:
    """Reads a file within the limits of this process."""
    try:
        wrong = uncounted(kind.read(path))
    except SaltreachError as error:
        said = str(error)
        if not said.strip() or len(said) > LONGEST:
            return Outcome("long", f"{len(said)} characters: {said[:300]}")
        return Outcome(REFUSED)
    except Late:
        return Outcome("time", traceback.format_exc())
    except MemoryError:
        return Outcome("memory", traceback.format_exc())
    except BaseException:  # noqa: BLE001  whatever comes is what is looked for
        return Outcome("exception", traceback.format_exc())
    return Outcome("count", wrong) if wrong else Outcome(READ)


def _late(number: int, frame: object) -> None:
    raise Late


def _limit_memory() -> None:
    pages = int(Path("/proc/self/statm").read_text().split()[0])
    most = pages * resource.getpagesize() + MOST_BYTES
    resource.setrlimit(resource.RLIMIT_AS, (most, resource.RLIM_INFINITY))


def one(case: Case, folder: Path, printed: int) -> Outcome:
    """In a worker: breaks and reads one file; `printed` is a file that takes what is printed."""
    kind = formats()[case.format]
    for name, data in kind.beside.items():
        (folder / name).write_bytes(data)
    path = folder / f"broken{kind.suffix}"
    path.write_bytes(case.data())
    if Path("/proc/self/statm").exists():
        _limit_memory()
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    try:
        outcome = read(kind, path)
    except Late:
        outcome = Outcome("time", "while it was put together")
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        resource.setrlimit(resource.RLIMIT_AS, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    sys.stdout.flush()
    sys.stderr.flush()
    size = os.fstat(printed).st_size
    if size and outcome.what in (READ, REFUSED):
        said = os.pread(printed, 2000, 0).decode("utf-8", errors="replace")
        outcome = Outcome("printed", said)
    os.ftruncate(printed, 0)
    return outcome


def _work(jobs: Connection) -> None:
    """In a fork: reads one case after the other until there is none."""
    signal.signal(signal.SIGPROF, _late)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    warnings.resetwarnings()
    warnings.simplefilter("always")
    with tempfile.TemporaryDirectory() as name, tempfile.TemporaryFile() as printed:
        # opened to append, so that a shortened file is written from its start again
        takes = os.open(f"/proc/self/fd/{printed.fileno()}", os.O_RDWR | os.O_APPEND)
        os.dup2(takes, 1)
        os.dup2(takes, 2)
        sys.stdout = os.fdopen(1, "w", closefd=False)
        sys.stderr = os.fdopen(2, "w", closefd=False)
        while (case := jobs.recv()) is not None:
            jobs.send(one(case, Path(name), takes))


class Worker:
    """A fork that reads cases, and the one it is at."""

    def __init__(self) -> None:
        context = multiprocessing.get_context("fork")
        self.ours, theirs = context.Pipe()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a fork beside threads of libraries: none is used
            self.process = context.Process(target=_work, args=(theirs,), daemon=True)
            self.process.start()
        theirs.close()
        self.case: Case | None = None
        self.done, self.until = 0, 0.0

    def begin(self, case: Case) -> None:
        self.case, self.until = case, time.monotonic() + WALL_SECONDS
        self.ours.send(case)

    def finished(self) -> tuple[Case, Outcome]:
        """The case and what became of it; the worker may have ended."""
        case, self.case = self.case, None
        assert case is not None
        self.done += 1
        try:
            return case, self.ours.recv()
        except (EOFError, ConnectionResetError):
            self.process.join()
            self.done = CASES_A_WORKER
            return case, Outcome("ended", f"exit code {self.process.exitcode}")

    def end(self) -> None:
        self.process.kill()
        self.process.join()
        self.ours.close()


def run(cases: Iterable[Case], workers: int, until: float = 1e18) -> Iterator[tuple[Case, Outcome]]:
    """What becomes of each case; none is begun after `until` (time.monotonic)."""
    left = iter(cases)
    pool: list[Worker] = [Worker() for _ in range(workers)]
    try:
        while True:
            for worker in list(pool):
                if worker.case is None:
                    case = next(left, None) if time.monotonic() < until else None
                    if case is None:
                        worker.end()
                        pool.remove(worker)
                        continue
                    if worker.done >= CASES_A_WORKER:
                        worker.end()
                        pool[pool.index(worker)] = worker = Worker()
                    worker.begin(case)
            if not pool:
                break
            ready = wait([w.ours for w in pool], timeout=1.0)
            for at, worker in enumerate(pool):
                if worker.ours in ready:
                    case, outcome = worker.finished()
                    if outcome.what in ("time", "memory"):
                        worker.done = CASES_A_WORKER  # what was interrupted may be left half done
                    yield case, outcome
                elif worker.case is not None and time.monotonic() > worker.until:
                    late = worker.case
                    worker.end()
                    pool[at] = Worker()
                    yield late, Outcome("time", f"killed after {WALL_SECONDS:g} s")
    finally:
        for worker in pool:
            worker.end()


def warm_up() -> None:
    """Imports what reading imports, in the process that is forked."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for kind in formats().values():
            for file, data in kind.beside.items():
                (folder / file).write_bytes(data)
            path = folder / f"whole{kind.suffix}"
            path.write_bytes(kind.seeds[0])
            kind.read(path)
