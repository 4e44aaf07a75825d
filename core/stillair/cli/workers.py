"""Processes that work beside this one, and end when it is interrupted."""

from __future__ import annotations

import gc
import multiprocessing
import signal
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from typing import Any, Protocol, TypeVar

__all__ = ["Spread", "workers"]

_Task = TypeVar("_Task")
_Found = TypeVar("_Found")


class Spread(Protocol):
    """Does a work for each task, in some process; what comes of it is in the order of the tasks."""

    def __call__(
        self, work: Callable[[_Task], _Found], tasks: Iterable[_Task], *, chunksize: int = 1
    ) -> Iterator[_Found]: ...


@contextmanager
def workers(number: int, begin: Callable[..., object], *given: Any) -> Iterator[Spread]:
    """Processes that were made ready by `begin`. They are ended at once where anything raises."""
    before = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(number, initializer=_ready, initargs=(begin, given))

    def spread(
        work: Callable[[_Task], _Found], tasks: Iterable[_Task], *, chunksize: int = 1
    ) -> Iterator[_Found]:
        every = list(tasks)
        parts = [every[start : start + chunksize] for start in range(0, len(every), chunksize)]
        # Not `map`, which cancels what waits: a pool that is broken at that moment stumbles over it.
        with _held_back():
            waiting = [pool.submit(_done, work, part) for part in parts]
        return (found for each in waiting for found in each.result())

    try:
        yield spread
    except BaseException:
        for process in set(multiprocessing.active_children()) - before:
            process.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


@contextmanager
def _held_back() -> Iterator[None]:
    """An interruption waits meanwhile; what is started never gets one: only this process tells of it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _done(work: Callable[[_Task], _Found], tasks: Sequence[_Task]) -> list[_Found]:
    return [work(task) for task in tasks]


def _ready(begin: Callable[..., object], given: tuple[Any, ...]) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    begin(*given)
    # What was made ready stays, and little of what a task makes is garbage: it is seldom looked for.
    gc.freeze()
    gc.set_threshold(500_000, 5, 5)
