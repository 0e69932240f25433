"""Every measurement, one after another, each script in a process of its own; one table at the end.

``python tests/benchmarks`` runs them all, ``python tests/benchmarks read assess`` those two, and
``--quick`` takes small counts. The table is printed and kept in ``results/DAY.json`` beside this
file, which the documentation shows; what was measured on the same day and is not measured again
stays there. A quick run is kept in ``build/benchmarks``. Written after each part, so that one that
fails or is stopped takes no other with it: its failure is a row.
"""

import argparse
import datetime as dt
import json
import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
TOP = HERE.parents[1]
sys.path[:0] = [str(HERE.parent), str(TOP / "src" / "docs")]

import measured  # noqa: E402

from benchmarks import record  # noqa: E402
from benchmarks.watching import peak_of  # noqa: E402

PARTS = tuple(sorted(path.stem.removeprefix("bench_") for path in HERE.glob("bench_*.py")))


def part(name: str, *, quick: bool = False) -> dict[str, Any]:
    """Run one script and take its rows; those before a failure are kept.

    Parameters
    ----------
    name : str
        One of `PARTS`.
    quick : bool
        Whether with small counts.
    """
    began = dt.datetime.now(dt.UTC).isoformat(timespec="seconds")
    load = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "rows"
        command = [sys.executable, str(HERE / "one.py"), f"bench_{name}", str(file)]
        process = subprocess.Popen([*command, *(["--quick"] if quick else [])])
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


def collected(names: list[str], file: Path, *, quick: bool = False) -> dict[str, Any]:
    """Run parts and keep what they found in a file, written anew after each."""
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
        done[name] = part(name, quick=quick)
        found["parts"] = [done[one] for one in sorted(done)]
        record.write(file, found)
    return found


def show(found: dict[str, Any]) -> None:
    """Print the table."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    table = Table(title=escape(measured.machine(found)))
    for place, head in enumerate(measured.HEADS):
        table.add_column(head, justify="left" if place in (0, 4, 9) else "right", overflow="fold")
    for one in found["parts"]:
        for row in one["rows"]:
            table.add_row(*map(escape, measured.cells(row)))
        table.add_section()
    Console(width=None if sys.stdout.isatty() else 200).print(table)


def main() -> int:
    """Exit code 1 where a part failed."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("parts", nargs="*", metavar="PART", help=f"some of {', '.join(PARTS)}")
    parser.add_argument("--quick", action="store_true", help="small counts")
    parser.add_argument("--out", type=Path, metavar="FILE", help="where to keep the table")
    given = parser.parse_args()
    unknown = sorted(set(given.parts) - set(PARTS))
    if unknown:
        parser.error(f"no such part: {', '.join(unknown)}; there are {', '.join(PARTS)}")
    folder = TOP / "build" / "benchmarks" if given.quick else measured.RESULTS
    file = given.out or folder / f"{dt.date.today().isoformat()}.json"
    names = list(dict.fromkeys(given.parts)) or list(PARTS)
    found = collected(names, file, quick=given.quick)
    show(found)
    return int(any(row.get("failed") for one in found["parts"] for row in one["rows"]))


if __name__ == "__main__":
    sys.exit(main())
