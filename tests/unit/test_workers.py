"""Parts worked out by others: order, lost workers, refusals, and who ends when."""

import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest

from helpers import parts
from saltreach.errors import OptionError, WorkerError
from saltreach.workers import AHEAD, workers

TESTS = Path(__file__).parents[1]


@pytest.mark.parametrize("count", [1, 2])
def test_results_come_in_the_order_of_the_parts(count):
    with workers(count=count) as pool:
        assert list(pool.map(parts.slow_first, range(6))) == list(range(6))


def test_few_parts_are_taken_ahead():
    taken = []

    def items():
        for number in range(50):
            taken.append(number)
            yield number

    with workers(count=2) as pool:
        results = pool.map(parts.square, items())
        assert next(results) == 0
        assert len(taken) <= 2 * AHEAD + 1
        assert list(results) == [n * n for n in range(1, 50)]


def test_a_part_whose_worker_is_killed_is_worked_out_again(tmp_path):
    mark = str(tmp_path / "killed")
    with workers(count=2) as pool:
        found = list(pool.map(parts.killed_once, [(n, mark) for n in range(6)]))
    assert Path(mark).exists()
    assert found == [n * n for n in range(6)]


def test_a_part_that_kills_every_worker_is_said():
    with workers(count=2) as pool, pytest.raises(WorkerError, match="more memory"):
        list(pool.map(parts.always_killed, range(3)))


def test_processes_get_ready_before_anything_is_asked(tmp_path):
    with workers(count=2, ready=partial(parts.got_ready, str(tmp_path))) as pool:
        for _ in range(1000):
            if len(list(tmp_path.iterdir())) == 2:
                break
            time.sleep(0.02)
        assert len(list(tmp_path.iterdir())) == 2
        assert list(pool.map(parts.square, range(3))) == [0, 1, 4]
    with workers(count=1, ready=partial(parts.got_ready, str(tmp_path / "none"))) as pool:
        assert list(pool.map(parts.square, range(3))) == [0, 1, 4]


@pytest.mark.parametrize("count", [1, 2])
def test_what_a_part_raises_is_raised_at_its_turn(count):
    with workers(count=count) as pool:
        results = pool.map(parts.refused, range(3))
        assert next(results) == 0
        with pytest.raises(ValueError, match="no such part"):
            next(results)


def alive(process: int) -> bool:
    try:
        state = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state != "Z"


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
def test_workers_end_when_their_parent_is_killed(tmp_path):
    mark = tmp_path / "worker"
    path = os.pathsep.join([str(TESTS), *sys.path])
    with subprocess.Popen(
        [sys.executable, "-m", "helpers.parts", str(mark)], env=os.environ | {"PYTHONPATH": path}
    ) as parent:
        while not (mark.exists() and mark.read_text()):
            assert parent.poll() is None
            time.sleep(0.02)
        worker = int(mark.read_text())
        assert alive(worker)
        parent.send_signal(signal.SIGKILL)
    waited = 0
    while alive(worker) and waited < 500:
        time.sleep(0.02)
        waited += 1
    assert not alive(worker)


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
def test_an_interrupt_ends_workers_at_once_and_without_a_word(tmp_path):
    mark = tmp_path / "worker"
    path = os.pathsep.join([str(TESTS), *sys.path])
    with subprocess.Popen(
        [sys.executable, "-m", "helpers.parts", str(mark)], env=os.environ | {"PYTHONPATH": path},
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    ) as parent:  # fmt: skip
        while not (mark.exists() and mark.read_text()):
            assert parent.poll() is None
            time.sleep(0.02)
        os.killpg(parent.pid, signal.SIGINT)  # as Ctrl-C does
        out, err = parent.communicate(timeout=60)
    assert (out, err, parent.returncode) == ("stopped\n", "", 0)
    assert not alive(int(mark.read_text()))


@pytest.mark.filterwarnings("default")
def test_a_cluster_gives_the_same():
    distributed = pytest.importorskip("distributed")
    with (
        distributed.LocalCluster(
            n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
        ) as cluster,
        workers(cluster.scheduler_address) as pool,
    ):
        assert list(pool.map(parts.slow_first, range(9))) == list(range(9))
        with pytest.raises(ValueError, match="no such part"):
            list(pool.map(parts.refused, range(3)))


@pytest.mark.filterwarnings("default")
def test_a_scheduler_that_does_not_answer_is_said(monkeypatch):
    monkeypatch.setattr("saltreach.workers.CONNECT_S", 0.2)
    with (
        pytest.raises(OptionError, match="does not answer.*dask scheduler"),
        workers("tcp://127.0.0.1:9"),
    ):
        pass


def test_a_library_that_is_missing_is_said(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with (
        pytest.raises(OptionError, match=r"pip install 'saltreach\[surface\]'"),
        workers("tcp://127.0.0.1:8786"),
    ):
        pass
