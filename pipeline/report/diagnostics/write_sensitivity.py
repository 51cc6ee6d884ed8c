"""Step: write the page of sensitivity: one self-contained HTML page.

In: sensitivity.csv (Sensitivity), scores.csv (Scores). Out: sensitivity.html.
"""

from pathlib import Path
from typing import Any

from pipeline.edge.files import write_text
from pipeline.edge.tables_file import read_table
from pipeline.report.diagnostics.sensitivity_page import build_sensitivity
from pipeline.tables.figures import Scores
from pipeline.tables.sensitivity import Sensitivity


def run(sensitivity: str, scores: str, page: str, settings: dict[str, Any]) -> None:
    """Run the step; see the module's docstring."""
    table = read_table(sensitivity, Sensitivity)
    write_text(Path(page), build_sensitivity(table, read_table(scores, Scores), settings))
    print(f"Wrote the sensitivity of {table.get_column('scenario').n_unique() - 1} scenarios.")
