"""Step: make one pass of a fit over the drives of a part of the golfers.

Of a study cut into parts alone. In: drives.parquet, regressors.parquet where the study names any, and what `pool_fit`
asks. Out: what each piece of the part answered, in their order.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import polars as pl

from pipeline.edge.answers import Answers, read_pooled, temporary_answers, write_answers, write_pooled
from pipeline.edge.drives_file import PIECE_ROWS, Part, open_drives
from pipeline.fit.passes import Asked, Pass
from pipeline.threads import allowed, second_process

HALVES = (Part(1, 2), Part(2, 2))
HALVED_DRIVES = 4 * PIECE_ROWS  # with fewer, starting a second process takes what it gains


def run(drives: str, asked: str, part: str, answers: str, beside: str | None = None) -> None:
    """Run the step; see the module's docstring. `part` is a name such as 1-of-2."""
    own = part_of(drives, beside, Part.named(part), asked)
    count = write_answers(Path(answers), own.drives.each_piece(own.ask))
    print(f"Part {part}: {count} pieces of drives.")


def part_of(drives: str, beside: str | None, part: Part, asked: str) -> Pass:
    """Give a pass over a part of the drives."""
    question: Asked = read_pooled(asked)
    own = open_drives(Path(drives), beside=None if beside is None else Path(beside), part=part)
    return Pass(replace(own, changes=question.changes, firsts=question.firsts), question.ask, list)


class _Half(NamedTuple):
    """What one of two processes does in a pass: paths, and the half of the drives."""

    drives: str
    beside: str | None
    part: Part
    asked: str
    answers: str


def _answer(half: _Half) -> int:
    own = part_of(half.drives, half.beside, half.part, half.asked)
    return write_answers(Path(half.answers), map(own.ask, own.drives.pieces()))


def is_halved(drives: str) -> bool:
    """Say whether a fit gains by a second process."""
    return allowed() > 1 and pl.scan_parquet(drives).select(pl.len()).collect().item() >= HALVED_DRIVES


@contextmanager
def in_halves(drives: str, beside: str | None) -> Iterator[Callable[[Pass], Iterable[Any]]]:
    """Give what asks a pass's pieces in two processes, each those of one half of the drives, with one thread.

    Threads of one process wait for each other between numpy's calls. The answers are the same bytes, in the same order.
    """
    with second_process() as other:

        def answers(one: Pass) -> Answers:
            found = temporary_answers(len(HALVES))
            asked = str(found.paths[0].with_name("asked"))
            write_pooled(asked, Asked.of(one))
            mine, others = (
                _Half(drives, beside, half, asked, str(path)) for half, path in zip(HALVES, found.paths, strict=True)
            )
            other.begin(_answer, others)
            _answer(mine)
            other.made()
            return found

        yield answers
