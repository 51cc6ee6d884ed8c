import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from collect_samples import Collected, key_file

from pipeline.collect import collect_logs, load_shots
from pipeline.collect.partitions import describe
from pipeline.configuration.layouts import STANDARD_LAYOUT, Layout, LogFile
from pipeline.configuration.study import LogEntry


@pytest.fixture
def collect(tmp_path: Path) -> Callable[..., Collected]:
    """Run the step on one log; `out` names the folder of its results, `source` renames the log in its tables."""

    def run(
        log: Path,
        layout: Layout = STANDARD_LAYOUT,
        out: str = "out",
        source: str | None = None,
        regressors: tuple[str, ...] = (),
        **entry: Any,
    ) -> Collected:
        entry.setdefault("layout", None if layout is STANDARD_LAYOUT else "layout.yaml")
        log_file = LogFile.of(log.name, LogEntry(files=log.name, **entry), layout, regressors=regressors)
        paths = {
            "shots": tmp_path / out / f"{log.name}.shots.parquet",
            "rejects": tmp_path / out / f"{log.name}.rejects.parquet",
            "receipts": tmp_path / out / f"{log.name}.receipts.json",
            "names": tmp_path / out / f"{log.name}.names.json",
        }
        if regressors:
            paths["readings"] = tmp_path / out / f"{log.name}.readings.parquet"
        collect_logs.run(
            key=str(key_file(tmp_path)),
            study="hill-school",
            folder=str(log.parent),
            partition=describe([log_file]),
            **{name: str(path) for name, path in paths.items()},
        )
        [receipt] = json.loads(paths["receipts"].read_text(encoding="utf-8"))
        shots, rejects = (pl.read_parquet(paths[name], glob=False) for name in ("shots", "rejects"))
        if source is not None:
            shots, rejects = (table.with_columns(source=pl.lit(source)) for table in (shots, rejects))
        return Collected(shots, rejects, receipt, paths)

    return run


@pytest.fixture
def load(tmp_path: Path) -> Callable[..., Path]:
    """Load collected logs; give the folder with loaded.duckdb, rejects.csv and sources.csv."""

    def run(*logs: Collected, out: str = "loaded", further: tuple[str, ...] = ()) -> Path:
        folder = tmp_path / out
        more = {"further": further, "readings": [str(log.paths["readings"]) for log in logs]} if further else {}
        load_shots.run(
            receipts=[str(log.paths["receipts"]) for log in logs],
            shots=[str(log.paths["shots"]) for log in logs],
            rejects=[str(log.paths["rejects"]) for log in logs],
            names=[str(log.paths["names"]) for log in logs],
            key=str(key_file(tmp_path)),
            study="hill-school",
            database=str(folder / "loaded.duckdb"),
            rejects_csv=str(folder / "rejects.csv"),
            sources_csv=str(folder / "sources.csv"),
            **more,
        )
        return folder

    return run
