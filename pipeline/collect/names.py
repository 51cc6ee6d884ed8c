"""What `yardband names` writes: whose pseudonym is whose, beside the key (an edge module)."""

import csv
import io
import os
import re
import tempfile
from pathlib import Path

import polars as pl

from pipeline.collect.collect_log import matched_columns
from pipeline.collect.collect_swings import names_in
from pipeline.collect.key import read_key, refuse_results
from pipeline.collect.layout import standardise
from pipeline.collect.pseudonym import normalise_name, pseudonym
from pipeline.collect.read import LogRefusedError, open_log
from pipeline.configuration.layouts import LogFile
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs, find_speed_logs
from pipeline.edge.files import FORMULA
from pipeline.errors import UserError

NAMES_FILE = "names.csv"


def write_names(study: Path) -> tuple[Path, int]:
    """Write `names.csv` (`golfer, name`) beside a study's key, readable by its owner alone.

    A golfer's name is spelt as the first row of the first log (by path) spells it, shot logs before logs of swings
    without a ball. Logs that can't be used are left out, as they are from the run.

    Parameters
    ----------
    study : Path
        The study folder, or the `study.yaml` in it.

    Returns
    -------
    tuple of Path and int
        The file and the number of golfers in it.

    Raises
    ------
    UserError
        If the configuration or the key can't be used, or the file would lie inside a results folder.
    """
    folder, configured = load_study(study)
    key_file = folder / configured.privacy.key_file
    path = key_file.parent / NAMES_FILE
    refuse_results(path, "the list of names")
    key = read_key(key_file, configured.study)
    listed = [name for log_file in find_logs(folder, configured) for name in _names_in(folder, log_file)]
    for speed_file in find_speed_logs(folder, configured):
        listed += names_in(folder / speed_file.source, speed_file)
    first: dict[str, str] = {}
    for name in listed:
        first.setdefault(normalise_name(name), name)
    rows = sorted((pseudonym(name, key, "golfer"), name) for name in first.values())
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerows([("golfer", "name"), *((golfer, _harmless(name)) for golfer, name in rows)])
    _write_private(path, text.getvalue())
    return path, len(rows)


def _harmless(name: str) -> str:
    """Take unseen characters out of a name, and keep a spreadsheet from taking it for a formula."""
    plain = " ".join("".join(sign if sign.isprintable() else " " for sign in name).split())
    return f"'{plain}" if re.match(FORMULA, plain) else plain


def _names_in(folder: Path, log_file: LogFile) -> list[str]:
    """List the distinct names of a log in the order of their first rows; none if the log can't be used."""
    pieces: list[pl.Series] = []
    try:
        with open_log(folder / log_file.source, log_file.layout) as opened:
            matched = matched_columns(opened, log_file)
            for raw in opened.batches(matched.positions):
                rows = standardise(raw, log_file, typed_as_text=opened.typed_as_text)
                pieces.append(rows["golfer"].drop_nulls().unique(maintain_order=True))
    except LogRefusedError:
        return []
    names: list[str] = pl.concat(pieces).unique(maintain_order=True).to_list() if pieces else []
    return names


def _write_private(path: Path, text: str) -> None:
    try:
        handle, name = tempfile.mkstemp(prefix=".part-", dir=path.parent)  # made with mode 0600, which it keeps
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        Path(name).replace(path)
    except OSError as error:
        raise UserError(f"{path}: the list can't be written ({error.strerror}); mend the folder.") from None
