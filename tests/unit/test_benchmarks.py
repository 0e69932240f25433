"""The runner of the benchmarks: what it keeps, what a failure leaves, what the documentation shows.

Nothing here is timed, and no benchmark is run.
"""

import io
import json
import math
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import psutil
import pytest
from rich.console import Console

from benchmarks import bench_assess, record, running
from benchmarks.__main__ import show
from benchmarks.watching import peak_of, run

sys.path.insert(0, str(Path(__file__).parents[2] / "src" / "docs"))

import measured
import pages


def test_rates_and_times_as_fast():
    (row,) = record.rows_of(
        [{"what": "a", "count": 600, "seconds": 4.0, "peer": "p", "peer_seconds": 10.0,
          "ratio": 0.4, "peak_mb": 12.34}], 99.0,
    )  # fmt: skip
    assert row == {
        "what": "a", "count": 600, "seconds": 4.0, "peer": "p", "peer_seconds": 10.0,
        "peak_mb": 12.3, "peak_of_part": False, "per_second": 150.0, "times_as_fast": 2.5,
        "growth": None,
    }  # fmt: skip


def test_a_row_without_a_peak_has_that_of_its_part():
    (row,) = record.rows_of([{"what": "a", "seconds": 0.0, "count": 3}], 99.0)
    assert (row["peak_mb"], row["peak_of_part"]) == (99.0, True)
    assert row["per_second"] is None
    assert row["times_as_fast"] is None


def test_growth_by_hand():
    # log10: x = 1, 2, 3; y = 0, 1, 3. Slope ((-1)(0 - 4/3) + (1)(3 - 4/3)) / 2 = 1.5.
    assert record.growth([10, 100, 1000], [1, 10, 1000]) == pytest.approx(1.5, rel=1e-12)
    assert record.growth([7, 14], [3, 12]) == pytest.approx(2.0, rel=1e-12)  # fourfold for twice


@pytest.mark.parametrize(("counts", "seconds"), [([5], [1]), ([5, 5], [1, 2]), ([1, 2], [0, 1])])
def test_no_growth_where_none_shows(counts, seconds):
    assert record.growth(counts, seconds) is None


def test_growth_stands_at_the_largest_count_of_the_same():
    times = (("a", 100, 5), ("a", 10, 5), ("b", 10, 1), ("a", 1000, 5), ("b", 1000, 1e4))
    rows = record.rows_of([{"what": w, "count": n, "seconds": s} for w, n, s in times], 0.0)
    found = {
        (row["what"], row["count"]): row["growth"] for row in rows if row["growth"] is not None
    }
    assert found == {("a", 1000): pytest.approx(0), ("b", 1000): pytest.approx(2)}


def test_what_is_kept_has_no_folders_and_is_json():
    (row,) = record.rows_of(
        [{"what": "a", "seconds": np.float64(2), "count": np.int64(4), "peer_seconds": math.nan,
          "failed": "OSError: '/home/someone/data/a.csv'\n and file:///tmp/x/b.html, 3 km/h"}],
        1.0,
    )  # fmt: skip
    assert row["failed"] == "OSError: 'a.csv' and file://b.html, 3 km/h"
    assert row["peer_seconds"] is None
    assert json.loads(json.dumps(row, allow_nan=False)) == row


def test_the_machine_has_neither_name_nor_folder():
    found = json.dumps(record.machine())
    assert os.uname().nodename not in found
    assert str(Path.home()) not in found
    assert set(record.machine()["versions"]) == {"Python", *record.LIBRARIES}


def script(text: str):
    """A part whose script is this text; `out` is the file of its rows."""
    head = "import json, os, signal, sys\nout = open(sys.argv[1], 'a')\n"
    return lambda name, file, quick: [sys.executable, "-c", head + text, str(file)]


ROW = "print(json.dumps({'what': 'a', 'count': 2, 'seconds': 1}), file=out, flush=True)\n"


def test_a_part_gives_its_rows():
    found = running.part("read", command=script(ROW))
    assert found["part"] == "read"
    (row,) = found["rows"]
    assert (row["what"], row["per_second"], row["peak_of_part"]) == ("a", 2, True)


@pytest.mark.parametrize(
    ("end", "said"),
    [
        ("os.kill(os.getpid(), signal.SIGKILL)", "ended by SIGKILL"),
        ("out.write('{\"what\": '); out.flush(); os._exit(4)", "ended by exit code 4"),
    ],
)
def test_a_part_that_ends_badly_keeps_its_rows_and_says_how(end, said):
    rows = running.part("read", command=script(ROW + end))["rows"]
    assert [(row["what"], row.get("failed")) for row in rows] == [("a", None), ("read", said)]


@pytest.mark.parametrize(("more", "counts"), [([], [7]), (["--quick"], [2])])
def test_one_script_writes_rows_as_they_come_and_its_failure(tmp_path, more, counts):
    (tmp_path / "benchmarks").mkdir()
    (tmp_path / "benchmarks" / "bench_odd.py").write_text(
        "QUICK = {'count': 2}\n"
        "def measures(count=7):\n"
        "    yield {'what': 'a', 'count': count}\n"
        "    raise OSError('full')\n"
    )
    rows = tmp_path / "rows"
    code = (
        f"import runpy, sys; sys.path.insert(0, {str(tmp_path)!r}); sys.argv[1:] = "
        f"['bench_odd', {str(rows)!r}, *{more!r}]; "
        f"runpy.run_path({str(running.HERE / 'one.py')!r}, run_name='__main__')"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert "OSError: full" in done.stderr
    first, last = map(json.loads, rows.read_text().splitlines())
    assert [first["count"]] == counts
    assert last == {"what": "odd", "failed": "OSError: full"}


def part(name, *, quick, fails=()):
    rows = [{"what": f"{name} <1>", "count": 1200, "seconds": 0.5, "note": "a | b"}]
    if name in fails:
        rows = [{"what": name, "failed": "ValueError: [red]odd"}]
    return {
        "part": name,
        "began_at": "",
        "load_average_1min": 0.1,
        "rows": record.rows_of(rows, 5.0),
    }


def test_a_failing_part_is_a_row_and_stops_no_other(tmp_path):
    file = tmp_path / "new" / "2026-01-02.json"
    found = running.collected(
        ["read", "book"], file, run=lambda name, quick: part(name, quick=quick, fails=("read",))
    )
    assert json.loads(file.read_text()) == found
    assert [path.name for path in file.parent.iterdir()] == [file.name]
    assert [one["part"] for one in found["parts"]] == ["book", "read"]
    console = Console(width=200, file=io.StringIO())
    show(found, console)
    text = console.file.getvalue()
    assert "FAILED: ValueError: [red]odd" in text
    assert "2,400" in text


def test_what_was_found_before_one_is_stopped_is_kept(tmp_path):
    def stopped(name, quick):
        if name == "book":
            raise KeyboardInterrupt
        return part(name, quick=quick)

    file = tmp_path / "2026-01-02.json"
    with pytest.raises(KeyboardInterrupt):
        running.collected(["read", "book"], file, run=stopped)
    assert [one["part"] for one in json.loads(file.read_text())["parts"]] == ["read"]


def test_parts_of_the_same_day_stay_until_measured_again(tmp_path):
    file = tmp_path / "a.json"
    running.collected(["read", "book"], file, run=lambda n, quick: part(n, quick=quick))
    again = running.collected(
        ["read"], file, run=lambda n, quick: part(n, quick=quick, fails=("read",))
    )
    assert [(one["part"], "failed" in one["rows"][0]) for one in again["parts"]] == [
        ("book", False),
        ("read", True),
    ]
    old = json.loads(file.read_text())
    for name, value in (("measured_on", "2025-01-01"), ("quick", True), ("machine", {})):
        file.write_text(json.dumps(old | {name: value}))
        with pytest.raises(SystemExit, match="a.json is of another day or machine"):
            running.collected(["read"], file, run=part)
        assert json.loads(file.read_text()) == old | {name: value}


def test_peak_counts_a_process_and_what_it_starts():
    child = "x = bytearray(60_000_000); print(flush=True); input()"
    code = (
        "import subprocess, sys\n"
        f"sys.exit(subprocess.run([sys.executable, '-c', {child!r}]).returncode)"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    process.stdout.readline()
    own = psutil.Process(process.pid).memory_info().rss / 1e6
    with peak_of(process.pid) as peak:
        pass
    process.communicate(b"\n")
    assert process.returncode == 0
    assert own < 60 < peak.mb < 200


def test_a_command_may_refuse_rows_but_not_fail():
    assert run(sys.executable, "-c", "raise SystemExit(1)")[1] >= 0
    with pytest.raises(RuntimeError, match="exit code 2: no such file"):
        run(sys.executable, "-c", "import sys; print('no such file', file=sys.stderr); sys.exit(2)")


def test_the_page_shows_the_newest_file(tmp_path, monkeypatch):
    monkeypatch.setattr(measured.newest, "__defaults__", (tmp_path,))
    assert pages.benchmarks() == measured.NOTHING
    fails = {"2025-12-31": ("read",), "2026-01-02": ()}
    for day, failing in fails.items():
        running.collected(
            ["read"],
            tmp_path / f"{day}.json",
            run=lambda n, quick, failing=failing: part(n, quick=quick, fails=failing),
        )
    (tmp_path / "notes.json").write_text("no")
    text = pages.benchmarks()
    assert text.startswith(f"Measured on {measured.newest(tmp_path)['measured_on']}: ")
    quick = measured.newest(tmp_path) | {"quick": True}
    assert "with small counts" in measured.machine(quick)
    assert "with small counts" not in text
    assert text.splitlines()[2:] == [
        "## Read",
        "",
        "| what | count | s | per s | peer | peer's s | times as fast | peak, MB | growth | note |",
        "|---|---|---|---|---|---|---|---|---|---|",
        "| read &lt;1&gt; | 1,200 | 0.50 | 2,400 |  |  |  | ≤ 5.00 |  | a \\| b |",
    ]


@pytest.mark.parametrize(
    ("value", "said"),
    [(None, ""), (0, "0"), (1234.5, "1,234"), (99.96, "100.0"), (12.34, "12.3"), (1.234, "1.23"),
     (0.1, "0.10"), (0.0213, "0.021"), (0.00012, "0.00012")],
)  # fmt: skip
def test_numbers_are_never_powers_of_ten(value, said):
    assert measured.number(value) == said


def test_a_crag_of_the_synthetic_region_has_three_sectors_beside_each_other():
    table = bench_assess.region(1000, bench_assess.EUROPE)
    sectors = table.groupby(["crag", "sector"])[["lon", "lat"]].agg(["mean", "size"])
    assert len(table) == 1000
    assert set(sectors["lon", "size"]) == {25}
    by_crag = sectors.xs("mean", axis=1, level=1).groupby("crag")
    assert sorted(by_crag.size().unique()) == [1, 3]  # 40 sectors: thirteen crags, and one more
    # twice 4.5 times the spread of 0.002 degrees, which no pair of 39 sectors ought to pass
    assert ((by_crag.max() - by_crag.min()) < 0.018).all(axis=None)
    assert (by_crag["lon"].max() - by_crag["lon"].min()).drop("Crag 13").gt(0.0002).all()
