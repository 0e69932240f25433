"""The worked places, worked out again without saltreach.

    python tests/reference/worked/by_hand.py [--check]

reads what is given in each `places/NAME.toml` (`[register]`, `[layers]`, `[policy]`, `stock`) and
writes the steps and what is expected below it again; `--check` only says which files would
change. Nothing here reads the tool's code, constants or answers. The rules are those of the
standards, from memory where the project's own list says so, and the judged ones of
`data/limits_and_judgement.md` and the documentation of the formulas. The method is another one:
draws in place of the tool's quadrature, counting hours, integrals by adaptive quadrature.

A chapter takes a place and adds steps and expected columns; one more is one more line in CHAPTERS.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

from hand import Place, figures, read
from hand_air import losses, salt, wetness
from hand_in_place import in_place
from hand_metal import hazard, metal
from hand_place import kind_of_place, resistance_class, so2_of_place

PLACES = Path(__file__).with_name("places")
CHAPTERS = (
    kind_of_place,
    so2_of_place,
    resistance_class,
    salt,
    losses,
    wetness,
    hazard,
    metal,
    in_place,
)
BELOW = "\n# Below: written by by_hand.py from what stands above; do not edit.\n"


def worked(path: Path) -> Place:
    """A place with its steps and what is expected."""
    place = read(path)
    for chapter in CHAPTERS:
        chapter(place)
    return place


def text_of(value: object) -> str:
    """A TOML value."""
    return json.dumps(value, ensure_ascii=False)


def written(path: Path) -> str:
    """The whole file: what is given as it is, and the rest anew."""
    place = worked(path)
    lines = [path.read_text(encoding="utf-8").split(BELOW)[0].rstrip() + "\n" + BELOW]
    for step in place.steps:
        cells = "".join(f"{key} = {text_of(figures(value))}\n" for key, value in step.items())
        lines.append("[[step]]\n" + cells)
    cells = (f"{key} = {text_of(figures(value, 5))}\n" for key, value in place.expected.items())
    lines.append("[expected]\n" + "".join(cells))
    return "\n".join(lines)


def stale() -> list[Path]:
    """Files that are not what would be written."""
    return [p for p in sorted(PLACES.glob("*.toml")) if p.read_text("utf-8") != written(p)]


if __name__ == "__main__":
    changed = stale()
    for path in changed:
        print(path.stem)
        if "--check" not in sys.argv:
            path.write_text(written(path), encoding="utf-8")
    if "--check" in sys.argv:
        sys.exit(bool(changed))
