"""Work on many parts at once: by processes of this machine, or by a dask.distributed cluster.

What is worked out does not depend on where, by how many or in which order: results come back in
the order of the parts, and a part whose worker was lost is worked out again.
"""

from __future__ import annotations

import gc
import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from saltreach.errors import OptionError, WorkerError, cause_of

if TYPE_CHECKING:
    from multiprocessing.process import BaseProcess

Item = TypeVar("Item")
Result = TypeVar("Result")

AHEAD = 2
"""Parts handed out for each worker: one in hand and one waiting, so that finished results that
nobody has taken yet stay few."""
TRIES = 3
"""How often a part is begun before its worker's loss is said; a part too large for the memory
kills every worker it meets."""
CONNECT_S = 15
"""How long a scheduler has to answer."""
INSTALL = "pip install 'saltreach[surface]'"


class Workers(Protocol):
    """Those who work."""

    def map(self, function: Callable[[Item], Result], items: Iterable[Item]) -> Iterator[Result]:
        """`function` of each item, in the order of the items; few are taken ahead.

        Parameters
        ----------
        function : callable
            A function at the top of a module (it is sent to the workers by its name). What it
            opens it should keep by `functools.lru_cache`, so that a worker opens it once.
        items : iterable
            Small: they are sent to the workers.

        Raises
        ------
        WorkerError
            When a part lost its worker `TRIES` times, or the cluster is gone. What `function`
            raises is raised here, at the item's turn.
        """

    def end(self, *, at_once: bool = False) -> None:
        """Dismiss them: nothing more will be asked, and their memory is free.

        Parameters
        ----------
        at_once : bool
            Processes of this machine leave what they are at.
        """


@contextmanager
def workers(
    scheduler: str | None = None,
    *,
    count: int | None = None,
    ready: Callable[[], object] | None = None,
) -> Iterator[Workers]:
    """Workers, dismissed at the end however it comes.

    Parameters
    ----------
    scheduler : str, optional
        Address of the scheduler of a dask.distributed cluster, such as `tcp://10.0.0.7:8786`;
        saltreach and the files it is to read must be there under the same paths. Else processes
        of this machine.
    count : int, optional
        Processes; by default one a core that this process may use. 1: this process itself.
    ready : callable, optional
        What each process does as soon as it lives, while this one still prepares the parts: it
        reads what it will need. A function that can be sent by its name; what it raises is not
        heard, for the first part meets it again.

    Raises
    ------
    OptionError
        The scheduler cannot be reached, or dask.distributed is not installed.
    """
    most = _cores() if count is None else count
    by: Workers
    if scheduler is not None:
        by = _Cluster(_client(scheduler))
    else:
        by = _Here() if most <= 1 else _Processes(most, ready)
    try:
        yield by
    except BaseException:
        by.end(at_once=True)
        raise
    by.end()


class _Here:
    """This process."""

    def map(self, function: Callable[[Item], Result], items: Iterable[Item]) -> Iterator[Result]:
        return map(function, items)

    def end(self, *, at_once: bool = False) -> None:
        pass


class _Processes:
    """Processes of this machine."""

    def __init__(self, count: int, ready: Callable[[], object] | None = None) -> None:
        self.count, self.ready = count, ready
        self.begun: list[BaseProcess] = []
        self.pool = self._pool()
        for _ in range(count if ready is not None else 0):
            self._submit(os.getpid)  # a process begins when something is asked

    def map(self, function: Callable[[Item], Result], items: Iterable[Item]) -> Iterator[Result]:
        coming = iter(items)
        asked: deque[tuple[Item, Future[Result], int]] = deque()
        while True:
            while len(asked) < AHEAD * self.count:
                try:
                    item = next(coming)
                except StopIteration:
                    break
                asked.append((item, self._ask(function, item), 1))
            if not asked:
                return
            item, future, tries = asked[0]
            try:
                result = future.result()
            except BrokenProcessPool as error:
                # which part it was is not told: the first unfinished one bears the count
                if tries >= TRIES:
                    raise WorkerError(
                        f"a worker was lost {TRIES} times at the same part (killed, or out of "
                        "memory): run fewer workers, or give them more memory"
                    ) from error
                self.end()
                self.pool = self._pool()
                asked = deque(
                    (one, done if _finished(done) else self._ask(function, one), n + (i == 0))
                    for i, (one, done, n) in enumerate(asked)
                )
                continue
            asked.popleft()
            yield result

    def _ask(self, function: Callable[[Item], Result], item: Item) -> Future[Result]:
        """A pool that is broken already says so in the answer."""
        try:
            return self._submit(function, item)
        except BrokenProcessPool as error:
            broken: Future[Result] = Future()
            broken.set_exception(error)
            return broken

    def _submit(self, function: Callable[..., Result], *given: Any) -> Future[Result]:
        from multiprocessing import active_children

        before = set(active_children())
        with _unheard_interrupts():
            future = self.pool.submit(function, *given)
        self.begun += [one for one in active_children() if one not in before]
        return future

    def end(self, *, at_once: bool = False) -> None:
        self.pool.shutdown(wait=False, cancel_futures=True)
        for process in self.begun if at_once else ():
            process.terminate()

    def _pool(self) -> ProcessPoolExecutor:
        from multiprocessing import get_context

        # a fork of a process with threads may hang
        return ProcessPoolExecutor(
            self.count, mp_context=get_context("spawn"), initializer=_begin, initargs=(self.ready,)
        )


@contextmanager
def _unheard_interrupts() -> Iterator[None]:
    """Processes that begin here do not hear Ctrl-C: they end when this one ends them."""
    try:
        before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    except ValueError:  # not the main thread
        yield
        return
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before or signal.SIG_DFL)


def _finished(future: Future[Any]) -> bool:
    return future.done() and not isinstance(future.exception(), BrokenProcessPool)


def _begin(ready: Callable[[], object] | None) -> None:
    _end_with_the_parent()
    if ready is not None:
        with suppress(Exception):
            ready()
            gc.freeze()  # what was read stays: looking through it for garbage is a waste


def _end_with_the_parent() -> None:
    """A worker whose parent was killed would wait for work for ever."""
    from multiprocessing import parent_process
    from multiprocessing.connection import wait
    from threading import Thread

    parent = parent_process()
    if parent is None:
        return

    def watch() -> None:
        wait([parent.sentinel])
        os._exit(1)

    Thread(target=watch, daemon=True).start()


class _Cluster:
    """A dask.distributed cluster."""

    def __init__(self, client: Any) -> None:
        self.client = client

    def map(self, function: Callable[[Item], Result], items: Iterable[Item]) -> Iterator[Result]:
        from concurrent.futures import CancelledError

        from distributed import KilledWorker

        coming, asked = iter(items), deque[Any]()
        try:
            while True:
                most = AHEAD * max(1, sum(self.client.nthreads().values()))
                while len(asked) < most:
                    try:
                        item = next(coming)
                    except StopIteration:
                        break
                    asked.append(self.client.submit(function, item, pure=False))
                if not asked:
                    return
                try:
                    result = asked[0].result()
                except KilledWorker as error:
                    raise WorkerError(
                        f"the cluster lost every worker that took one part ({cause_of(error)}): "
                        "give its workers more memory"
                    ) from error
                except (CancelledError, OSError) as error:
                    if isinstance(error, OSError) and self.client.status == "running":
                        raise
                    raise WorkerError(
                        "the scheduler of the cluster is gone: start it again, then the same "
                        "command"
                    ) from error
                asked.popleft()
                yield result
        finally:
            with suppress(Exception):  # a cluster that is gone has nothing to cancel
                self.client.cancel(list(asked))

    def end(self, *, at_once: bool = False) -> None:
        self.client.close()


def _client(scheduler: str) -> Any:
    try:
        from distributed import Client
        from distributed.comm import resolve_address
    except ImportError as error:
        raise OptionError(
            f"scheduler {scheduler}: the package distributed is not installed; {INSTALL}"
        ) from error
    try:
        resolve_address(scheduler)  # a client with an address of no kind never ends
        return Client(scheduler, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise OptionError(
            f"scheduler {scheduler} does not answer ({cause_of(error)}): give the address that "
            "`dask scheduler` prints, such as tcp://10.0.0.7:8786"
        ) from error


def make_room() -> None:
    """Give the system back what is free, so that workers find room. Elsewhere than with glibc,
    what Python's allocator holds stays."""
    import ctypes

    import pyarrow as pa

    pa.default_memory_pool().release_unused()
    with suppress(AttributeError, OSError):
        ctypes.CDLL(None).malloc_trim(0)


def _cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
