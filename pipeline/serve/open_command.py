"""Opening the academy's page in the default browser (an edge module)."""

import webbrowser
from pathlib import Path

from pipeline.serve.report_files import academy_page


def open_page(study: Path, results: Path | None = None) -> tuple[Path, bool]:
    """Open a study's academy page as a file; `results` is a folder of results other than the study's own.

    Returns
    -------
    tuple of Path and bool
        The page, and whether a browser took it.

    Raises
    ------
    UserError
        If the study can't be read or has no page yet.
    """
    page = academy_page(study, results)
    try:
        return page, webbrowser.open(page.as_uri())
    except webbrowser.Error:
        return page, False
