"""Every measurement, one after another, each script in a process of its own; one table at the end.

``python tests/benchmarks`` runs them all, ``python tests/benchmarks read assess`` those two, and
``--quick`` takes small counts. The table is printed and kept in ``results/DAY.json`` beside this
file, which the documentation shows; what was measured on the same day and is not measured again
stays there. A quick run is kept in ``build/benchmarks``. Written after each part, so that one that
fails or is stopped takes no other with it: its failure is a row, and the exit code 1.
"""

import argparse
import datetime as dt
import sys
from pathlib import Path
from typing import Any

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP / "tests"), str(TOP / "src" / "docs")]

import measured  # noqa: E402
from rich.console import Console  # noqa: E402
from rich.markup import escape  # noqa: E402
from rich.table import Table  # noqa: E402

from benchmarks.running import PARTS, collected  # noqa: E402

TEXTS = ("what", "peer", "note")


def show(found: dict[str, Any], console: Console) -> None:
    """Print the table."""
    table = Table(title=escape(measured.machine(found)))
    for head in measured.HEADS:
        table.add_column(head, justify="left" if head in TEXTS else "right", overflow="fold")
    for one in found["parts"]:
        for row in one["rows"]:
            table.add_row(*map(escape, measured.cells(row)))
        table.add_section()
    console.print(table)


def main() -> int:
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
    show(found, Console(width=None if sys.stdout.isatty() else 200))
    ran = [one for one in found["parts"] if one["part"] in names]
    return int(any(row.get("failed") for one in ran for row in one["rows"]))


if __name__ == "__main__":
    sys.exit(main())
