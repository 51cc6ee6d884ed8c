"""Step: write the golfers' and the band table for people to open: workbooks, and the bands as a text to publish.

In: golfers.csv (Golfers), bands.csv (BandTable), frontier.json, which says whose strike is efficient, and further
tables of golfers and of bands. Out: golfers.xlsx, one row per golfer and quarter, the newest quarter first; bands.xlsx,
the same by quarter and band, both with the further tables on sheets of their own; and bands.md.
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.benchmark.frontier import Frontier
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.files import write_bytes, write_text
from pipeline.edge.tables_file import read_table, read_tables
from pipeline.lean import uncollected
from pipeline.report.workbook.bands_text import bands_markdown
from pipeline.report.workbook.workbook import bands_workbook, golfers_workbook
from pipeline.tables.figures import BandTable
from pipeline.tables.golfers import Golfers


def run(
    golfers: str,
    bands: str,
    frontier: str,
    of_golfers: Sequence[str],
    of_bands: Sequence[str],
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
    of_golfers, of_bands : sequence of str
        Paths of the tables that each workbook shows beside its own; one without rows gets no sheet.
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
    write_bytes(Path(bands_xlsx), bands_workbook(table, title=title, strike=strike, further=read_tables(of_bands)))
    with uncollected():  # a workbook holds an object for each cell until it is written
        further, every = read_tables(of_golfers), read_table(golfers, Golfers)
        write_bytes(Path(golfers_xlsx), golfers_workbook(every, flags, title=title, strike=strike, further=further))
