"""Working on several pieces at once, with results in the pieces' order whatever the number of threads."""

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

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
    threads = int(os.environ.get(THREADS, "1"))
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
