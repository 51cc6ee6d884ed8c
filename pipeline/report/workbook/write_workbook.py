"""Step: write the golfers' and the band table for people to open: workbooks, and the bands as a text to publish.

In: golfers.csv (Golfers), bands.csv (BandTable). Out: golfers.xlsx, one row per golfer and quarter, the newest quarter
first; bands.xlsx and bands.md, one row per quarter and band.
"""

from pathlib import Path
from typing import Any

from pipeline.edge.files import write_text
from pipeline.edge.tables_file import read_table
from pipeline.report.workbook.bands_text import bands_markdown
from pipeline.report.workbook.workbook import write_bands_workbook, write_golfers_workbook
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers


def run(
    golfers: str,
    bands: str,
    golfers_workbook: str,
    bands_workbook: str,
    bands_text: str,
    flags: dict[str, Any],
    min_golfers: int,
) -> None:
    """Read the tables and write the workbooks and the text.

    Parameters
    ----------
    golfers, bands : str
        Paths of golfers.csv and bands.csv.
    golfers_workbook, bands_workbook, bands_text : str
        Paths of the files to be made.
    flags : dict
        Keys `lost_yd`, `false_discovery_rate` and `min_shots`.
    min_golfers : int
        Golfers that a published figure rests on at least.

    Raises
    ------
    UserError
        If a table is missing or can't be read.
    """
    table = read_table(bands, BandTable)
    write_text(Path(bands_text), bands_markdown(table, min_golfers=min_golfers))
    write_bands_workbook(Path(bands_workbook), table)
    write_golfers_workbook(Path(golfers_workbook), read_table(golfers, Golfers), flags)
