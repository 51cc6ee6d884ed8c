"""What pieces of drives answered, and what was pooled of it, in files of a fit (an edge module).

The files pass between jobs of one run alone and are deleted at its end: they hold Python objects.
"""

import mmap
import pickle
from collections.abc import Iterable, Iterator
from itertools import chain, islice
from pathlib import Path
from shutil import rmtree
from tempfile import mkdtemp
from typing import Any
from weakref import finalize

from pipeline.edge.files import whole

_FEW = 2  # pieces of a study that fits into one slice of its file: its last golfer stands alone
_ALIGNED = 64  # bytes, where arrays begin in a file


def write_answers(path: Path, answers: Iterable[Any]) -> int:
    """Write answers as they come, whole or not at all; give their number."""
    count = 0
    with whole(path) as part, part.open("wb") as file:
        for count, answer in enumerate(answers, start=1):  # noqa: B007 - the last one is the number
            pickle.dump(answer, file, protocol=5)
    return count


class Answers(Iterable[Any]):
    """Answers in files, to be read again and again: one after the other, those of one file after the other's."""

    def __init__(self, paths: Iterable[str | Path]) -> None:
        self.paths = list(map(Path, paths))

    def __iter__(self) -> Iterator[Any]:
        """Begin a reading."""
        for path in self.paths:
            with path.open("rb") as file:
                while file.peek(1):
                    yield pickle.load(file)


def spooled(answers: Iterator[Any]) -> Iterable[Any]:
    """Keep answers to be read again and again: few in memory, more in a temporary file."""
    first = list(islice(answers, _FEW + 1))
    if len(first) <= _FEW:
        return first
    found = temporary_answers(1)
    write_answers(found.paths[0], chain(first, answers))
    return found


def temporary_answers(files: int) -> Answers:
    """Give files yet to be written in a temporary folder, which goes when nobody reads the answers any more."""
    folder = mkdtemp(prefix="yardband-")
    found = Answers(Path(folder) / f"answers-{number}" for number in range(files))
    finalize(found, rmtree, folder, ignore_errors=True)
    return found


def write_pooled(path: str | Path, value: Any) -> None:
    """Write what was pooled, or what is asked next, whole or not at all; arrays so that they need not be read whole."""
    arrays: list[pickle.PickleBuffer] = []
    body = pickle.dumps(value, protocol=5, buffer_callback=arrays.append)
    with whole(Path(path)) as part, part.open("wb") as file:
        pickle.dump((body, [array.raw().nbytes for array in arrays]), file, protocol=5)
        for array in arrays:
            file.write(bytes(-file.tell() % _ALIGNED))
            file.write(array.raw())


def read_pooled(path: str | Path) -> Any:
    """Read what `write_pooled` wrote. Arrays can't be changed, and come into memory as far as they are looked at."""
    with Path(path).open("rb") as file:
        body, sizes = pickle.load(file)
        at, arrays = file.tell(), []
        there = memoryview(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ))
    for size in sizes:
        at += -at % _ALIGNED
        arrays.append(there[at : at + size])
        at += size
    return pickle.loads(body, buffers=arrays)
