"""`yardband rebuild RUN.json`: the study's run made again in a folder of its own, and compared (an edge module)."""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import yaml

from pipeline.collect.key import fingerprint_of, read_key
from pipeline.configuration.layouts import LogFile, SpeedFile
from pipeline.configuration.log_files import find_logs, find_speed_logs, layouts_used
from pipeline.configuration.study import LogEntry, SpeedLogEntry, Study
from pipeline.edge.artefacts import read_artefact
from pipeline.edge.made_by import all_packages, code_version
from pipeline.edge.result_files import READERS, digest_of, figures_of
from pipeline.errors import UserError
from pipeline.fit.kept import RECORD, find_kept
from pipeline.research.rebuild.compare import differences
from pipeline.research.rebuild.outcome import FileOutcome, Rebuilt, outcome_lines
from pipeline.research.rebuild.record import Present, RunRecord, changes_since, problems_of
from pipeline.workflow import PACKAGE, failed_logs

SNAKEFILE = PACKAGE.parent / "Snakefile"
KEPT = Path("model") / "kept"

Say = Callable[[str], None]


def rebuild(record_file: Path, study: Path | None, keep: Path | None, cores: int, only_check: bool, say: Say) -> bool:
    """Make a run again and say what came of it.

    Parameters
    ----------
    record_file : Path
        run.json of the run, in the folder of its results.
    study : Path or None
        The study folder; the run's own unless given.
    keep : Path or None
        Where the new results stay; nowhere unless given.
    cores : int
    only_check : bool
        Compare inputs and versions and make nothing.
    say : callable
        Takes each line.

    Returns
    -------
    bool
        Whether the figures are the same; True for a check without problems.

    Raises
    ------
    UserError
        If the record can't be read, or something that the run read is gone or has changed.
    """
    record = read_record(record_file)
    folder = study if study is not None else Path(record.folder)
    folder = folder.parent if folder.is_file() else folder
    results = record_file.absolute().parent
    now = _present(record, folder, results)
    problems = problems_of(record, now)
    if problems:
        raise UserError("\n".join(problems))
    for line in changes_since(record, now):
        say(line)
    if only_check:
        say(f"{record_file}: every log, layout and key is as in the run.")
        return True
    with ExitStack() as stack:
        if keep is None:
            keep = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="yardband-")))
        elif keep.exists() and any(keep.iterdir()):
            raise UserError(f"{keep}: isn't empty; name a new folder after --keep.")
        say(f"Running {record.study} again, from {len(record.digests)} files ...")
        made = _run_again(record, folder.absolute(), results, keep.absolute(), cores)
        found = _compared(record, results, made)
    for line in outcome_lines(found):
        say(line)
    return found.same


def read_record(path: Path) -> RunRecord:
    """Read a run's record; raise UserError where it is none."""
    if not path.is_file():
        raise UserError(f"{path}: there is no such file; give the run.json of a study's results.")
    try:
        return read_artefact(path, RunRecord)
    except UserError:
        raise UserError(
            f"{path}: isn't the record of a run, or of one by an earlier version. Give the run.json of a study's "
            "results, or run the study once more."
        ) from None


def _present(record: RunRecord, folder: Path, results: Path) -> Present:
    """Look at what there is now."""
    if not folder.is_dir():
        raise UserError(f"{folder}: there is no such study folder; name it by --study.")
    digests = {name: digest_of(folder / name) if (folder / name).is_file() else None for name in record.digests}
    settings = Study.model_validate(record.configuration)
    more: list[str] = []
    layouts = record.layouts
    if all(digests.values()):
        logs: list[LogFile | SpeedFile] = [*find_logs(folder, settings), *find_speed_logs(folder, settings)]
        known = {row["source"] for row in (*record.sources, *record.speed_sources)}
        more = [log.source for log in logs if log.source not in known]
        layouts = layouts_used([log for log in logs if log.source in known])
    try:
        key = fingerprint_of(read_key(folder / settings.privacy.key_file, record.study))
    except UserError:
        key = None
    kept = [one.id for one in find_kept(results / KEPT)]
    return Present(digests, tuple(more), layouts, key, code_version(), all_packages(), kept)


def _run_again(record: RunRecord, folder: Path, results: Path, place: Path, cores: int) -> Path:
    """Run the workflow with the record's settings on the record's files; give the new results' folder."""
    if not SNAKEFILE.is_file():
        raise UserError(f"{SNAKEFILE}: isn't there. Run this from a clone of Yardband, installed by pip install -e.")
    study = place / "study"
    settings = Study.model_validate(record.configuration)
    for name in {*record.digests, settings.privacy.key_file, *_layouts(settings)}:
        (study / name).parent.mkdir(parents=True, exist_ok=True)
        (study / name).symlink_to(folder / name)
    configured = _plain(settings.model_dump(by_alias=True, exclude_defaults=True))
    (study / "study.yaml").write_text(yaml.safe_dump(configured, allow_unicode=True), encoding="utf-8")
    made = place / "results" / record.study
    for kept in record.kept:
        if (results / KEPT / kept / RECORD).is_file():
            shutil.copytree(results / KEPT / kept, made / KEPT / kept)
    config = [f"study={study}", *(f"{name}={value}" for name, value in sorted(record.config.items()))]
    command = [sys.executable, "-m", "snakemake", "-s", str(SNAKEFILE), "--directory", str(place), "--quiet", "all"]
    environment = os.environ | {"PYTHONPATH": str(PACKAGE.parent)}
    done = subprocess.run(
        [*command, "--cores", str(cores), "--config", *config],
        capture_output=True,
        text=True,
        env=environment,
        check=False,
    )
    if done.returncode:
        raise UserError(f"The run couldn't be made again: {_why(place, done.stderr)}")
    return made


def _layouts(settings: Study) -> list[str]:
    entries: list[LogEntry | SpeedLogEntry] = [*settings.logs, *settings.speed_logs]
    return [entry.layout for entry in entries if entry.layout is not None]


def _plain(value: Any) -> Any:
    """Turn tuples into lists, which YAML has."""
    if isinstance(value, dict):
        return {key: _plain(part) for key, part in value.items()}
    return [_plain(part) for part in value] if isinstance(value, list | tuple) else value


def _why(place: Path, stderr: str) -> str:
    """Give the last line that the failed step printed, or else the last of the workflow."""
    logs = failed_logs(place / "logs", 0.0)
    lines = (logs[-1].read_text(encoding="utf-8") if logs else stderr).strip().splitlines()
    return lines[-1] if lines else "it said nothing. Run the study itself to see why."


def _compared(record: RunRecord, results: Path, made: Path) -> Rebuilt:
    """Compare the new files with the record's digests, and where those differ with the old files' figures."""
    files = []
    for name, digest in sorted(record.made.items()):
        old, new = results / name, made / name
        if not new.is_file():
            files.append(FileOutcome(name, "missing", ()))
        elif digest_of(new) == digest:
            files.append(FileOutcome(name, "same", ()))
        elif old.is_file() and digest_of(old) == digest and old.suffix in READERS:
            found = tuple(differences(figures_of(old), figures_of(new)))
            files.append(FileOutcome(name, "other figures" if found else "same figures", found))
        else:
            files.append(FileOutcome(name, "other", ()))
    return Rebuilt(tuple(files))
