"""Opening the academy's page in the default browser (an edge module)."""

import webbrowser
from pathlib import Path

from pipeline.serve.report_files import academy_page


def open_page(study: Path) -> tuple[Path, bool]:
    """Open a study's academy page as a file.

    Returns
    -------
    tuple of Path and bool
        The page, and whether a browser took it.

    Raises
    ------
    UserError
        If the study can't be read or has no page yet.
    """
    page = academy_page(study)
    try:
        return page, webbrowser.open(page.as_uri())
    except webbrowser.Error:
        return page, False
