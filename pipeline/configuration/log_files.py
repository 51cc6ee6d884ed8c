"""Finding the log files of a study, each with everything that reading it needs (an edge module)."""

import json
import unicodedata
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TypeVar

from pipeline.configuration.layouts import STANDARD_LAYOUT, STANDARD_SPEED_LAYOUT, Layout, LogFile, SpeedFile
from pipeline.configuration.load import load_layout
from pipeline.configuration.study import LogEntry, SpeedLogEntry, Study
from pipeline.edge.small_files import shown_path
from pipeline.errors import UserError

Entry = TypeVar("Entry", LogEntry, SpeedLogEntry)
AnyLayout = TypeVar("AnyLayout", bound=Layout)

_SHOWN = 60  # characters of a pattern

LOG_SUFFIXES = (".csv", ".csv.gz", ".parquet", ".xlsx")


def find_logs(folder: Path, study: Study) -> list[LogFile]:
    """List the study's log files in the order of their paths.

    Raises
    ------
    UserError
        If `survey_logs` finds a problem; every problem is listed, a line each.
    """
    found, problems = survey_logs(folder, study)
    if problems:
        raise UserError("\n".join(problems))
    return found


def survey_logs(folder: Path, study: Study) -> tuple[list[LogFile], list[str]]:
    """List the log files that can be described, in the order of their paths, and what is wrong with the others.

    A problem is a pattern that matches nothing or leaves the folder, a file that two entries match, an unknown
    suffix, or a wrong layout.
    """
    problems: list[str] = []
    further = study.model.further_columns
    described = _described(folder, "logs", study.logs, STANDARD_LAYOUT, set(), problems, further)
    group = study.privacy.group
    return [LogFile.of(source, entry, layout, group, further) for source, entry, layout in described], problems


def find_speed_logs(folder: Path, study: Study) -> list[SpeedFile]:
    """List the logs of swings without a ball in the order of their paths; raises UserError as `find_logs` does."""
    found, problems = survey_speed_logs(folder, study)
    if problems:
        raise UserError("\n".join(problems))
    return found


def survey_speed_logs(folder: Path, study: Study) -> tuple[list[SpeedFile], list[str]]:
    """List the logs of swings without a ball and what is wrong with the others, as `survey_logs` does.

    A file that is a shot log too is a problem.
    """
    problems: list[str] = []
    shots = {log.source for log in survey_logs(folder, study)[0]} if study.speed_logs else set()
    described = _described(folder, "speed_logs", study.speed_logs, STANDARD_SPEED_LAYOUT, shots, problems)
    return [SpeedFile(source=source, entry=entry, layout=layout) for source, entry, layout in described], problems


def layouts_used(logs: Sequence[LogFile | SpeedFile]) -> list[dict[str, Any]]:
    """List the layouts of logs, each once with how many logs it reads: units, time zone and headers as they were."""
    counted = Counter(log.layout.model_dump_json(by_alias=True, exclude_none=True) for log in logs)
    return [{"logs": count, "layout": json.loads(text)} for text, count in sorted(counted.items())]


def _described(
    folder: Path,
    name: str,
    entries: Sequence[Entry],
    standard: AnyLayout,
    seen: set[str],
    problems: list[str],
    regressors: Sequence[str] = (),
) -> list[tuple[str, Entry, AnyLayout]]:
    """Give source, entry and layout of the log files under a key of study.yaml; add to `seen` and `problems`."""
    found: dict[str, tuple[str, Entry, AnyLayout]] = {}
    for index, entry in enumerate(entries):
        key = f"{folder / 'study.yaml'}: {name}[{index}]"
        layout: AnyLayout | None = standard
        if entry.layout is not None:
            try:
                layout = load_layout(folder / entry.layout, type(standard), regressors)
            except UserError as error:
                layout = None
                problems += [line for line in str(error).splitlines() if line not in problems]
        for source in _matches(folder, entry.files, f"{key}.files", problems):
            if any(unicodedata.category(sign) == "Cs" for sign in source):
                problems.append(f"{key}.files: {source!a} has a name that isn't UTF-8; rename the file.")
            elif any(unicodedata.category(sign) in ("Cc", "Cf", "Zl", "Zp") for sign in source):
                problems.append(f"{key}.files: {source!a} has control characters in its name; rename the file.")
            elif source in seen:
                problems.append(f"{key}.files: {source} is matched by an earlier entry too; let one match it.")
            elif not source.lower().endswith(LOG_SUFFIXES):
                problems.append(f"{key}.files: {source} is none of {', '.join(LOG_SUFFIXES)}; convert or leave it out.")
            elif layout is not None:
                found[source] = (source, entry, layout)
            seen.add(source)
    return [found[source] for source in sorted(found)]


def _matches(folder: Path, pattern: str, key: str, problems: list[str]) -> list[str]:
    if Path(pattern).is_absolute() or ".." in Path(pattern).parts:
        problems.append(f"{key}: {_shown(pattern)} leaves the study folder; name files inside it.")
        return []
    if (fault := pattern_fault(pattern)) is not None:
        problems.append(f"{key}: {_shown(pattern)} {fault}; write a pattern such as logs/*.csv or logs/**/*.csv.")
        return []
    try:
        found = sorted(folder.glob(pattern))
        no_files = {path: fault for path in found if (fault := _no_log(path, pattern)) is not None}
        matches = [path.relative_to(folder).as_posix() for path in found if path.is_file()]
    except (OSError, ValueError, NotImplementedError, RecursionError):
        problems.append(f"{key}: {_shown(pattern)} can't be looked for; write a pattern such as logs/*.csv.")
        return []
    problems += [f"{key}: {shown_path(path.relative_to(folder))} {fault}" for path, fault in no_files.items()]
    if not matches and not no_files:
        problems.append(f"{key}: no file matches {_shown(pattern)} in {folder}; correct the pattern or add the logs.")
    return matches


def _shown(pattern: str) -> str:
    return repr(pattern if len(pattern) <= _SHOWN else f"{pattern[:_SHOWN]}...")


def pattern_fault(pattern: str) -> str | None:
    """Say why a pattern can't be looked for, as a clause; None if it can."""
    if not Path(pattern).parts or "\0" in pattern:
        return "names no file"
    if any("**" in part and part != "**" for part in Path(pattern).parts):
        return "has ** beside other signs; it stands between slashes, for folders of any depth"
    return None


def _no_log(path: Path, pattern: str) -> str | None:
    """Say why what a pattern matches can't be a log, without opening it; None if it may be one, or wasn't meant."""
    if path.is_file():
        return None
    if path.is_dir():
        # A pattern for every depth passes folders on its way.
        meant = "**" not in Path(pattern).parts or path.name.lower().endswith(LOG_SUFFIXES)
        return "is a folder; name the files in it, or rename it." if meant else None
    if not path.exists():
        return "is a link to a file that isn't there; correct the link or delete it."
    return "is a pipe or a device; put a plain file there, or delete it."
