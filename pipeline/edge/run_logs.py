"""The logs of a run's steps (an edge module)."""

from collections.abc import Iterable
from pathlib import Path

from pipeline.ending import DONE

RUN_LOG = "run.log"  # what `yardband run` heard from Snakemake; no step's


def failed_logs(folder: Path, since: float) -> list[Path]:
    """List the logs, written since a time, of steps that did not end well, the newest last."""
    logs: Iterable[Path] = sorted(folder.rglob("*.log"), key=lambda path: path.stat().st_mtime)
    return [
        path
        for path in logs
        if path.name != RUN_LOG
        and path.stat().st_mtime >= since
        and not path.read_text(encoding="utf-8").endswith(f"{DONE}\n")
    ]
