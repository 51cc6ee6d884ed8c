"""Reading what may be served: pages of a study's report folder, and the package's own files (an edge module).

A name that is asked for becomes a part of a path only if it looks like a page's, with no slash, no space and one dot.
"""

import os
import re
import stat
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from pipeline.benchmark.lookup_command import RESULTS, refuse_by_hand
from pipeline.configuration.load import load_study
from pipeline.errors import UserError
from pipeline.serve.shell import ACADEMY, ICON, ICON_PIXELS, LOOKUP, SHELL, WORKER, Shell, shell_file

PAGE = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]*\.html")
# Windows has neither of the first two, and else would turn line ends.
AS_IT_IS = os.O_RDONLY | sum(getattr(os, name, 0) for name in ("O_NOFOLLOW", "O_NONBLOCK", "O_BINARY"))


@dataclass(frozen=True)
class Report:
    """A study's name, its title as pages print it, and the folder of its pages."""

    study: str
    title: str
    folder: Path


def find_report(study: Path, page: str, results: Path | None = None) -> Report:
    """Find the pages of a study.

    Parameters
    ----------
    study : Path
        The study folder, or the `study.yaml` in it.
    page : str
        A page that must be there.
    results : Path or None
        A folder of results other than the study's own, such as a trial's.

    Raises
    ------
    UserError
        If the study can't be read, or the page isn't there yet.
    """
    configured = load_study(study)[1]
    folder = (RESULTS / configured.study if results is None else results) / "report"
    if not (folder / page).is_file():
        refuse_by_hand(folder.parent)
    if not (folder / page).is_file() and results is not None:
        raise UserError(f"{folder / page}: not made yet; give a folder of results, such as one in results/NAME/trials.")
    if not (folder / page).is_file():
        raise UserError(f"{folder / page}: not made yet; run snakemake --cores 2 --config study={study} first.")
    return Report(configured.study, configured.title or configured.study, folder)


def read_page(folder: Path, name: str) -> bytes | None:
    """Read a page of a report folder; None unless it is a plain file there with a page's name.

    Links aren't followed: they could lead out of the folder.
    """
    if not PAGE.fullmatch(name) or (not hasattr(os, "O_NOFOLLOW") and (folder / name).is_symlink()):
        return None
    try:
        # Without waiting, for a pipe that nobody writes to would never open.
        handle = os.open(folder / name, AS_IT_IS)
    except OSError:
        return None
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        return None
    with os.fdopen(handle, "rb") as file:
        return file.read()


def read_shell() -> Shell:
    """Read the package's icons and worker."""
    static = files("pipeline.serve").joinpath("static")
    icons = {name: static.joinpath(name).read_bytes() for name in (ICON, *ICON_PIXELS)}
    return Shell(icons, static.joinpath(WORKER).read_text(encoding="utf-8"))


def content_of(report: Report) -> Callable[[str], bytes | None]:
    """Give the function that reads what is behind a name, afresh each time, for a new run may have written it."""
    shell = read_shell()

    def content(name: str) -> bytes | None:
        if name not in SHELL:
            return read_page(report.folder, name)
        page = read_page(report.folder, LOOKUP)
        return None if page is None else shell_file(shell, name, page, report.title)

    return content


def academy_page(study: Path, results: Path | None = None) -> Path:
    """Give the absolute path of a study's academy page; raises UserError as `find_report` does."""
    return (find_report(study, ACADEMY, results).folder / ACADEMY).absolute()
