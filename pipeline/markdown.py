"""Tables in markdown."""

import re
from collections.abc import Collection, Iterable, Sequence


def markdown_lines(headings: Sequence[str], rows: Iterable[Sequence[str]], right: Collection[str] = ()) -> str:
    """Write a table in markdown, in lines that are each ended.

    Parameters
    ----------
    headings : sequence of str
    rows : iterable of sequence of str
        Cells; nothing in them is markup or ends a cell.
    right : collection of str
        Headings of columns that are set to the right.

    Returns
    -------
    str
    """
    rule = ["---:" if heading in right else "---" for heading in headings]
    lines = [headings, rule, *([_cell(text) for text in row] for row in rows)]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def _cell(text: str) -> str:
    # A bar would end the cell, a line break the row, and an angle bracket could start markup.
    return re.sub(r"\s+", " ", text.replace("\\", "\\\\").replace("|", "\\|")).replace("<", "&lt;")
