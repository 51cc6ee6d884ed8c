"""Step: write the golfers' and the band table for people to open: workbooks, and the bands as a text to publish.

In: golfers.csv (Golfers), bands.csv (BandTable), frontier.json, which says whose strike is efficient. Out:
golfers.xlsx, one row per golfer and quarter, the newest quarter first; bands.xlsx, the same by quarter and band, and
bands.md.
"""

from pathlib import Path
from typing import Any

from pipeline.benchmark.frontier import Frontier
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import write_bytes, write_text
from pipeline.edge.tables_file import read_table
from pipeline.report.workbook.bands_text import bands_markdown
from pipeline.report.workbook.workbook import bands_workbook, golfers_workbook
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers


def run(
    golfers: str,
    bands: str,
    frontier: str,
    golfers_xlsx: str,
    bands_xlsx: str,
    bands_md: str,
    flags: dict[str, Any],
    min_golfers: int,
    title: str,
) -> None:
    """Read the tables and write the workbooks and the text.

    Parameters
    ----------
    golfers, bands, frontier : str
        Paths of golfers.csv, bands.csv and frontier.json.
    golfers_xlsx, bands_xlsx, bands_md : str
        Paths of the files to be made.
    flags : dict
        Keys `lost_yd`, `false_discovery_rate` and `min_shots`.
    min_golfers : int
        Fewest golfers behind a published figure.

    Raises
    ------
    UserError
        If a table is missing or can't be read.
    """
    table, strike = read_table(bands, BandTable), read_artefact(frontier, Frontier).strike
    write_text(Path(bands_md), bands_markdown(table, min_golfers=min_golfers))
    write_bytes(Path(bands_xlsx), bands_workbook(table, title=title, strike=strike))
    book = golfers_workbook(read_table(golfers, Golfers), flags, title=title, strike=strike)
    write_bytes(Path(golfers_xlsx), book)
