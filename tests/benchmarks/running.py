"""Runs scripts of measurements and keeps what they found."""

import datetime as dt
import json
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from benchmarks import record
from benchmarks.watching import peak_of

HERE = Path(__file__).resolve().parent
PARTS = tuple(sorted(path.stem.removeprefix("bench_") for path in HERE.glob("bench_*.py")))


def command_of(name: str, file: Path, *, quick: bool) -> list[str]:
    """What writes the rows of a part into a file."""
    command = [sys.executable, str(HERE / "one.py"), f"bench_{name}", str(file)]
    return [*command, "--quick"] if quick else command


def part(
    name: str, *, quick: bool = False, command: Callable[..., list[str]] = command_of
) -> dict[str, Any]:
    """Run one script in a process of its own and take its rows, those before a failure too.

    Parameters
    ----------
    name : str
        One of `PARTS`.
    quick : bool
        Whether with small counts.
    command : callable
        As `command_of`.
    """
    began = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "rows"
        process = subprocess.Popen(command(name, file, quick=quick))
        try:
            with peak_of(process.pid) as peak:
                code = process.wait()
        finally:
            if process.poll() is None:
                process.terminate()
                process.wait()
        lines = file.read_text(encoding="utf-8").splitlines() if file.is_file() else []
    return {
        "part": name,
        "began_at": began,
        "load_average_1min": round(load, 2),
        "rows": record.rows_of(_read(lines, name, code), peak.mb),
    }


def _read(lines: list[str], name: str, code: int) -> list[dict[str, Any]]:
    rows = []
    for line in lines:
        try:
            rows.append(json.loads(line))
        except json.JSONDecodeError:  # killed while it wrote
            continue
    if code and not any(row.get("failed") for row in rows):
        why = signal.Signals(-code).name if code < 0 else f"exit code {code}"
        rows.append({"what": name, "failed": f"ended by {why}"})
    return rows


def collected(
    names: Iterable[str],
    file: Path,
    *,
    quick: bool = False,
    run: Callable[..., dict[str, Any]] = part,
) -> dict[str, Any]:
    """Run parts and keep what they found in a file, written anew after each.

    Parameters
    ----------
    names : iterable of str
        Parts to run; the others of the file stay (`record.kept`).
    file : Path
        Where it is kept.
    quick : bool
        Whether with small counts.
    run : callable
        As `part`.
    """
    names = list(names)
    found: dict[str, Any] = {
        "format": record.FORMAT,
        "measured_on": dt.date.today().isoformat(),
        "quick": quick,
        "load_average_1min": round(os.getloadavg()[0], 2),
        "machine": record.machine(),
        "parts": [],
    }
    done = {one["part"]: one for one in record.kept(file, found, names)}
    for name in names:
        print(f"{name} ...", file=sys.stderr, flush=True)
        done[name] = run(name, quick=quick)
        found["parts"] = [done[one] for one in sorted(done)]
        record.write(file, found)
    return found
