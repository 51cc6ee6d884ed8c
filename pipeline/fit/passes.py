"""A fit as a sequence of passes over its drives, each of which may be shared out over jobs.

A fit is a generator. It yields a `Pass`: what pieces of drives are asked, and how their answers are pooled. It is sent
what was pooled, and goes on. Nothing else of it reads the drives of a large study. `in_one_process` pools in one,
wherever the pieces are asked. Of a study cut into parts, a job asks the pieces of a part, and another pools all
answers in the pieces' order (`sum_fit`, `pool_fit`). What was pooled is kept in a file, so that the next job takes the
fit on from there (`gone_on`). So the figures are the same bytes either way.
"""

from collections.abc import Callable, Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from pipeline.drives import Change, Drives, Piece

Made = TypeVar("Made")


@dataclass(frozen=True)
class Pass:
    """A pass over drives.

    Attributes
    ----------
    drives : Drives
        In a job of a part, the part's pieces take the place of all.
    ask : callable
        Takes a piece and gives an answer. A job gets it in a file, so it is an object of a class, not a closure.
    pool : callable
        Takes the answers of all pieces in their order, and may read them again and again.
    """

    drives: Drives
    ask: Callable[[Piece], Any]
    pool: Callable[[Iterable[Any]], Any]


@dataclass(frozen=True)
class Asked:
    """What a job of a part has to know of a pass; see `Drives` and `Pass`."""

    changes: tuple[Change, ...]
    firsts: Mapping[str, int] | None
    ask: Callable[[Piece], Any]

    @classmethod
    def of(cls, one: Pass) -> "Asked":
        """Take it from a pass over the whole study's drives."""
        return cls(one.drives.changes, one.drives.firsts, one.ask)


Passes = Generator[Pass, Any, Made]


def answers_in_memory(one: Pass) -> list[Any]:
    """Ask all pieces of a pass here, and keep what they answer in memory."""
    return list(one.drives.each_piece(one.ask))


def in_one_process(passes: Passes[Made], answers: Callable[[Pass], Iterable[Any]] = answers_in_memory) -> Made:
    """Run a fit, pooling in this process; `answers` asks a pass's pieces, and may be read again and again."""
    pooled = None
    while True:
        try:
            one = passes.send(pooled)
        except StopIteration as end:
            made: Made = end.value
            return made
        pooled = one.pool(answers(one))


def gone_on(passes: Passes[Made], pooled: Sequence[Any]) -> Pass:
    """Take a fit on to the pass that follows those whose answers are pooled."""
    one = next(passes)
    for each in pooled:
        one = passes.send(each)
    return one


def ended(passes: Passes[Made], pooled: Any) -> Made:
    """Take a fit to its end, from its last pass on."""
    try:
        passes.send(pooled)
    except StopIteration as end:
        made: Made = end.value
        return made
    raise RuntimeError("the fit has another pass")


@dataclass(frozen=True)
class Again:
    """Reads something again and again."""

    read: Callable[[], Iterator[Any]]

    def __iter__(self) -> Iterator[Any]:
        """Begin a reading."""
        return self.read()
