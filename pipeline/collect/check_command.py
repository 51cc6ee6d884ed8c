"""What `yardband check` reports: every problem of a study at once, nothing written (an edge module)."""

import secrets
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

import polars as pl

from pipeline.collect.check_together_command import CheckedLog, check_together
from pipeline.collect.clean_log import judged
from pipeline.collect.collect_logs import read_log
from pipeline.collect.collect_swings import read_swings
from pipeline.collect.further import lacking, numbers_in, unused_headers
from pipeline.collect.key import read_key, refuse_other_logs
from pipeline.collect.name_words import alike_key
from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.other_logs import look_alikes
from pipeline.collect.plausible import remarks_across
from pipeline.collect.read import marked_by_hand, sha256_of
from pipeline.collect.receipt import Receipt
from pipeline.collect.rules import Split
from pipeline.configuration.layouts import LogFile, SpeedFile
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import survey_logs, survey_speed_logs
from pipeline.configuration.study import Study
from pipeline.errors import UserError
from pipeline.tables.logs import OPTIONAL_NUMBERS


@dataclass
class Findings:
    """What a check found."""

    problems: list[str] = field(default_factory=list)
    """What must be mended, a sentence each."""
    told: list[str] = field(default_factory=list)
    """What became of each usable log."""
    standard: Counter[str] = field(default_factory=Counter)
    """Accepted drives with a number in each standard column that may be a regressor."""
    golfers: set[tuple[str, str, str]] = field(default_factory=set)
    """Pseudonym, words in any order, and source of the golfers of each shot log; for look-alikes."""


Progress = Callable[[int, int], None]


def survey(
    study: Path,
    besides: Callable[[Path, Study], list[str]] = lambda *_: [],
    progress: Progress = lambda *_: None,
) -> Findings:
    """Check a study: its configuration, its key and every row of its logs.

    Rejected rows are counted, by rule and column, and are no problem. Duplicates are only found by the run.

    Parameters
    ----------
    study : Path
        The study folder, or the `study.yaml` in it.
    besides : callable
        Gives the problems of what later stages read, from the study folder and the configuration.
    progress : callable
        Told how many shot logs of how many are checked, now and then.

    Returns
    -------
    Findings
        Problems, and a summary of each usable log.
    """
    findings = Findings()
    try:
        folder, configured = load_study(study)
    except UserError as error:
        findings.problems += str(error).splitlines()
        return findings
    logs, problems = survey_logs(folder, configured)
    logs = marked_by_hand(folder, logs)
    findings.problems += problems
    speed_logs, problems = survey_speed_logs(folder, configured)
    findings.problems += problems + besides(folder, configured)
    try:
        key = read_key(folder / configured.privacy.key_file, configured.study)
        found = [folder / source for source in (*(log.source for log in logs), *(log.source for log in speed_logs))]
        refuse_other_logs(folder / configured.privacy.key_file, lambda: {path: sha256_of(path) for path in found})
    except UserError as error:
        findings.problems.append(str(error))
        key = secrets.token_bytes(32)  # the logs can be checked under any key
    receipts = _survey_logs(folder, logs, key, findings, progress)
    for speed_file in speed_logs:
        _survey_speed_log(folder, speed_file, key, findings)
    used = {receipt.source: receipt for receipt in receipts if receipt is not None}
    if used:
        findings.problems += _lacking(configured.model.regressors, list(used.values()), findings.standard)
    for source, clauses in sorted(look_alikes(findings.golfers).items()):
        findings.told += [f"{source}: look again, {clause}." for clause in clauses]
    across = remarks_across({source: receipt.carry_over_flight for source, receipt in used.items()})
    findings.told += [f"{source}: look again, {text}." for source, text in across.items() if not used[source].notes]
    if not findings.problems:
        findings.told.append(
            f"{configured.study}: no problem found; logs that can be used: {len(logs) + len(speed_logs)}."
        )
    return findings


def _lacking(regressors: Sequence[str], receipts: list[Receipt], standard: Mapping[str, int]) -> list[str]:
    """Say which regressors no drive has a number of."""
    read = [asdict(receipt) for receipt in receipts]
    further = numbers_in(read, regressors)
    numbers = {name: standard[name] if name in OPTIONAL_NUMBERS else further[name] for name in regressors}
    return lacking(numbers, unused_headers(read))


def _survey_logs(
    folder: Path, logs: Sequence[LogFile], key: bytes, findings: Findings, progress: Progress
) -> list[Receipt | None]:
    """Check the shot logs, plain small ones many at once, and tell of them in their order."""
    together: dict[str, CheckedLog] = {}
    for group in check_together(folder, logs, key):
        together |= group
        progress(len(together), len(logs))
    receipts: list[Receipt | None] = []
    alone = 0
    for log_file in logs:
        if (checked := together.get(log_file.source)) is None:
            receipts.append(_survey_log(folder, log_file, key, findings))
            alone += 1
            progress(len(together) + alone, len(logs))
            continue
        receipts.append(checked.receipt)
        findings.standard.update(checked.standard)
        findings.golfers |= checked.golfers
        findings.told += [checked.receipt.sentence(), *_sentences(checked.broken)]
    return receipts


def _survey_log(folder: Path, log_file: LogFile, key: bytes, findings: Findings) -> Receipt | None:
    counts: list[pl.DataFrame] = []

    def count(rows: Split) -> None:
        counts.append(rows.rejected.group_by("rule", "column").len())
        findings.standard.update(rows.accepted.select(pl.col(OPTIONAL_NUMBERS).count()).row(0, named=True))

    try:
        cleaned = read_log(folder / log_file.source, log_file, key, count)
    except LogRefusedError as refusal:
        findings.problems.append(f"{folder / log_file.source}: can't be used, {refusal}.")
        return None
    except UserError as error:
        findings.problems.append(str(error))
        return None
    [receipt] = judged([cleaned])
    for name, golfer in cleaned.golfers.items():
        if (alike := alike_key(name)) is not None:
            findings.golfers.add((golfer, alike, receipt.source))
    findings.told += [receipt.sentence(), *_counted(counts)]
    return receipt


def _survey_speed_log(folder: Path, speed_file: SpeedFile, key: bytes, findings: Findings) -> None:
    try:
        log = read_swings(folder / speed_file.source, speed_file, key)
    except LogRefusedError as refusal:
        findings.problems.append(f"{folder / speed_file.source}: can't be used, {refusal}.")
    except UserError as error:
        findings.problems.append(str(error))
    else:
        counts = [log.split.rejected.group_by("rule", "column").len()]
        findings.told += [log.receipt.sentence(), *_counted(counts)]


def _counted(counts: list[pl.DataFrame]) -> list[str]:
    """Say how many rows broke each rule; nothing where none was counted."""
    if not counts:
        return []
    totals = pl.concat(counts).group_by("rule", "column").agg(pl.col("len").sum()).sort("rule", "column")
    return _sentences(totals.iter_rows())


def _sentences(broken: Iterable[tuple[str, str, int]]) -> list[str]:
    return [f"  {number} x {rule} in {column}" for rule, column, number in broken]
