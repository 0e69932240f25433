"""One script of measurements, in a process of its own: ``one.py SCRIPT FILE [--quick]``.

Each row is written to the file as soon as it is there, so that a failure loses none before it.
"""

import json
import sys
import traceback
from importlib import import_module
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))


def _number(value: object) -> object:
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"{type(value).__name__} in a row")


def main() -> int:
    script, file, *more = sys.argv[1:]
    with Path(file).open("a", encoding="utf-8") as rows:
        try:
            module = import_module(f"benchmarks.{script}")
            given = getattr(module, "QUICK", {}) if "--quick" in more else {}
            for row in module.measures(**given):
                rows.write(json.dumps(row, default=_number) + "\n")
                rows.flush()
        except (Exception, SystemExit) as error:  # noqa: BLE001
            traceback.print_exc()
            failed = f"{type(error).__name__}: {error}"[:500]
            name = script.removeprefix("bench_")
            rows.write(json.dumps({"what": name, "failed": failed}) + "\n")
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
