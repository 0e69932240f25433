"""What `make coverage` says of the branches that the tests took, in every process they started.

Prints the share of each room, and what never ran in the rooms that decide. Fails where less than
`LEAST` of all branches ran, or anything of `WHOLE` did not.
"""

import json
import sys
from pathlib import Path

import coverage

LEAST = 0.95
WHOLE = ("assessment", "planning")
"""Rooms of which every line and branch runs."""
SOURCE = Path("src/saltreach")
FOUND = Path("build/coverage/found.json")


def room(file: str) -> str:
    """The room of a file, or the file itself where it stands in none."""
    return Path(file).relative_to(SOURCE).parts[0]


def missed(file: str, found: dict) -> list[str]:
    """Lines and branches of a file that never ran; a branch ends at a line or leaves (exit)."""
    lines = set(found["missing_lines"])
    branches = [
        f"{file}:{start} -> {end if end > 0 else 'exit'}"
        for start, end in found["missing_branches"]
        if not lines & {start, end}
    ]
    return [f"{file}:{line}" for line in sorted(lines)] + branches


def report(files: dict[str, dict]) -> tuple[list[str], bool]:
    """What to print, and whether it suffices."""
    rooms: dict[str, list[int]] = {}
    lacking: list[str] = []
    for file, found in sorted(files.items()):
        taken = rooms.setdefault(room(file), [0, 0])
        taken[0] += found["summary"]["covered_branches"]
        taken[1] += found["summary"]["num_branches"]
        if room(file) in WHOLE:
            lacking += missed(file, found)
    said = [f"{ran:5d} of {of:5d} branches  {name}" for name, (ran, of) in rooms.items() if of]
    ran, of = (sum(column) for column in zip(*rooms.values(), strict=True))
    said.append(f"{ran:5d} of {of:5d} branches: {ran / of:.1%} (at least {LEAST:.0%})")
    said += [f"never ran: {one}" for one in lacking]
    return said, ran >= LEAST * of and not lacking


def main() -> int:
    """Combine what every process wrote, and report."""
    measured = coverage.Coverage(messages=False)
    measured.combine()
    measured.save()
    measured.json_report(outfile=str(FOUND))
    said, good = report(json.loads(FOUND.read_text())["files"])
    print("\n".join(said))
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
