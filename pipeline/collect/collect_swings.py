"""Step `collect_swings`: the logs of swings without a ball in; cleaned, pseudonymous swings out.

Inputs: all speed logs of a study and its key. Outputs: `swings` (parquet, schema Swings, a row per accepted swing that
no earlier row holds), `rejects` (csv, schema Rejects, a row per rejected row) and `sources` (csv, schema Sources, a row
per log; rows = accepted + rejected + duplicates). A log that can't be used is listed as refused with the reason; one
that changes while it is read stops the run.

Speed logs are small, so one step takes them all: the exact times, by which repeated swings and sets are found, are
then never written down. What is written bears the day alone.
"""

from dataclasses import asdict
from pathlib import Path
from typing import Any

from pipeline.collect.clean_swings import CleanedSwings, clean_swings, joined
from pipeline.collect.key import read_key
from pipeline.collect.opened_log import LogRefusedError
from pipeline.collect.read import open_unchanged, sha256_of
from pipeline.collect.receipt import Receipt
from pipeline.collect.sources import remarks_on_swings, sources_table
from pipeline.collect.swings import deduplicate, find_sets
from pipeline.configuration.layouts import SpeedFile
from pipeline.edge.files import write_csv, write_parquet
from pipeline.tables.logs import Rejects


def run(
    logs: list[str], key: str, swings: str, rejects: str, sources: str, study: str, log_files: list[dict[str, Any]]
) -> None:
    """Collect the speed logs of a study.

    Parameters
    ----------
    logs : list of str
        Paths of the logs.
    key : str
        Path of the study's key.
    swings, rejects, sources : str
        Paths of the outputs.
    study : str
        Name of the study, which the demo key is checked against.
    log_files : list of dict
        `SpeedFile` of each log as JSON, in the order of `logs`.

    Raises
    ------
    UserError
        If the key can't be used, or a log changes meanwhile.
    """
    secret = read_key(Path(key), study)
    described = [SpeedFile.model_validate(log_file) for log_file in log_files]
    found = [_read_or_refuse(Path(log), one, secret) for log, one in zip(logs, described, strict=True)]
    together = joined([log.split for log in found])
    kept = deduplicate(together.accepted)
    receipts = [asdict(log.receipt) for log in found]
    write_parquet(Path(swings), find_sets(kept.swings))
    write_csv(Path(rejects), Rejects.validate(together.rejected.sort("source", "row")))
    remarks = remarks_on_swings(receipts, kept.duplicates)
    write_csv(Path(sources), sources_table(receipts, kept.duplicates, remarks))
    print(*(log.receipt.sentence() for log in found), sep="\n")
    repeated = sum(kept.duplicates.values())
    print(f"{len(found)} speed logs: {kept.swings.height} swings kept, {repeated} duplicates left out.")


def _read_or_refuse(log: Path, speed_file: SpeedFile, key: bytes) -> CleanedSwings:
    """Read a log; one that can't be used gives a receipt that says why, and no rows."""
    try:
        return read_swings(log, speed_file, key)
    except LogRefusedError as refusal:
        return CleanedSwings(Receipt(speed_file.source, sha256_of(log), "refused", reason=str(refusal)), joined([]))


def read_swings(log: Path, speed_file: SpeedFile, key: bytes) -> CleanedSwings:
    """Read and clean one speed log; raises as `read.open_unchanged` and `clean_swings` do."""
    with open_unchanged(log, speed_file.layout) as opened:
        return clean_swings(opened, speed_file, key)
