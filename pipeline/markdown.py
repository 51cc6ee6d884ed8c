"""Tables and foreign texts in markdown."""

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


def shown_text(text: str) -> str:
    """Write a foreign text, such as a device's name, so that markdown shows it as it is, on one line.

    Nothing in it is markup, neither markdown's nor HTML's, ends a cell or starts a line.
    """
    line = " ".join(text.split()).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    # By number, since renderers of tables differ in what a backslash before a bar means.
    line = line.replace("\\", "&#92;").replace("|", "&#124;")
    line = re.sub(r"[`*\[\]~]", r"\\\g<0>", line)
    return re.sub(r"(?<![^\W_])_|_(?![^\W_])", r"\\_", line)  # inside a word it marks nothing


def _cell(text: str) -> str:
    # A bar would end the cell, a line break the row, and an angle bracket could start markup.
    return re.sub(r"\s+", " ", text.replace("\\", "\\\\").replace("|", "\\|")).replace("<", "&lt;")
