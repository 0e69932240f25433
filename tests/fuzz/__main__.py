"""Breaks files of every format and reads them: no traceback, no lost row, no hang, under 1 GB.

Each format gets as many broken files as asked for, always the same for a seed. What should not
have been is written to a folder, a few files of each kind, with the trace beside them. Examples:
python tests/fuzz --per-format 200; python tests/fuzz "register csv" --case 17 --seed 1
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import sys
import time
from collections import Counter
from pathlib import Path

from rich.console import Console
from rich.progress import track

# before numpy: a fork has none of the threads of what it was forked from
os.environ["OMP_NUM_THREADS"] = os.environ["OPENBLAS_NUM_THREADS"] = "1"

TESTS = Path(__file__).resolve().parents[1]
sys.path[:1] = [str(TESTS)]

from fuzz import runner  # noqa: E402
from fuzz.formats import formats  # noqa: E402

KEPT = 3
"""Files kept of each kind of finding."""


def show(case: runner.Case, folder: Path) -> int:
    """Writes one broken file, and reads it in a worker."""
    path = written(case, folder)
    for _, outcome in runner.run([case], workers=1):
        print(f"{path}: {outcome.what}\n{outcome.told}")
    return 0


def written(case: runner.Case, folder: Path) -> Path:
    """The file of a case, to be looked at."""
    folder.mkdir(parents=True, exist_ok=True)
    name = f"{case.format.replace(' ', '_')}-{case.seed}-{case.number}"
    path = folder / f"{name}{formats()[case.format].suffix}"
    path.write_bytes(case.data())
    return path


def table(counts: dict[str, Counter[str]]) -> str:
    """What became of the files of each format."""
    names = (runner.READ, runner.REFUSED, *runner.WRONG)
    lines = [f"{'format':20}{'files':>7}" + "".join(f"{name:>10}" for name in names)]
    for name, found in counts.items():
        cells = "".join(f"{found[what] or '.':>10}" for what in names)
        lines.append(f"{name:20}{found.total():>7}{cells}")
    return "\n".join(lines)


def main() -> int:
    """Prints a table; 1 where something was found."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("names", nargs="*", metavar="format", help="default: every one")
    parser.add_argument("--per-format", type=int, default=2000, help="files of each format")
    parser.add_argument("--seed", type=int, default=1, help="other files")
    parser.add_argument("--seconds", type=float, default=1e9, help="begin none after so long")
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    parser.add_argument("--record", type=Path, help="write what was found (JSON)")
    parser.add_argument("--case", type=int, help="write and read this one only")
    parser.add_argument("--folder", type=Path, default=TESTS.parent / "build" / "fuzz")
    args = parser.parse_args()
    unknown = set(args.names) - set(formats())
    if unknown:
        parser.error(f"no format {', '.join(unknown)}; formats: {', '.join(formats())}")
    names = args.names or list(formats())
    runner.warm_up()
    if args.case is not None:
        return show(runner.Case(names[0], args.case, args.seed), args.folder)
    # format after format for each number: a run that is cut short has tried every one
    cases = (
        runner.Case(name, number, args.seed) for number in range(args.per_format) for name in names
    )
    counts: dict[str, Counter[str]] = {name: Counter() for name in names}
    kinds: dict[str, list[str]] = {}
    until = time.monotonic() + args.seconds
    found = track(
        runner.run(cases, args.workers, until), "files", args.per_format * len(names),
        console=Console(stderr=True),
    )  # fmt: skip
    with contextlib.suppress(KeyboardInterrupt):  # what was tried so far is told
        for case, outcome in found:
            counts[case.format][outcome.what] += 1
            if outcome.what in runner.WRONG:
                alike = kinds.setdefault(f"{case.format}: {outcome.kind}", [])
                alike.append(f"{case.seed}-{case.number}")
                if len(alike) <= KEPT:
                    path = written(case, args.folder)
                    path.with_suffix(".txt").write_text(
                        f"python tests/fuzz {case.format!r} --seed {case.seed} "
                        f"--case {case.number}\n\n{outcome.told}\n",
                        encoding="utf-8",
                    )
    print(table(counts))
    for kind, where in sorted(kinds.items(), key=lambda item: -len(item[1])):
        print(f"{len(where):6}  {kind} ({', '.join(where[:KEPT])})")
    if args.record:
        args.record.parent.mkdir(parents=True, exist_ok=True)
        record = {
            "seed": args.seed,
            "files": {n: dict(c) for n, c in counts.items()},
            "found": kinds,
        }
        args.record.write_text(json.dumps(record, indent=1, ensure_ascii=False), encoding="utf-8")
    return int(bool(kinds))


if __name__ == "__main__":
    sys.exit(main())
