"""Work in other processes: on this machine's cores, or on a cluster, behind one small interface.

A worker may die (killed for memory, by a person, by a damaged photo); nothing is lost then. What
was on its way is done again, on its second try in a process of its own, so that work which kills
whatever does it is found out and costs no other.
"""

import os
import signal
import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    Future,
    ProcessPoolExecutor,
    wait,
)
from itertools import islice
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait as wait_for
from typing import Any, Generic, Protocol, TypeVar

from leastcut.errors import InputError, LeastcutError

T = TypeVar("T")
R = TypeVar("R")

WORKERS = 2


class ClusterError(InputError):
    """A cluster that cannot be used."""


class Executor(Protocol):
    """Where work is done.

    Attributes
    ----------
    width : int
        How much may be under way at once without waste.
    lot : int
        How many small pieces of work are best sent in one go.
    """

    width: int
    lot: int

    def submit(self, work: Callable[..., R], /, *arguments: Any) -> "Future[R]":
        """Begin some work; ask its future for the result."""

    def alone(self, work: Callable[..., R], /, *arguments: Any) -> R:
        """Do some work apart from all other, and wait for it."""

    def close(self) -> None:
        """End the workers; what is under way is given up."""


class Lost(Generic[T]):
    """What came instead of a result: the work ended its worker twice."""

    def __init__(self, item: T) -> None:
        self.item = item


class Local:
    """Worker processes on this machine; broken ones are replaced."""

    lot = 1

    def __init__(self, workers: int = WORKERS) -> None:
        self.width = workers
        self._lock = threading.Lock()
        self._pool: ProcessPoolExecutor | None = None
        self._closed = False

    def submit(self, work: Callable[..., R], /, *arguments: Any) -> "Future[R]":
        """Begin some work.

        Raises
        ------
        RuntimeError
            After `close`.
        """
        with self._lock:
            try:
                return self._ready().submit(work, *arguments)
            except BrokenExecutor:
                self._renew()
                return self._ready().submit(work, *arguments)

    def alone(self, work: Callable[..., R], /, *arguments: Any) -> R:
        """Do some work in a process of its own."""
        with _pool(1) as pool:
            return pool.submit(work, *arguments).result()

    def close(self) -> None:
        """End the workers."""
        with self._lock:
            self._closed = True
            self._renew()

    def _ready(self) -> ProcessPoolExecutor:
        if self._closed:
            raise RuntimeError("the workers were sent home")
        if self._pool is None:
            self._pool = _pool(self.width)
        return self._pool

    def _renew(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
        self._pool = None


def _pool(workers: int) -> ProcessPoolExecutor:
    # A server has threads: a forked copy of it could inherit a held lock, a fresh process cannot.
    return ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin)


def _begin() -> None:
    """Set a worker up: one thread each, the keyboard is the parent's, no life after the parent."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    assert parent is not None
    threading.Thread(target=_follow, args=(parent.sentinel,), daemon=True).start()
    one_thread()
    os.nice(5)  # a page that somebody waits for goes first


def _follow(sentinel: int) -> None:
    wait_for([sentinel])
    os._exit(1)


def one_thread() -> None:
    """Keep the picture library to one thread: the processes are the threads."""
    import cv2

    cv2.setNumThreads(1)


class Cluster:
    """Workers of a Dask cluster, wherever they are."""

    lot = 8  # each sending costs client, scheduler and worker some milliseconds

    def __init__(self, address: str) -> None:
        client: Any = _client(address)
        self._client = client
        self._executor = client.get_executor(pure=False, retries=2)
        self.width = max(sum(client.nthreads().values()), 1)

    def submit(self, work: Callable[..., R], /, *arguments: Any) -> "Future[R]":
        """Begin some work."""
        future: Future[R] = self._executor.submit(_singly, work, *arguments)
        return future

    def alone(self, work: Callable[..., R], /, *arguments: Any) -> R:
        """Do some work; the cluster itself keeps bad work apart."""
        return self.submit(work, *arguments).result()

    def close(self) -> None:
        """Leave the cluster; its workers live on."""
        self._executor.shutdown(wait=False)
        self._client.close()


def _singly(work: Callable[..., R], *arguments: Any) -> R:
    one_thread()
    return work(*arguments)


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError:
        raise ClusterError(
            "the package for clusters is not installed",
            do='Install it with pip install "leastcut[cluster]"',
        ) from None
    try:
        return Client(address, timeout=10, set_as_default=False)
    except (OSError, ValueError) as error:
        raise ClusterError(
            f"no scheduler answers: {error}",
            where=address,
            do="Start one with `dask scheduler` and give its address, such as tcp://bay-2:8786",
        ) from None


def each(
    executor: Executor,
    work: Callable[..., R],
    items: Iterable[T],
    *,
    arguments: Callable[[T], tuple[Any, ...]],
    give_up: Callable[[], bool] = lambda: False,
    ahead: int = 1,
    together: int = 1,
) -> Iterator[tuple[T, R | Lost[T]]]:
    """Do the same work on every item, and yield each with its result as it comes.

    Parameters
    ----------
    executor : Executor
        Where.
    work : callable
        A function of a module, so that another process finds it.
    items : iterable
        Only so many are taken as are under way.
    arguments : callable
        Makes the arguments of one item, here, when its turn comes.
    give_up : callable
        Asked between results; True ends it.
    ahead : int
        So many lots are handed out for each that can be worked on.
    together : int
        So many items make one lot, sent and brought back in one go: small work on a cluster is
        otherwise mostly post.

    Yields
    ------
    item, result
        A `Lost` instead of a result where the work ended its worker twice. An exception of the
        work itself is raised here.
    """
    waiting = iter(items)
    under_way: dict[Future[list[R]], list[T]] = {}
    while not give_up():
        while len(under_way) < ahead * executor.width and (lot := list(islice(waiting, together))):
            future = executor.submit(in_one_go, work, [arguments(item) for item in lot])
            under_way[future] = lot
        if not under_way:
            return
        for future in wait(under_way, return_when=FIRST_COMPLETED).done:
            lot = under_way.pop(future)
            found = _found(future)
            if found is not None:
                yield from zip(lot, found, strict=True)
                continue
            for item in lot:  # one of them ended the worker; which, their second try shows
                yield item, _again(executor, work, item, arguments)


def in_one_go(work: Callable[..., R], each_of: list[tuple[Any, ...]]) -> list[R]:
    """Do the same work on every item of a lot, in the worker."""
    return [work(*arguments) for arguments in each_of]


class LostError(LeastcutError):
    """Work that ended its worker twice."""


def one(executor: Executor, work: Callable[..., R], /, *arguments: Any) -> R:
    """Do one piece of work and wait for it; once more, apart, if its worker dies.

    Raises
    ------
    LostError
        If it ended its worker twice.
    """
    ((_, result),) = each(executor, work, [None], arguments=lambda _: arguments)
    if isinstance(result, Lost):
        raise LostError(f"{work.__name__} ended its worker twice")
    return result


def _found(future: "Future[list[R]]") -> list[R] | None:
    """Return the results of a lot; None where its worker died."""
    try:
        return future.result()
    except Exception as error:
        if not _died(error):
            raise
        return None


def _again(
    executor: Executor, work: Callable[..., R], item: T, arguments: Callable[[T], tuple[Any, ...]]
) -> R | Lost[T]:
    try:
        return executor.alone(work, *arguments(item))
    except Exception as error:
        if not _died(error):
            raise
        return Lost(item)


def _died(error: Exception) -> bool:
    """Tell whether an error means that a worker died."""
    return isinstance(error, BrokenExecutor) or type(error).__name__ in {
        "KilledWorker",
        "FutureCancelledError",
        "CancelledError",
    }
