"""A cluster of its own, a scheduler and two workers as processes: nothing is lost with a worker.

The reference is the same register assessed in one go. Own rules, no source.
"""

import contextlib
import os
import signal
import subprocess
import sys
import time

import geopandas as gpd
import pandas as pd
import pytest
from pandas.testing import assert_frame_equal

from helpers.decided import TODAY
from saltreach.assessment.assess import assess
from saltreach.intake import read_register
from saltreach.intake.options import Options
from saltreach.layers.embedded import embedded_file

pytest.importorskip("distributed")


@contextlib.contextmanager
def cluster(folder):
    """Address of a scheduler, and the processes of two workers."""
    file = folder / "scheduler.json"
    common = [
        "--scheduler-file", str(file), "--no-dashboard", "--interface", "lo",
        "--local-directory", str(folder),
    ]  # fmt: skip
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    dask = [sys.executable, "-m", "dask"]
    with contextlib.ExitStack() as stack:
        start = ["scheduler", "--port", "0", *common[:5]]
        worker = ["worker", "--nthreads", "1", "--no-nanny", *common]
        processes = []
        for command in (start, worker, worker):
            process = stack.enter_context(subprocess.Popen([*dask, *command], **quiet))
            stack.callback(process.kill)  # before it is waited for
            processes.append(process)
        from distributed import Client

        while not file.exists() or not file.read_text().strip():
            assert processes[0].poll() is None
            time.sleep(0.05)
        with Client(scheduler_file=str(file), set_as_default=False) as client:
            client.wait_for_workers(2, timeout=600)
            yield client.scheduler.address, processes[1:]


@pytest.mark.filterwarnings("default")
def test_a_worker_that_is_killed_costs_nothing_but_time(tmp_path, assessed_demo):
    register = read_register(embedded_file("demo/anchors.csv"), today=TODAY)
    with cluster(tmp_path) as (address, workers):
        seen = []

        def on_step(step):
            seen.append(step)
            if step.startswith("anchors: part 3 "):
                os.kill(workers[0].pid, signal.SIGKILL)

        found = assess(
            register, Options(today=TODAY), part_rows=40, scheduler=address, on_step=on_step
        )
        assert workers[0].wait(600) == -signal.SIGKILL
        assert workers[1].poll() is None
    parts = [step for step in seen if step.startswith("anchors: part ")]
    assert len(parts) > 6
    assert parts[-1] == f"anchors: part {len(parts)} of {len(parts)}"
    for name in ("anchors", "sectors", "crags", "find_out", "doubts", "rejected"):
        one, other = (getattr(result.flat, name) for result in (found, assessed_demo))
        assert_frame_equal(one, other, check_exact=True, obj=name)
    assert isinstance(found.flat.sectors, gpd.GeoDataFrame)
    assert isinstance(found.flat.find_out, pd.DataFrame)
