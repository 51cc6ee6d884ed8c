"""Step: write the golfers' table as a workbook.

In: golfers.csv (Golfers). Out: golfers.xlsx, one row per golfer and quarter, the newest quarter first.
"""

from pathlib import Path
from typing import Any

from pipeline.edge.tables_file import read_table
from pipeline.report.workbook.workbook import write_golfers_workbook
from pipeline.tables.golfers import Golfers


def run(golfers: str, workbook: str, flags: dict[str, Any]) -> None:
    """Read the table and write the workbook.

    Parameters
    ----------
    golfers : str
        Path of golfers.csv.
    workbook : str
        Path of the workbook to be made.
    flags : dict
        Keys `lost_yd`, `false_discovery_rate` and `min_shots`.

    Raises
    ------
    UserError
        If the table is missing or can't be read.
    """
    write_golfers_workbook(Path(workbook), read_table(golfers, Golfers), flags)
