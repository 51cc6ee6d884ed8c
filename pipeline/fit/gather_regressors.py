"""Step `gather_regressors`: the columns that a study names as regressors, beside drives.parquet, for the fit.

Inputs: loaded.duckdb, drives.parquet and the receipts of the logs. Output: regressors.parquet, row by row the drives of
drives.parquet: source, row and a column for each regressor, null where it isn't known. A study without regressors has
no such step.
"""

from collections.abc import Sequence
from pathlib import Path

from pipeline.collect.further import lacking, unused_headers
from pipeline.edge.artefacts import read_json
from pipeline.edge.readings import numbers_loaded, write_regressors
from pipeline.errors import UserError
from pipeline.tables.logs import OPTIONAL_NUMBERS


def run(loaded: str, drives: str, receipts: Sequence[str], beside: str, regressors: Sequence[str]) -> None:
    """Gather the regressors.

    Parameters
    ----------
    loaded, drives : str
        Paths of the inputs.
    receipts : sequence of str
        Paths of what `collect_logs` says of the logs.
    beside : str
        Path of the output.
    regressors : sequence of str
        Names of the columns.

    Raises
    ------
    UserError
        If no drive has a number of a standard column among them; `load_shots` sees to the others.
    """
    standard = [name for name in regressors if name in OPTIONAL_NUMBERS]
    headers = unused_headers(receipt for path in receipts for receipt in read_json(path))
    if problems := lacking(numbers_loaded(Path(loaded), standard), headers):
        raise UserError("\n".join(problems))
    write_regressors(Path(loaded), Path(drives), regressors, Path(beside))
    print(f"Gathered {', '.join(regressors)} for the fit.")
