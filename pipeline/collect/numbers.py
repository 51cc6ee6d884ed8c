"""How logs write numbers: decimal marks, marks between thousands, a unit or a side beside the number (pure)."""

import re
from typing import NamedTuple

import polars as pl

from pipeline.collect.unit_words import words_of
from pipeline.configuration.layouts import Layout
from pipeline.tables.logs import SIDED
from pipeline.units import units_of

# Signs that look alike and are used for one mark.
THOUSANDS = {".": r"\.", ",": ",", " ": "[ \u00a0\u2009\u202f]", "'": "['\u2019]"}
_RIGHT, _LEFT = "[Rr]", "[Ll]"


class Spelling(NamedTuple):
    """How the numbers of a column are written."""

    marks: frozenset[str]
    """Decimal marks."""
    thousands: str | None = None
    """What may stand between thousands, as a layout has it."""
    unit: str | None = None
    """The column's unit, which may stand behind a number; no other one may."""
    sided: bool = False
    """Whether an R or an L beside a number says to which side: R is positive."""

    @classmethod
    def of(cls, column: str, layout: Layout, *, typed_as_text: bool) -> "Spelling":
        """Give the spelling of a standard column, or of a further one, by a log's layout.

        Typed cells that became text (a workbook's) have a point for a decimal mark, whatever the layout says.
        """
        marks = {layout.decimal, "."} if typed_as_text else {layout.decimal}
        thousands = None if layout.thousands in marks else layout.thousands
        said = layout.columns[column].unit if column in layout.columns else None
        return cls(frozenset(marks), thousands, said or next(iter(units_of(column)), None), column in SIDED)


def number(cell: pl.Expr, dtype: pl.DataType, spelling: Spelling) -> pl.Expr:
    """Read cells as finite numbers; null where a cell holds none, or something beside it that isn't expected."""
    if dtype.is_numeric():
        value = cell.cast(pl.Float64)
        return pl.when(value.is_finite()).then(value)
    if not isinstance(dtype, pl.String):
        return pl.lit(None, pl.Float64)
    # The true minus sign of typesetting counts as a minus. What isn't written as the layout says is rejected,
    # never guessed: without thousands, 1.234 and 1,234 are what the decimal mark makes of them.
    text = cell.str.replace("\u2212", "-", literal=True)
    if spelling.unit is not None:
        text = text.str.replace(rf"(?i)^(.*?[0-9]){_behind(spelling.unit)}\.?$", "${1}")
    if spelling.sided:
        text = _signed(text)
    mark = "[" + "".join(sorted(spelling.marks)) + "]"
    if spelling.thousands is not None:
        between = THOUSANDS[spelling.thousands]
        grouped = text.str.contains(rf"^[+-]?[1-9][0-9]{{0,2}}(?:{between}[0-9]{{3}})+(?:{mark}[0-9]*)?$")
        text = pl.when(grouped).then(text.str.replace_all(between, "")).otherwise(text)
    is_number = text.str.contains(rf"^[+-]?(?:[0-9]+(?:{mark}[0-9]*)?|{mark}[0-9]+)(?:[eE][+-]?[0-9]+)?$")
    plain = text.str.strip_prefix("+").str.replace(",", ".", literal=True)
    value = pl.when(is_number).then(plain).cast(pl.Float64, strict=False)
    return pl.when(value.is_finite()).then(value)


def _behind(unit: str) -> str:
    """Give the pattern of a unit behind a number; 61/s may be 6 1/s, so a slash alone is none, nor a 1 right there."""
    words = [word for word in words_of(unit) if not word.startswith("/")]
    apart = "|".join(re.escape(word) for word in words if word[0].isdigit())
    plain = "|".join(re.escape(word) for word in words if not word[0].isdigit())
    return "(?:" + "|".join([rf"\s+(?:{apart})"] * bool(apart) + [rf"\s*(?:{plain})"] * bool(plain)) + ")"


def _signed(text: pl.Expr) -> pl.Expr:
    """Put the sign of a side before its number; a number that has a sign too stays as it is, and is none."""
    for side, sign in ((_RIGHT, ""), (_LEFT, "-")):
        for form in (rf"^{side}\s*([0-9][^+RrLl-]*)$", rf"^([0-9][^+RrLl-]*?)\s*{side}$"):
            text = text.str.replace(form, sign + "${1}")
    return text
