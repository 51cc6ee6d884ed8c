"""Step: write what people open of a study of results by hand: page, workbooks, a text of the bands, the summary.

In: golfers.csv (Golfers), bands.csv (BandTable), reference.csv (References) and sources.csv (Sources). Out:
academy.html, golfers.xlsx, bands.xlsx, bands.md and summary.txt.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.by_hand.hand_page import build_hand_page
from pipeline.by_hand.hand_texts import band_notes, bands_text, golfer_notes, summary_text
from pipeline.edge.files import path_of_result, write_bytes, write_text
from pipeline.edge.tables_file import read_tables
from pipeline.report.workbook.workbook import bands_workbook, golfers_workbook
from pipeline.tables.by_hand import References
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers
from pipeline.tables.logs import Sources


def run(
    tables: Sequence[str],
    page: str,
    golfers_xlsx: str,
    bands_xlsx: str,
    bands_md: str,
    summary: str,
    settings: dict[str, Any],
    speed_logs: int,
    out: str,
) -> None:
    """Run the step; see the module's docstring.

    `speed_logs` is how many there are: they aren't used. `out` is the folder of the results.
    """
    read = read_tables(tables)
    golfers, bands, flags, title = read[Golfers], read[BandTable], settings["flags"], settings["study"]
    write_text(Path(page), build_hand_page(golfers, bands, read[References], settings))
    notes = golfer_notes(flags)
    write_bytes(Path(golfers_xlsx), golfers_workbook(golfers, flags, title=title, notes=notes))
    write_bytes(Path(bands_xlsx), bands_workbook(bands, title=title, notes=band_notes()))
    write_text(Path(bands_md), bands_text(bands))
    write_text(Path(summary), summary_text(golfers, read[Sources], path_of_result(page, out), speed_logs))
