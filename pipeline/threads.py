"""Working on several pieces at once, with results in the pieces' order whatever the number of threads or processes."""

import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from contextvars import ContextVar
from multiprocessing import get_context
from multiprocessing.connection import Connection
from typing import Any, TypeVar

from pipeline.handover import SECOND, STREAMS, forked

THREADS = "YARDBAND_THREADS"  # set by the workflow: how many a step may use

Given = TypeVar("Given")
Made = TypeVar("Made")


def in_order(make: Callable[[Given], Made], pieces: Iterable[Given]) -> Iterator[Made]:
    """Apply a function to pieces, a few at a time; numpy lets go of Python's lock while it works.

    Parameters
    ----------
    make : callable
        Takes a piece; changes nothing outside.
    pieces : iterable
        Drawn one by one, never more ahead than there are threads, so that memory doesn't grow with them.

    Yields
    ------
    object
        What `make` gives, in the order of the pieces, so that sums over them are the same with any number of threads.
    """
    threads = allowed()
    if threads < 2:
        yield from map(make, pieces)
        return
    with ThreadPoolExecutor(threads) as pool:
        under_way: deque[Future[Made]] = deque()
        for piece in pieces:
            under_way.append(pool.submit(make, piece))
            if len(under_way) > threads:
                yield under_way.popleft().result()
        while under_way:
            yield under_way.popleft().result()


def apart(
    make: Callable[[Given], Made], pieces: Sequence[Given], tell: Callable[[int], None] = lambda _: None
) -> list[Made]:
    """Apply a function to pieces, the second half of them in a process of its own where a step may use two threads.

    For work of many short calls of numpy, between which threads wait for Python's lock.

    Parameters
    ----------
    make : callable
        Of a module's own, so that another process finds it by its name; what it needs is imported there again.
    pieces : sequence
    tell : callable, optional
        Called now and then with how many pieces are done, those in the other process taken to keep pace.

    Returns
    -------
    list
        What `make` gives, in the order of the pieces: the same bytes with and without that process.
    """
    half = (len(pieces) + 1) // 2 if allowed() > 1 else len(pieces)

    def here() -> Iterator[Made]:
        for done, piece in enumerate(pieces[:half], start=1):
            yield make(piece)
            tell(done * len(pieces) // half)

    if half == len(pieces):
        return list(here())
    with second_process() as other:
        other.begin(_each, (make, pieces[half:]))
        made = list(here())
        others: list[Made] = other.made()
        return made + others


def _each(work: tuple[Callable[[Given], Made], Sequence[Given]]) -> list[Made]:
    make, pieces = work
    return [make(piece) for piece in pieces]


class SecondProcess:
    """A process beside this one that makes one thing after the other, with one thread."""

    def __init__(self) -> None:
        self._pipe: Connection | None = None  # until there is work

    def _start(self) -> Connection:
        """Start it: forked where a run has a process for that, which this one is not fit for.

        A fork of this one would take along locks that libraries' threads hold.
        """
        context = get_context("spawn")
        here, there = context.Pipe()
        self._forked = forked([SECOND], (there.fileno(), *STREAMS[1:]))
        if self._forked is None:
            self._process = context.Process(target=serve, args=(there,), daemon=True)
            self._process.start()
        there.close()
        return here

    def __enter__(self) -> "SecondProcess":
        """Give the process; it starts as it gets its first work."""
        return self

    def __exit__(self, error: type[BaseException] | None, *_: object) -> None:
        """End it, in the middle of its work if something went wrong here."""
        if self._pipe is None:
            return
        self._pipe.close()
        if self._forked is not None:
            self._forked.close()
            return
        if error is not None:
            self._process.kill()
        self._process.join()

    def begin(self, make: Callable[[Given], Any], given: Given) -> None:
        """Have it apply a function to something; `made` must be asked for before it gets more.

        Parameters
        ----------
        make : callable
            As for `apart`.
        given : object
        """
        self._work: tuple[Callable[[Any], Any], Any] = make, given
        if self._pipe is None:
            self._pipe = self._start()
        with suppress(OSError):  # if it has ended, `made` finds that out
            self._pipe.send(self._work)

    def made(self) -> Any:
        """Wait for what it makes; what it failed to make is made here."""
        assert self._pipe is not None
        try:
            return self._pipe.recv()
        except (EOFError, OSError):  # it ended early, whatever for: here an error is reported as any other
            make, given = self._work
            return make(given)


_OPEN: ContextVar[SecondProcess | None] = ContextVar("_OPEN", default=None)


@contextmanager
def second_process() -> Iterator[SecondProcess]:
    """Give the second process that is open; where none is, open one that all within share.

    To start one takes as long as much of what it is given to do.
    """
    if (already := _OPEN.get()) is not None:
        yield already
        return
    with SecondProcess() as opened:
        token = _OPEN.set(opened)
        try:
            yield opened
        finally:
            _OPEN.reset(token)


def serve(pipe: Connection) -> None:
    """Be a second process: make what is asked for over a pipe, until it is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the terminal interrupts the step as well, which ends this
    os.environ[THREADS] = "1"
    with suppress(Exception):
        while True:
            make, given = pipe.recv()
            pipe.send(make(given))


def allowed() -> int:
    """Give how many threads the step may use."""
    return int(os.environ.get(THREADS, "1"))
