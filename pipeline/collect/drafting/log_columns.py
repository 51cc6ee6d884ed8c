"""The columns of a foreign log as a draft looks at them: what header, unit line and cells say (pure)."""

import re
from collections import Counter
from dataclasses import dataclass

import polars as pl

from pipeline.collect.drafting.lexicon import Header, read_header, unit_named
from pipeline.collect.drafting.shape import Shape, is_number
from pipeline.collect.layout import MISSING_NAME, numbers_of
from pipeline.configuration.layouts import ColumnFrom, Layout

_SAMPLE = 3000  # rows that numbers are judged by, evenly spread
_HALF = 0.5
_COMMA, _POINT = re.compile(r"[+\-\u2212]?\d+,\d+"), re.compile(r"[+\-\u2212]?\d+\.\d+")
_THOUSANDS = re.compile(r"[+\-\u2212]?[1-9]\d{0,2}([.,]\d{3})+")


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
        Whether it looks like numbers that can't be read, such as those with marks between thousands.
    """

    name: str
    header: Header
    unit: str | None
    cells: pl.Series
    numbers: pl.Series
    unread: bool

    @property
    def numeric(self) -> bool:
        """Whether most of its cells are numbers."""
        filled = len(self.cells) - self.cells.null_count()
        return filled > 0 and len(self.numbers) - self.numbers.null_count() > _HALF * filled


def decimal_mark(shape: Shape) -> str:
    """Find the decimal mark; a point where there is none, and where both are there the one that more columns have."""
    votes: Counter[str] = Counter()
    for column in shape.cells.drop("row").get_columns():
        if not isinstance(column.dtype, pl.String):
            continue
        sample = [cell for cell in column.drop_nulls().head(200).to_list() if is_number(cell)]
        for mark, form in ((",", _COMMA), (".", _POINT)):
            marked = [cell for cell in sample if form.fullmatch(cell)]
            # A column all of whose numbers have three digits behind the mark may have marks between thousands.
            weight = 1 if all(_THOUSANDS.fullmatch(cell) for cell in marked) else 100
            votes[mark] += weight * (2 * len(marked) > len(sample) > 0)
    return "," if votes[","] > votes["."] else "."


def columns_of(shape: Shape, decimal: str) -> list[LogColumn]:
    """Look at the columns of a log; one without a header, or whose header is there twice, is left out."""
    counts = Counter(shape.headers)
    step = max(1, shape.cells.height // _SAMPLE)
    frame = shape.cells.gather_every(step)
    layout = Layout(decimal="," if decimal == "," else ".", columns={"golfer": ColumnFrom(source="golfer")})
    found = []
    for place, name in enumerate(shape.headers):
        if not name or counts[name] > 1:
            continue
        raw = frame.select("row", cell=pl.col(f"c{place}"))
        numbers, _ = numbers_of(raw, ["cell"], layout, shape.kind == "workbook")
        cells = _cleaned(raw["cell"])
        header = read_header(name)
        below = unit_named(shape.units[place]) if shape.units[place] else None
        unit = header.unit if below is None or header.unit == below else below if header.unit is None else None
        looks = isinstance(cells.dtype, pl.String) and _looks_numeric(cells)
        found.append(
            LogColumn(
                name, header, unit, cells, numbers["cell"], looks and numbers["cell"].null_count() > _HALF * len(cells)
            )
        )
    return found


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
