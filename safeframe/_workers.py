"""Long work shared out to processes, with progress, that an interrupt ends cleanly."""

from __future__ import annotations

import gc
import multiprocessing
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

Progress = Callable[[float], None]
"""Called with the done share of long work, from 0 to 1."""


@contextmanager
def shared_out(
    processes: int,
    make: Callable[..., Callable[[Any], Any]],
    settings: tuple[Any, ...],
    *,
    copies: bool = False,
) -> Iterator[Callable[[Sequence[Any]], Iterator[Any]]]:
    """Give a function that maps pieces of work to results, in any order.

    ``make(*settings)`` makes the worker, once in each process; with one process here and now.
    More processes are started afresh, so a script that asks for them needs the usual
    ``if __name__ == "__main__"``. With ``copies`` they are copies of this process, which have
    all modules loaded, where the system makes such by itself and no other thread could be in the
    middle of something; libraries with threads of their own must not be in use then.
    """
    if processes < 2:
        worker = make(*settings)
        yield lambda pieces: map(worker, pieces)
        return
    copied = copies and multiprocessing.get_all_start_methods()[0] == "fork"
    copied = copied and threading.active_count() == 1
    context = multiprocessing.get_context("fork" if copied else "spawn")
    pool = None
    try:
        with _interrupts_held(tracked=not copied):
            pool = context.Pool(processes, _start, (make, settings))
        made = pool
        yield lambda pieces: made.imap_unordered(_work, pieces)
    finally:
        if pool is not None:
            pool.terminate()


@contextmanager
def _interrupts_held(*, tracked: bool) -> Iterator[None]:
    """Hold interrupts back from this program and from the processes that it starts meanwhile.

    A terminal sends them to the whole group, also to a process that is still starting; one whose
    parent does not go on with that would complain. An interrupt is raised at the end.
    """
    mask = getattr(signal, "pthread_sigmask", None)  # Not on every system.
    if mask is None:
        yield
        return
    if tracked:
        from multiprocessing import resource_tracker  # deferred: not on every system.

        # Started with the first process, it would let interrupts through again for the others.
        resource_tracker.ensure_running()
    held: list[int] = []
    is_main = threading.current_thread() is threading.main_thread()
    # The mask is for the processes. Other threads of this one have none of it, and what they are
    # sent is answered in the main thread.
    handler = (
        signal.signal(signal.SIGINT, lambda number, _: held.append(number)) if is_main else None
    )
    before = mask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        mask(signal.SIG_SETMASK, before)
        if is_main:
            signal.signal(signal.SIGINT, signal.SIG_DFL if handler is None else handler)
    if held:
        signal.raise_signal(signal.SIGINT)


_made: list[Callable[[Any], Any]] = []
"""The worker of this process."""


def _start(make: Callable[..., Callable[[Any], Any]], settings: tuple[Any, ...]) -> None:
    # An interrupt reaches the whole group: the parent alone answers it and ends its workers.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # As in the program itself: the search for cycles costs time and frees next to nothing here.
    gc.disable()
    _made[:] = [make(*settings)]


def _work(piece: Any) -> Any:
    return _made[0](piece)
