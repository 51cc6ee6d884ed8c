"""What `yardband names` writes: whose pseudonym is whose, beside the key (an edge module)."""

import csv
import io
import os
import re
import tempfile
from pathlib import Path

from pipeline.collect.clean_log import golfers_of
from pipeline.collect.clean_swings import golfers_who_swing
from pipeline.collect.key import read_key, refuse_other_logs, refuse_results
from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.pseudonym import normalise_name, pseudonym
from pipeline.collect.read import marked_by_hand, open_log, sha256_of
from pipeline.configuration.layouts import LogFile, SpeedFile
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
    logs: list[LogFile | SpeedFile] = [
        *marked_by_hand(folder, find_logs(folder, configured)),
        *find_speed_logs(folder, configured),
    ]
    refuse_other_logs(key_file, lambda: {folder / log.source: sha256_of(folder / log.source) for log in logs})
    listed = [name for log in logs for name in names_in(folder, log)]
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


def names_in(folder: Path, log_file: LogFile | SpeedFile) -> list[str]:
    """List the distinct names of a log in the order of their first rows; none if the log can't be used."""
    try:
        with open_log(folder / log_file.source, log_file.layout) as opened:
            if isinstance(log_file, SpeedFile):
                return golfers_who_swing(opened, log_file)
            return golfers_of(opened, log_file)
    except LogRefusedError:
        return []


def _write_private(path: Path, text: str) -> None:
    try:
        handle, name = tempfile.mkstemp(prefix=".part-", dir=path.parent)  # made with mode 0600, which it keeps
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        Path(name).replace(path)
    except OSError as error:
        raise UserError(f"{path}: the list can't be written ({error.strerror}); make the folder writable.") from None
