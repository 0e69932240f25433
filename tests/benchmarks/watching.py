"""Peak memory of a process and all that it starts, together."""

import re
import subprocess
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import psutil

EVERY_S, SELDOM_S = 0.2, 5.0
SHARE = 0.03
"""Of one core, that looking may take: it goes through every page of a process."""


@dataclass
class Peak:
    """The most that was seen, MB."""

    mb: float = 0.0


def own_peak_mb() -> float:
    """Peak of this process alone since it began; getrusage counts its parent's before it too."""
    found = re.search(r"^VmHWM:\s+(\d+)", Path("/proc/self/status").read_text(), re.MULTILINE)
    return int(found[1]) / 1e3


def together_mb(process: psutil.Process) -> float:
    """Memory of a process and its children now; what several share counts once (Linux)."""
    total = 0
    with suppress(psutil.Error):
        for one in (process, *process.children(recursive=True)):
            with suppress(psutil.Error):
                held = one.memory_full_info()
                total += getattr(held, "pss", held.rss)
    return total / 1e6


@contextmanager
def peak_of(pid: int) -> Iterator[Peak]:
    """Looks every `EVERY_S` seconds, where that costs time every `SELDOM_S` at least: a shorter
    peak may be missed."""
    peak, done = Peak(), threading.Event()

    def watch() -> None:
        with suppress(psutil.Error):
            process = psutil.Process(pid)
            while True:
                begun = time.perf_counter()
                peak.mb = max(peak.mb, together_mb(process))
                cost_s = time.perf_counter() - begun
                if done.wait(min(max(EVERY_S, cost_s / SHARE), SELDOM_S)):
                    break

    thread = threading.Thread(target=watch, daemon=True)
    thread.start()
    try:
        yield peak
    finally:
        done.set()
        thread.join()


def run(*command: str) -> tuple[float, float]:
    """Seconds and peak in MB of a command that may refuse rows (exit code 1) but not fail."""
    with tempfile.TemporaryFile("w+") as said:
        start = time.perf_counter()
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=said)
        with peak_of(process.pid) as peak:
            code = process.wait()
            seconds = time.perf_counter() - start
        if code not in (0, 1):
            said.seek(0)
            raise RuntimeError(f"exit code {code}: {said.read().strip()[-300:]}")
    return seconds, peak.mb
