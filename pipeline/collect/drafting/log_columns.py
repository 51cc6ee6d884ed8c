"""The columns of a foreign log as a draft looks at them: what header, unit line and cells say (pure)."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

import polars as pl

from pipeline.collect.drafting.lexicon import Header, read_header
from pipeline.collect.drafting.shape import Shape, is_number, number_in
from pipeline.collect.layout import MISSING_NAME, numbers_of
from pipeline.collect.numbers import THOUSANDS, Spelling
from pipeline.collect.unit_words import unit_named
from pipeline.configuration.layouts import ColumnFrom, Layout
from pipeline.tables.logs import SIDED

_SAMPLE = 3000  # rows that numbers are judged by, evenly spread
_HALF = 0.5
_LEAST_READ = 0.8  # of the numbers in a column, or something about them isn't understood
_SETTLED = 100  # votes of a column whose mark is one of decimals for certain
_MARKS_SAMPLE = 1000  # numbers of a column that tell its marks
_COMMA, _POINT = re.compile(r"[+\-\u2212]?\d+,\d+"), re.compile(r"[+\-\u2212]?\d+\.\d+")
_GROUPED = {
    mark: re.compile(rf"[+\-\u2212]?[1-9]\d{{0,2}}(?:{signs}\d{{3}})+") for mark, signs in THOUSANDS.items()
}  # by the mark between thousands
_SMALL = re.compile(r"[+\-\u2212]?\d{1,3}")


@dataclass(frozen=True)
class LogColumn:
    """A column of a log.

    Attributes
    ----------
    name : str
        Its header.
    header : Header
        What that means.
    unit : str or None
        Named by the header or by a line of units; None too where the two differ.
    cells : pl.Series
        As read; text stripped and without what stands for a missing one.
    numbers : pl.Series
        The same as numbers; null where a cell holds none.
    unread : bool
        Whether it looks like numbers that can't be read, as their marks or units differ.
    letters : bool
        Whether an R or an L beside its numbers says to which side.
    """

    name: str
    header: Header
    unit: str | None
    cells: pl.Series
    numbers: pl.Series
    unread: bool
    letters: bool = False

    @property
    def numeric(self) -> bool:
        """Whether most of its cells are numbers."""
        filled = len(self.cells) - self.cells.null_count()
        return filled > 0 and len(self.numbers) - self.numbers.null_count() > _HALF * filled


class Marks(NamedTuple):
    """The marks of a log's numbers, as a layout has them."""

    decimal: Literal[".", ","]
    thousands: Literal[".", ",", " ", "'"] | None


def marks_of(shape: Shape) -> Marks:
    """Find the marks of a log's numbers; a decimal point where nothing says more."""
    samples = _samples(shape)
    votes: Counter[str] = Counter()
    for sample in samples.values():
        for mark, form in ((",", _COMMA), (".", _POINT)):
            marked = [cell for cell in sample if form.fullmatch(cell)]
            # A column all of whose numbers have three digits behind the mark may have marks between thousands.
            weight = 1 if all(_GROUPED[mark].fullmatch(cell) for cell in marked) else 100
            votes[mark] += weight * (2 * len(marked) > len(sample) > 0)
    decimal: Literal[".", ","] = "," if votes[","] > votes["."] else "."
    if 0 < max(votes.values()) < _SETTLED:
        # No mark is one for certain. Spin tells: no driver spins at 2.7, but at 2,700.
        spins = [place for place in samples if read_header(shape.headers[place]).meaning == "spin_rpm"]
        other: Literal[".", ","] = "." if decimal == "," else ","
        if any(_are_spins(samples[place], decimal) for place in spins):
            return Marks(other, _allowed(shape, decimal))
        return Marks(decimal, None)
    for mark in _GROUPED:
        if mark != decimal and any(_has_thousands(sample, mark, decimal) for sample in samples.values()):
            return Marks(decimal, _allowed(shape, mark))
    return Marks(decimal, None)


def _samples(shape: Shape) -> dict[int, list[str]]:
    """Give some numbers as written of every column of text that may be one of numbers, without units."""
    found = {}
    for place in range(len(shape.headers)):
        column = shape.cells[f"c{place}"]
        if isinstance(column.dtype, pl.String):
            cells = column.drop_nulls()
            read = map(number_in, cells.gather_every(max(1, len(cells) // _MARKS_SAMPLE)).to_list())
            found[place] = [one[0] for one in read if one is not None]
    return found


def _allowed(shape: Shape, mark: str) -> Literal[".", ",", " ", "'"] | None:
    # The numbers of a workbook have points that are no marks between thousands.
    return None if mark == "." and shape.kind == "workbook" else mark  # type: ignore[return-value]


def _are_spins(sample: Sequence[str], mark: str) -> bool:
    values = [float(cell.replace(mark, "")) for cell in sample if _GROUPED[mark].fullmatch(cell)]
    return len(values) > _HALF * len(sample) and 1200 < sorted(values)[len(values) // 2] < 7000


def _has_thousands(sample: Sequence[str], mark: str, decimal: str) -> bool:
    """Tell whether a column has marks between thousands wherever a number is that large, and one at least is."""
    apart = [cell.rpartition(decimal)[0] if decimal in cell else cell for cell in sample]
    grouped = [cell for cell in apart if _GROUPED[mark].fullmatch(cell)]
    return bool(grouped) and all(_GROUPED[mark].fullmatch(cell) or _SMALL.fullmatch(cell) for cell in apart)


def columns_of(shape: Shape, marks: Marks) -> list[LogColumn]:
    """Look at the columns of a log; one without a header, or whose header is there twice, is left out."""
    counts = Counter(shape.headers)
    step = max(1, shape.cells.height // _SAMPLE)
    frame = shape.cells.gather_every(step)
    return [
        _column(name, shape, frame.select("row", cell=pl.col(f"c{place}")), shape.units[place], marks)
        for place, name in enumerate(shape.headers)
        if name and counts[name] == 1
    ]


def _column(name: str, shape: Shape, raw: pl.DataFrame, below: str, marks: Marks) -> LogColumn:
    header = read_header(name)
    cells = _cleaned(raw["cell"])
    beside = _beside(cells)
    sided = header.meaning in SIDED
    named = {header.unit, unit_named(below) if below else None, *filter(None, map(unit_named, beside))} - {None}
    unit = named.pop() if len(named) == 1 else None
    layout = Layout(**marks._asdict(), columns={"golfer": ColumnFrom(source="golfer")})
    spelling = Spelling.of("cell", layout, typed_as_text=shape.kind == "workbook")
    numbers, _ = numbers_of(raw, ["cell"], layout, shape.kind == "workbook", spelling._replace(unit=unit, sided=sided))
    numbers_read = numbers["cell"]
    looks = isinstance(cells.dtype, pl.String) and _looks_numeric(cells)
    filled = len(cells) - cells.null_count()
    unread = looks and filled - (len(cells) - numbers_read.null_count()) > (1 - _LEAST_READ) * filled
    letters = bool(beside & {"R", "L", "r", "l"})
    unread &= sided or not letters  # sides of what isn't used
    return LogColumn(name, header, unit, cells, numbers_read, unread, sided and letters)


def _beside(cells: pl.Series) -> set[str]:
    """List what stands behind the numbers of a column: units, sides."""
    if not isinstance(cells.dtype, pl.String):
        return set()
    read = [number_in(cell) for cell in cells.drop_nulls().to_list()]
    known = [one[1] for one in read if one is not None]
    return set(known) - {""} if len(known) > _HALF * len(read) else set()


def _cleaned(cells: pl.Series) -> pl.Series:
    if isinstance(cells.dtype, pl.Categorical | pl.Enum):
        cells = cells.cast(pl.String)
    if not isinstance(cells.dtype, pl.String):
        return cells
    text = cells.str.strip_chars()
    return pl.select(pl.when(~text.str.to_lowercase().is_in(MISSING_NAME)).then(text)).to_series()


def _looks_numeric(cells: pl.Series) -> bool:
    filled = cells.drop_nulls().head(200).to_list()
    return bool(filled) and sum(map(is_number, filled)) > 0.8 * len(filled)
