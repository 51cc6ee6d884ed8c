"""What pieces of drives answered, and what was pooled of it, in files of a fit (an edge module).

The files pass between jobs of one run alone and are deleted at its end: they hold Python objects.
"""

import mmap
import pickle
from collections.abc import Iterable, Iterator
from itertools import chain, islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from pipeline.edge.files import whole

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

    def __init__(self, paths: Iterable[str | Path], folder: "TemporaryDirectory[str] | None" = None) -> None:
        self.paths, self.folder = list(map(Path, paths)), folder  # a temporary folder lives as long as this

    def __iter__(self) -> Iterator[Any]:
        """Begin a reading."""
        for path in self.paths:
            with path.open("rb") as file:
                while file.peek(1):
                    yield pickle.load(file)


def spooled(answers: Iterator[Any]) -> Iterable[Any]:
    """Keep answers to be read again and again: a single one in memory, more in a temporary file."""
    first = list(islice(answers, 2))
    if len(first) < 2:
        return first
    folder = TemporaryDirectory(prefix="yardband-")
    path = Path(folder.name) / "answers"
    write_answers(path, chain(first, answers))
    return Answers([path], folder)


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
